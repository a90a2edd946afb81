"""Commands for stations and slots."""

import click

from tracker.commands.command import json_option, main, put, shop_database
from tracker.shop.steps import Step


@main.command()
@click.argument("name")
@click.option("--step", required=True, type=click.Choice([step.value for step in Step]), help="The work done there.")
@click.option("--strict", is_flag=True, help="Refuse a part of which an earlier step is open, rather than infer it.")
@json_option
def station(name: str, step: str, strict: bool, as_json: bool) -> None:
    """Add a station and print its code.

    Example: tracker station SAW-1 --step cut
    """
    from tracker.work.access import add_station

    code = add_station(shop_database(), name, Step(step), strict=strict)
    put({"code": code, "name": name, "step": step, "strict": strict}, code, as_json=as_json)


@main.command()
@click.argument("name")
@json_option
def slot(name: str, as_json: bool) -> None:
    """Add a slot where parts wait and print its code.

    Example: tracker slot CART-3
    """
    from tracker.work.access import add_slot

    code = add_slot(shop_database(), name)
    put({"code": code, "name": name}, code, as_json=as_json)
