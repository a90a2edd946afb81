"""Commands for printers and prints."""

from datetime import UTC, datetime
from uuid import uuid4

import click

from tracker.commands.command import WHO, dpi_option, json_option, main, own_settings, put, shop_database


@main.group()
def printer() -> None:
    """The shop's network printers.

    Example: tracker printer list
    """


@printer.command("add")
@click.argument("name")
@click.argument("address")
@click.option("--width", type=float, required=True, help="Of a label or a sheet, in mm.")
@click.option("--height", type=float, required=True, help="Of a label or a sheet, in mm.")
@dpi_option
@json_option
def printer_add(name: str, address: str, width: float, height: float, dpi: str, as_json: bool) -> None:
    """Add a printer that speaks IPP at ipp:// or ipps://, and ask it how it is.

    Example: tracker printer add LABEL-1 ipp://192.0.2.7/ipp/print --width 100 --height 50
    """
    from tracker.shop.printing import state_word
    from tracker.work import printers

    database = shop_database()
    number = printers.add_printer(
        database, name, address, dpi=int(dpi), stock_mm=(width, height), now=datetime.now(UTC)
    )
    says = state_word(printers.printer(database, number).state)
    put({"number": number, "name": name, "says": says}, f"{name} is added. It is {says}.", as_json=as_json)


@printer.command("list")
@json_option
def printer_list(as_json: bool) -> None:
    """Ask every printer how it is.

    Example: tracker printer list
    """
    from tracker.shop.printing import state_word
    from tracker.work import printers

    database = shop_database()
    for each in printers.printers(database):
        row = printers.refresh_printer(database, each.id, now=datetime.now(UTC))
        says = state_word(row.state)
        sentence = f"{row.name}: {says} ({row.width_mm:g} × {row.height_mm:g} mm, {row.dpi} dpi, {row.address})"
        put({"name": row.name, "address": row.address, "says": says}, sentence, as_json=as_json)


@printer.command("withdraw")
@click.argument("name")
@json_option
def printer_withdraw(name: str, as_json: bool) -> None:
    """Take a printer out; its prints stay on record.

    Example: tracker printer withdraw LABEL-1
    """
    from tracker.work import printers

    database = shop_database()
    printers.withdraw_printer(database, printers.printer_named(database, name).id, now=datetime.now(UTC))
    put({"name": name}, f"{name} is taken out.", as_json=as_json)


@main.command("print")
@click.argument("job")
@click.option("--printer", "name", required=True, help="The printer's name.")
@click.option("--what", default="parts", show_default=True, type=click.Choice(["parts", "boxes", "boards"]))
@click.option("--cabinet", default="", help="Only this cabinet's.")
@click.option("--board", default="", help="Only those off the board with this code, as they come off the saw.")
@click.option("--only", type=click.Choice(["unprinted", "missing"]), help="Those never printed, or not yet packed.")
@click.option("--saw-order", is_flag=True, help="Parts as they come off the saw, rather than box by box.")
@click.option("--reason", type=click.Choice(["damaged", "lost", "misprint", "other"]), help="Why again.")
@click.option("--note", default="", help="The reason in a few words.")
@json_option
def print_(
    job: str,
    name: str,
    what: str,
    cabinet: str,
    board: str,
    only: str | None,
    saw_order: bool,
    reason: str | None,
    note: str,
    as_json: bool,
) -> None:
    """Print labels of a job on a network printer, and say what became of it; exit 1 when that is not known.

    Example: tracker print J-1042 --printer LABEL-1 --only unprinted
    """
    from tracker.shop.printing import PrintState, Reason, cause_sentence, print_word
    from tracker.work.label_choice import Choice, Only, Order, What
    from tracker.work.printers import printer_named
    from tracker.work.prints import Request, print_and_wait

    database = shop_database()
    order = Order.SAW if saw_order else Order.BOX
    wish = Request(
        request_id=uuid4(),
        choice=Choice(job=job, what=What(what), cabinet=cabinet, board=board, only=Only(only or ""), order=order),
        printer=printer_named(database, name).id,
        reason=None if reason is None else Reason(reason),
        note=note,
    )
    row = print_and_wait(database, own_settings(), wish, who=WHO, clock=lambda: datetime.now(UTC))
    why = "" if row.cause is None else f" {cause_sentence(row.cause, row.detail)}"
    sentence = f"Print {row.id}, {row.labels} labels on {name}: {print_word(row.state)}.{why}"
    if row.state not in (PrintState.PRINTED, PrintState.SENT):
        raise click.ClickException(sentence)
    put({"print": row.id, "labels": row.labels, "state": row.state.value}, sentence, as_json=as_json)
