"""Commands for the shop's lists: cartons, boards, weighing, standards, layouts, box numbers."""

from datetime import UTC, datetime
from pathlib import Path

import click

from tracker.commands.command import WHO, json_option, main, own_settings, put, shop_database, text_of


@main.command("list")
@click.argument("kind", type=click.Choice(["cartons", "boards", "weighing", "standard"]))
@click.argument("file", required=False, type=click.Path(path_type=Path, exists=True, dir_okay=False))
@click.option("--name", help="Which standard to print.")
@json_option
def list_(kind: str, file: Path | None, name: str | None, as_json: bool) -> None:
    """Take one of the shop's own lists from a TOML file, or print it when no file is given.

    Example: tracker list cartons cartons.toml
    """
    from tracker.work.lists import list_text, set_list

    if file is None:
        text = list_text(shop_database(), f"{kind}/{name}" if name else kind)
        put({"name": kind, "text": text}, text.rstrip(), as_json=as_json)
        return
    kept = set_list(shop_database(), kind, text_of(file), who=WHO, now=datetime.now(UTC))
    put({"name": kept}, f"The list {kept} is kept; orders taken from now on follow it.", as_json=as_json)


@main.command()
@click.argument("file", required=False, type=click.Path(path_type=Path, exists=True, dir_okay=False))
@click.option("--name", default="part 100 x 50", show_default=True, help="Which layout to print when no file is given.")
@click.option("--choose", is_flag=True, help="The file says which layout and stock each kind has, and own stocks.")
@json_option
def layout(file: Path | None, name: str, choose: bool, as_json: bool) -> None:
    """Take the layout of a label from a TOML file, or print one when no file is given.

    Example: tracker layout --name "part 63 x 38" > own.toml
    """
    from tracker.work.label_setup import layout_text, set_labels, set_layout

    now = datetime.now(UTC)
    if file is None:
        text = layout_text(shop_database(), name)
        put({"name": name, "text": text}, text.rstrip(), as_json=as_json)
    elif choose:
        set_labels(shop_database(), own_settings(), text_of(file), who=WHO, now=now)
        put({"name": "labels"}, "Kept. The next labels are printed so.", as_json=as_json)
    else:
        kept = set_layout(shop_database(), own_settings(), text_of(file), who=WHO, now=now)
        put({"name": kept}, f"The layout {kept} is kept and can be chosen.", as_json=as_json)


@main.command()
@click.argument("prefix", required=False)
@click.option("--extension", default=0, show_default=True, type=click.IntRange(0, 9), help="The first digit.")
@click.option("--next", "next_serial", type=click.IntRange(1), help="The serial number to go on with.")
@click.option("--off", is_flag=True, help="Give no numbers any more; boxes that have one keep it.")
@json_option
def gs1(prefix: str | None, extension: int, next_serial: int | None, off: bool, as_json: bool) -> None:
    """Set the GS1 company prefix from which boxes get an SSCC on their labels, or say how far the numbers are.

    Example: tracker gs1 4012345 --extension 3
    """
    from tracker.shop.sscc import Series
    from tracker.work.box_numbers import numbering, set_numbering, stop_numbering

    if off and prefix is not None:
        raise click.UsageError("Give a prefix or --off, not both.")
    if off:
        stop_numbering(shop_database())
    if prefix is None:
        now = numbering(shop_database())
    else:
        series = Series(prefix=prefix, extension=extension)
        now = set_numbering(shop_database(), series, who=WHO, now=datetime.now(UTC), next_serial=next_serial)
    if now is None:
        put({"prefix": None}, "No GS1 prefix is set: boxes are labelled with the shop's own codes.", as_json=as_json)
        return
    result = {"prefix": now.series.prefix, "extension": now.series.extension, "next": now.next_serial, "left": now.left}
    put(result, now.sentence, as_json=as_json)
