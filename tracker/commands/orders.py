"""The command that takes an order from a table."""

from dataclasses import asdict
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click
from click import echo

from tracker.commands.command import WHO, json_option, main, own_settings, put, shop_database
from tracker.shop.saying import say_many

if TYPE_CHECKING:
    from tracker.shop.job_boxes import Way


@main.command("import")
@click.argument("file", type=click.Path(path_type=Path, exists=True, dir_okay=False))
@click.option("--job", required=True, help="The job's code, such as J-1042.")
@click.option("--customer", required=True, help="Who the job is for.")
@click.option("--due", required=True, type=click.DateTime(["%Y-%m-%d"]), help="When it is due.")
@click.option("--units", default="mm", show_default=True, type=click.Choice(["mm", "in"]), help="The lengths' units.")
@click.option(
    "--items", type=click.Path(path_type=Path, exists=True, dir_okay=False), help="Table: box, item, quantity."
)
@click.option("--standard", help="The construction standard of the cabinets, by its name.")
@click.option("--ignore", multiple=True, metavar="COLUMN", help="A column that means nothing; may be repeated.")
@click.option("--dry-run", is_flag=True, help="Say what would be made; store nothing.")
@json_option
def import_(
    file: Path,
    job: str,
    customer: str,
    due: datetime,
    units: str,
    items: Path | None,
    standard: str | None,
    ignore: tuple[str, ...],
    dry_run: bool,
    as_json: bool,
) -> None:
    """Take a cut list or a table of cabinets, CSV or XLSX, into a job: all rows or none.

    Example: tracker import kitchen.csv --job J-1042 --customer "Larch Court" --due 2027-03-05 --units in
    """
    from contextlib import ExitStack

    from tracker.shop.lengths import Units
    from tracker.shop.order_warnings import made_of, order_warnings
    from tracker.work.intake import read_order_table
    from tracker.work.lists import boards_of, packing_of, standard_named
    from tracker.work.orders import preview_order, take_order

    with ExitStack() as stack:
        parts_file = stack.enter_context(file.open("rb"))
        items_file = None if items is None else stack.enter_context(items.open("rb"))
        day: date = due.date()
        order = read_order_table(
            parts_file,
            items_file,
            job=job,
            customer=customer,
            due=day,
            units=Units(units),
            standard=standard_named(shop_database(), standard),
            ignore=ignore,
        )
    for heading, column in order.read_as.items():
        echo(f"The column {heading} is read as {column}.", err=True)
    boards, today = boards_of(shop_database()), own_settings().day_of(datetime.now(UTC))
    warnings = order_warnings(order.due, made_of(order.parts), boards, today)
    for warning in warnings:
        echo(f"Look at this: {warning}", err=True)
    packing = packing_of(shop_database())
    if dry_run:
        taken = preview_order(order, packing)
    else:
        taken = take_order(shop_database(), order, who=WHO, now=datetime.now(UTC), packing=packing)
    verb = "would make" if dry_run else "made"
    parts = say_many("%(num)d part", "%(num)d parts", taken.parts)
    cabinets = say_many("%(num)d cabinet", "%(num)d cabinets", taken.cabinets)
    boxes = say_many("%(num)d box", "%(num)d boxes", len(taken.box_names))
    sentence = f"Job {taken.code}: {verb} {parts} of {cabinets} in {boxes}."
    result = {"code": taken.code, "parts": taken.parts, "cabinets": taken.cabinets, "boxes": list(taken.boxes)}
    result |= {"columns": dict(taken.columns), "warnings": warnings, "ways": [asdict(way) for way in taken.ways]}
    put({**result, "dry_run": dry_run}, "\n".join([sentence, *map(_told, taken.ways)]), as_json=as_json)


def _told(way: "Way") -> str:
    boxes = say_many("%(num)d box", "%(num)d boxes", way.boxes)
    most = say_many("%(num)d cabinet", "%(num)d cabinets", way.stopped_at_most)
    average = f"{way.stopped_on_average:.1f} on average"
    return f"Kept together: {way.keep_together}. {boxes}; one that is absent stops at most {most}, {average}."
