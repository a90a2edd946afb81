"""The ``tracker`` command."""

import logging
import os
import re
import secrets
import sys
from collections.abc import Iterable
from dataclasses import asdict, replace
from datetime import UTC, date, datetime
from errno import EPIPE
from io import BytesIO
from pathlib import Path
from typing import Any
from uuid import uuid4

import click
from click import echo

from tracker.files import put_file
from tracker.settings import Settings, read_settings
from tracker.shop.errors import IncompleteError, InvalidInputError, NotFoundError, ShopError
from tracker.shop.roles import Role
from tracker.shop.saying import say_many
from tracker.shop.steps import Step

WHO = "command line"
OUT = click.Path(path_type=Path, dir_okay=False, allow_dash=True)


class Answered(click.ClickException):
    """A refusal of the shop, as the command line says it."""

    exit_code = 1

    def __init__(self, error: ShopError) -> None:
        lines = [error.detail]
        if isinstance(error, InvalidInputError):
            lines += [f"  {_place(fault.where)}: {fault.what}" for fault in error.faults]
        if isinstance(error, IncompleteError):
            lines += [f"  {dict(entry)}" for entry in error.missing]
        super().__init__("\n".join(lines))


def _place(where: Any) -> str:
    return ", ".join(f"{name} {value}" for name, value in where.items())


class Answering(click.Group):
    """Commands that say what went wrong in a sentence, with exit status 1, rather than fall over."""

    def invoke(self, ctx: click.Context) -> Any:
        from sqlalchemy.exc import DBAPIError

        try:
            return super().invoke(ctx)
        except ShopError as error:
            raise Answered(error) from error
        except DBAPIError as error:
            raise click.ClickException(_told_of(error)) from error
        except OSError as error:
            if error.errno == EPIPE:  # whoever read along has gone: click knows what to do
                raise
            told = "" if error.filename is None else f"{error.filename}: "
            raise click.ClickException(f"{told}{error.strerror or error}. Nothing more was done.") from error


def _told_of(error: Any) -> str:
    from tracker.records.failures import failure_of
    from tracker.shop.failures import Failure

    why = str(error.orig).strip().splitlines()[0].rstrip(".")
    match failure_of(error):
        case Failure.DISK_FULL:
            return "The disk is full: make room on it, then give the command again."
        case Failure.DAMAGED:
            return f"The database is damaged ({why}). Keep its file, stop the service and restore the last good backup."
        case _:
            hint = "Was `tracker init` run, and is TRACKER_DATABASE_URL right?"
            return f"The database did not answer as it should: {why}. {hint}"


def _settings() -> Settings:
    return read_settings(os.environ)


def _database(*, held: bool = True) -> Any:
    """The database until the command ends; ``held``, so that nobody restores another under it meanwhile."""
    from tracker.records.database import Database
    from tracker.records.holding import hold

    database = Database(_settings().database_url)
    context = click.get_current_context()
    context.call_on_close(database.close)
    if held:
        context.with_resource(hold(database))
    return database


def _put(result: dict[str, Any], sentence: str, *, as_json: bool, err: bool = False) -> None:
    from json import dumps

    echo(dumps(result, default=str) if as_json else sentence, err=err)


dpi_option = click.option(
    "--dpi", default="203", show_default=True, type=click.Choice(["203", "300", "600"]), help="Of the printer."
)
json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON for programs.")


@click.group(cls=Answering)
@click.version_option(package_name="flatpack-tracker")
def main() -> None:
    """Keeps flat-pack cabinets whole: is everything that this box needs in this box, and if not, where is it?"""


@main.command()
@json_option
def init(as_json: bool) -> None:
    """Make or upgrade the database; safe to repeat.

    Example: tracker init
    """
    from tracker.records.migrate import expected_revision, upgrade

    database = _database()
    upgrade(database)
    where, version = database.url.render_as_string(), expected_revision()
    sentence = f"The database is ready at version {version}: {where}"
    _put({"database": where, "version": version}, sentence, as_json=as_json)


@main.command()
@click.option("--host", default="127.0.0.1", show_default=True, help="The address to listen on.")
@click.option("--port", default=8000, show_default=True, type=click.IntRange(0, 65535), help="The port to listen on.")
@click.option("--certificate", type=click.Path(path_type=Path), help="Serve HTTPS with this, a PEM file.")
@click.option("--key", type=click.Path(path_type=Path), help="The certificate's key, a PEM file.")
def serve(host: str, port: int, certificate: Path | None, key: Path | None) -> None:
    """Run the service until SIGTERM or Ctrl-C; what was accepted is finished first.

    With a certificate and its key (from `tracker tls`, or of your own) it speaks HTTPS, and takes a renewed one while
    it runs.

    Example: tracker serve --host 0.0.0.0 --port 8000
    """
    from tracker.app import create_app
    from tracker.https import certificate_of
    from tracker.pages.trust import PLAIN_PATHS
    from tracker.records.migrate import upgrade
    from tracker.server import Server

    _log_to_stderr()
    settings = _settings()
    settings = replace(
        settings, certificate=certificate or settings.certificate, certificate_key=key or settings.certificate_key
    )
    tls = certificate_of(settings.certificate, settings.certificate_key)
    database = _database()
    upgrade(database)
    app = create_app(settings, database)
    server = Server(
        app,
        host=host,
        port=port,
        trusted_proxy=settings.trusted_proxy,
        certificate=tls,
        plain_paths=PLAIN_PATHS,
    )
    echo(f"Serving on {server.address} (stop with Ctrl-C)", err=True)
    server.run_until_signalled()
    app.extensions["shop_prints"].close()


def _log_to_stderr() -> None:
    from tracker.server import JsonLines

    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(JsonLines())
    logging.basicConfig(level=logging.INFO, handlers=[handler], force=True)


@main.command()
@click.argument("names", nargs=-1, metavar="NAME…")
@click.option(
    "--out", type=click.Path(path_type=Path, file_okay=False), help="The certificate's folder, if not the data's own."
)
@click.option("--new-authority", is_flag=True, help="Make a new authority, which each tablet must then trust anew.")
@json_option
def tls(names: tuple[str, ...], out: Path | None, new_authority: bool, as_json: bool) -> None:
    """Make a certificate for the names and addresses of this service, under an authority of the shop's own.

    Run again without names it renews the certificate for the same ones; a running service takes it by itself.

    Example: tracker tls shop-server 192.168.1.20
    """
    from tracker.work.authority import tls_folder
    from tracker.work.certificates import make_certificate

    folder = tls_folder(_settings().data_dir)
    made = make_certificate(folder, names, now=datetime.now(UTC), out=out, new_authority=new_authority)
    _put(asdict(made), "\n".join(_tls_sentences(made)), as_json=as_json)


def _tls_sentences(made: Any) -> list[str]:
    host = f"[{made.names[0]}]" if ":" in made.names[0] else made.names[0]
    authority = "A new authority was made" if made.authority_is_new else "The authority is the one of before"
    return [
        f"The certificate for {', '.join(made.names)} is made. It is good until {made.ends.date()}.",
        f"{authority}: {made.authority}. Its fingerprint (SHA-256), to compare on each tablet:",
        f"  {made.fingerprint}",
        "Now:",
        "  1. Serve with it. A service that has it already takes the renewed one by itself.",
        f'     tracker serve --host 0.0.0.0 --port 8443 --certificate "{made.certificate}" --key "{made.key}"',
        f"  2. On each tablet open https://{host}:8443/trust once and follow it; a tablet that trusts is done.",
        "  3. Before it ends, or each month by a timer, run `tracker tls` again.",
        "Keep the keys to yourself: who has the authority's can pretend to be this service.",
    ]


@main.command()
@click.argument("name")
@click.option("--role", required=True, type=click.Choice([role.value for role in Role]), help="What it may do.")
@click.option("--station", help="The station that the token is made for.")
@json_option
def token(name: str, role: str, station: str | None, as_json: bool) -> None:
    """Print a new bearer token, once; only its hash is kept.

    Example: tracker token "saw tablet" --role station --station SAW-1
    """
    from tracker.work.access import make_token

    plain = make_token(
        _database(), name, Role(role), station, secret=lambda: secrets.token_urlsafe(32), now=datetime.now(UTC)
    )
    _put({"token": plain, "name": name, "role": role, "station": station}, plain, as_json=as_json)


@main.command()
@click.argument("name")
@json_option
def withdraw(name: str, as_json: bool) -> None:
    """Withdraw all tokens of this name: they open nothing any more.

    Example: tracker withdraw "saw tablet"
    """
    from tracker.work.access import withdraw_token

    count = withdraw_token(_database(), name, now=datetime.now(UTC))
    _put({"name": name, "withdrawn": count}, f"{count} withdrawn.", as_json=as_json)


@main.command()
@click.argument("name")
@click.option("--role", required=True, type=click.Choice([role.value for role in Role]), help="What they may do.")
@click.option(
    "--password-file",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    help="Take the password from the first line of this file rather than ask for it.",
)
@click.option("--badge-only", is_flag=True, help="Give no password: they work by badge alone.")
@json_option
def person(name: str, role: str, password_file: Path | None, badge_only: bool, as_json: bool) -> None:
    """Add a person who signs in by name and password. The password is asked for, twice.

    Example: tracker person "Ida Holm" --role foreman
    """
    from tracker.work.people import add_person

    if badge_only and password_file is not None:
        raise click.UsageError("Give --password-file or --badge-only, not both.")
    password = None if badge_only else _password(password_file)
    number = add_person(_database(), name, Role(role), password=password, now=datetime.now(UTC))
    sentence = f"{name} was added as {role}." + ("" if badge_only else " They sign in by this name and password.")
    _put({"number": number, "name": name, "role": role}, sentence, as_json=as_json)


def _password(file: Path | None) -> str:
    if file is None:
        given: str = click.prompt("Password", hide_input=True, confirmation_prompt=True, err=True)
        return given
    return (_text_of(file).splitlines() or [""])[0]


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

    code = add_station(_database(), name, Step(step), strict=strict)
    _put({"code": code, "name": name, "step": step, "strict": strict}, code, as_json=as_json)


@main.command()
@click.argument("name")
@json_option
def slot(name: str, as_json: bool) -> None:
    """Add a slot where parts wait and print its code.

    Example: tracker slot CART-3
    """
    from tracker.work.access import add_slot

    code = add_slot(_database(), name)
    _put({"code": code, "name": name}, code, as_json=as_json)


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
    from tracker.shop.order_warnings import order_warnings
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
            standard=standard_named(_database(), standard),
            ignore=ignore,
        )
    for heading, column in order.read_as.items():
        echo(f"The column {heading} is read as {column}.", err=True)
    warnings = order_warnings(order, boards_of(_database()), _settings().day_of(datetime.now(UTC)))
    for warning in warnings:
        echo(f"Look at this: {warning}", err=True)
    packing = packing_of(_database())
    if dry_run:
        taken = preview_order(order, packing)
    else:
        taken = take_order(_database(), order, who=WHO, now=datetime.now(UTC), act_id=uuid4(), packing=packing)
    verb = "would make" if dry_run else "made"
    parts = say_many("%(num)d part", "%(num)d parts", taken.parts)
    cabinets = say_many("%(num)d cabinet", "%(num)d cabinets", taken.cabinets)
    boxes = say_many("%(num)d box", "%(num)d boxes", len(taken.box_names))
    sentence = f"Job {taken.code}: {verb} {parts} of {cabinets} in {boxes}."
    result = {"code": taken.code, "parts": taken.parts, "cabinets": taken.cabinets, "boxes": list(taken.boxes)}
    result |= {"columns": dict(taken.columns), "warnings": warnings}
    _put({**result, "dry_run": dry_run}, sentence, as_json=as_json)


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
        text = list_text(_database(), f"{kind}/{name}" if name else kind)
        _put({"name": kind, "text": text}, text.rstrip(), as_json=as_json)
        return
    kept = set_list(_database(), kind, _text_of(file), who=WHO, now=datetime.now(UTC))
    _put({"name": kept}, f"The list {kept} is kept; orders taken from now on follow it.", as_json=as_json)


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
        text = layout_text(_database(), name)
        _put({"name": name, "text": text}, text.rstrip(), as_json=as_json)
    elif choose:
        set_labels(_database(), _settings(), _text_of(file), who=WHO, now=now)
        _put({"name": "labels"}, "Kept. The next labels are printed so.", as_json=as_json)
    else:
        kept = set_layout(_database(), _settings(), _text_of(file), who=WHO, now=now)
        _put({"name": kept}, f"The layout {kept} is kept and can be chosen.", as_json=as_json)


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
        stop_numbering(_database())
    if prefix is None:
        now = numbering(_database())
    else:
        series = Series(prefix=prefix, extension=extension)
        now = set_numbering(_database(), series, who=WHO, now=datetime.now(UTC), next_serial=next_serial)
    if now is None:
        _put({"prefix": None}, "No GS1 prefix is set: boxes are labelled with the shop's own codes.", as_json=as_json)
        return
    result = {"prefix": now.series.prefix, "extension": now.series.extension, "next": now.next_serial, "left": now.left}
    _put(result, now.sentence, as_json=as_json)


def _text_of(file: Path) -> str:
    from tracker.shop.errors import InvalidInputError

    try:
        return file.read_text(encoding="utf-8")
    except UnicodeDecodeError as error:
        raise InvalidInputError(f"{file} is not a text in UTF-8.") from error


@main.command()
@click.argument("job")
@click.option("--out", type=OUT, help="The PDF to write.")
@click.option("--check", is_flag=True, help="Read every drawn label back and grade it; exit 1 if one would not read.")
@dpi_option
@json_option
def labels(job: str, out: Path | None, check: bool, dpi: str, as_json: bool) -> None:
    """Write all labels of a job, one a page: its parts' and its boxes'. Print at true size.

    Example: tracker labels J-1042 --out labels.pdf --dpi 203
    """
    if check:
        _check_labels(job, dpi=int(dpi), as_json=as_json)
    elif out is None:
        raise click.UsageError("Give --out FILE.pdf to write the labels, or --check to read them back.")
    if out is not None:
        _write_labels(job, out, dpi=int(dpi), as_json=as_json)


def _check_labels(job: str, *, dpi: int, as_json: bool) -> None:
    from tracker.work.label_check import check_labels
    from tracker.work.label_choice import Choice

    _tell_checked(check_labels(_database(), _settings(), Choice(job=job), dpi=dpi), as_json=as_json)


def _tell_checked(checked: Iterable[Any], *, as_json: bool) -> None:
    count = refused = 0
    for label in checked:
        count, refused = count + 1, refused + (not label.verdict.ok)
        _put(label.as_dict(), label.sentence(), as_json=as_json)
    if refused:
        raise click.ClickException(f"{refused} of {count} labels would not read: print none of them.")
    echo(f"All {count} labels read.", err=True)


def _write_labels(job: str, out: Path, *, dpi: int, as_json: bool) -> None:
    from tracker.work.label_choice import Choice, print_labels

    _write_drawn(out, *print_labels(_database(), _settings(), Choice(job=job), dpi=dpi), as_json=as_json)


def _write_drawn(out: Path, document: bytes, count: int, *, as_json: bool) -> None:
    is_stdout = _write_out(out, document)
    labels = say_many("%(num)d label", "%(num)d labels", count)
    sentence = f"{labels} in {out}. Print at 100 %, not fitted."
    _put({"labels": count, "file": str(out)}, sentence, as_json=as_json, err=is_stdout)


@main.command()
@click.argument("job")
@click.option("--out", required=True, type=OUT, help="The labels, a PDF.")
@dpi_option
@json_option
def boards(job: str, out: Path, dpi: str, as_json: bool) -> None:
    """Plan which boards a job is cut from, say how many of each to buy, and write their labels.

    Example: tracker boards J-1042 --out boards.pdf
    """
    from tracker.work.boards import plan_job_boards
    from tracker.work.label_choice import Choice, What, print_labels

    planned = plan_job_boards(_database(), job, who=WHO, now=datetime.now(UTC), act_id=uuid4())
    document, _ = print_labels(_database(), _settings(), Choice(job=job, what=What.BOARDS), dpi=int(dpi))
    is_stdout = _write_out(out, document)
    bought = "\n".join(f"{count:4d} × {stock}" for stock, count in planned.need.items())
    sentence = (
        f"{planned.boards} boards (no plan needs fewer than {planned.lower_bound}), {planned.yield_share:.0%} used. "
        f"Their labels are in {out}.\n{bought}"
    )
    _put({**asdict(planned), "file": str(out)}, sentence, as_json=as_json, err=is_stdout)


@main.command()
@click.argument("job")
@click.option("--out", required=True, type=click.Path(path_type=Path, file_okay=False), help="The folder to write to.")
@click.option("--paper", default="a4", show_default=True, type=click.Choice(["a4", "letter"]), help="The paper.")
@click.option("--language", type=click.Choice(["en", "es"]), help="English or Spanish; if not given, the shop's own.")
@json_option
def sheets(job: str, out: Path, paper: str, language: str | None, as_json: bool) -> None:
    """Write the sheet that lies in the carton for each designed cabinet of a job, one PDF a cabinet.

    Example: tracker sheets J-1042 --out sheets --language es
    """
    from tracker.work.designs import cabinets_of_job
    from tracker.work.sheets import write_cabinet_sheet

    database, settings = _database(), _settings()
    names = cabinets_of_job(database, job)
    if not names:
        raise NotFoundError(f"Job {job} has no cabinet that was designed here: it came as a cut list.")
    out.mkdir(parents=True, exist_ok=True)
    for name in names:
        file = out / f"{job}-{re.sub(r'[^A-Za-z0-9._-]', '_', name)}.pdf"
        document = BytesIO()
        write_cabinet_sheet(database, settings, job, name, document, paper=paper, language=language)
        _write_out(file, document.getvalue())
    _put({"sheets": len(names), "folder": str(out)}, f"{len(names)} sheets in {out}.", as_json=as_json)


@main.command()
@click.option("--out", required=True, type=OUT, help="The PDF to write.")
@dpi_option
@json_option
def cards(out: Path, dpi: str, as_json: bool) -> None:
    """Write the labels of all stations and slots and the command cards (undo, damaged), one a page.

    Example: tracker cards --out cards.pdf
    """
    from tracker.work.label_choice import print_cards

    _write_drawn(out, *print_cards(_database(), _settings(), dpi=int(dpi)), as_json=as_json)


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

    database = _database()
    number = printers.add_printer(
        database, name, address, dpi=int(dpi), stock_mm=(width, height), now=datetime.now(UTC)
    )
    says = state_word(printers.printer(database, number).state)
    _put({"number": number, "name": name, "says": says}, f"{name} is added. It is {says}.", as_json=as_json)


@printer.command("list")
@json_option
def printer_list(as_json: bool) -> None:
    """Ask every printer how it is.

    Example: tracker printer list
    """
    from tracker.shop.printing import state_word
    from tracker.work import printers

    database = _database()
    for each in printers.printers(database):
        row = printers.refresh_printer(database, each.id, now=datetime.now(UTC))
        says = state_word(row.state)
        sentence = f"{row.name}: {says} ({row.width_mm:g} × {row.height_mm:g} mm, {row.dpi} dpi, {row.address})"
        _put({"name": row.name, "address": row.address, "says": says}, sentence, as_json=as_json)


@printer.command("withdraw")
@click.argument("name")
@json_option
def printer_withdraw(name: str, as_json: bool) -> None:
    """Take a printer out; its prints stay on record.

    Example: tracker printer withdraw LABEL-1
    """
    from tracker.work import printers

    database = _database()
    printers.withdraw_printer(database, printers.printer_named(database, name).id, now=datetime.now(UTC))
    _put({"name": name}, f"{name} is taken out.", as_json=as_json)


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

    database = _database()
    order = Order.SAW if saw_order else Order.BOX
    wish = Request(
        request_id=uuid4(),
        choice=Choice(job=job, what=What(what), cabinet=cabinet, board=board, only=Only(only or ""), order=order),
        printer=printer_named(database, name).id,
        reason=None if reason is None else Reason(reason),
        note=note,
    )
    row = print_and_wait(database, _settings(), wish, who=WHO, clock=lambda: datetime.now(UTC))
    why = "" if row.cause is None else f" {cause_sentence(row.cause, row.detail)}"
    sentence = f"Print {row.id}, {row.labels} labels on {name}: {print_word(row.state)}.{why}"
    if row.state not in (PrintState.PRINTED, PrintState.SENT):
        raise click.ClickException(sentence)
    _put({"print": row.id, "labels": row.labels, "state": row.state.value}, sentence, as_json=as_json)


def _write_out(out: Path, document: bytes) -> bool:
    """Write a document where it is wished, whole or not at all; return whether that is standard output.

    What is there and no regular file (a device, a pipe) is written through, and a link is followed.
    """
    try:
        if str(out) == "-" or _is_stdout(out):
            sys.stdout.buffer.write(document)
            sys.stdout.buffer.flush()
            return True
        if out.exists() and not out.is_file():
            with out.open("wb") as through:
                through.write(document)
        else:
            target = out.resolve()
            put_file(target, document, mode=target.stat().st_mode & 0o777 if target.exists() else 0o666)
    except OSError as error:
        raise click.ClickException(f"{out} cannot be written: {error.strerror or error}.") from error
    return False


def _is_stdout(out: Path) -> bool:
    try:
        return os.path.samestat(out.stat(), os.fstat(sys.stdout.fileno()))
    except (OSError, ValueError):  # nothing is there yet, or standard output is no file
        return False


@main.command()
@json_option
def verify(as_json: bool) -> None:
    """Check the database's file, work every state out anew from the log and compare; exit 1 if anything is wrong.

    With --json each finding is a line, and the last line says how many there are and whether all was looked at.

    Rows of the log whose times cannot be are named, too; they are no difference.

    Example: tracker verify
    """
    from tracker.work.verify import impossible_rows
    from tracker.work.verify import verify as findings

    found, whole = 0, False
    try:
        database = _database()
        for finding in findings(database):
            found += 1
            _put(asdict(finding), finding.sentence, as_json=as_json)
        for row in impossible_rows(database):
            kept = {"what": f"row {row.seq} of the log", "at": row.at, "received_at": row.received_at}
            told = (
                f"Row {row.seq} of the log, from {row.who}: its time cannot be. It was received at {row.received_at}."
            )
            _put(kept if row.said_at is None else {**kept, "said_at": row.said_at}, told, as_json=as_json)
        whole = True
    finally:
        if as_json:
            _put({"findings": found, "whole": whole}, "", as_json=True)
    if found:
        count = say_many("%(num)d finding", "%(num)d findings", found)
        raise click.ClickException(f"{count}: the database is not as it should be.")
    echo("The database is whole, and the kept state is what the log says.", err=True)


@main.command()
@click.argument("file", type=click.Path(path_type=Path))
@json_option
def backup(file: Path, as_json: bool) -> None:
    """Write a consistent, checked copy of the database to a new file while the service runs.

    The key that signs sessions and the links on sheets is in it: keep it as a secret.

    Example: tracker backup shop-2027-03-05.db
    """
    from tracker.records.copies import copy_to

    copy_to(_database(), file, secret_key=_settings().secret_key)
    _put(
        {"file": str(file)}, f"Copied to {file} and checked. The shop's key is in it: keep it secret.", as_json=as_json
    )


@main.command()
@click.argument("file", type=click.Path(path_type=Path))
@json_option
def restore(file: Path, as_json: bool) -> None:
    """Put a copy, and the key in it, in the place of the database, after checking it. Stop the service first.

    Example: tracker restore shop-2027-03-05.db
    """
    from tracker.records.copies import restore_from
    from tracker.work.box_numbers import numbering

    database = _database(held=False)
    done = restore_from(database, file, _settings())
    sentence = "Restored." if done.kept is None else f"Restored. What was there before is kept as {done.kept}."
    boxes = numbering(database)
    if boxes is not None:
        sentence += f" {boxes.sentence}"
    if done.secret_key not in (None, _settings().secret_key):
        sentence += (
            " TRACKER_SECRET_KEY is another key than the copy's: without it, links on printed sheets work again."
        )
    _put({"restored": str(file), "kept": None if done.kept is None else str(done.kept)}, sentence, as_json=as_json)


@main.command()
@click.option("--port", default=8000, show_default=True, type=click.IntRange(0, 65535), help="The port to listen on.")
@click.option("--once", is_flag=True, help="Run the main job from cut list to shipped load without a server, and stop.")
def demo(port: int, once: bool) -> None:
    """Show an invented shop with a day's work in it, in a folder of its own.

    Example: tracker demo --once
    """
    from tracker.demo.day import run_day
    from tracker.demo.story import run_once

    if once:
        run_once(echo)
    else:
        run_day(port, echo)


@main.command()
@click.option("--quick", is_flag=True, help="Smaller sizes: a look, not a measurement.")
@json_option
def bench(quick: bool, as_json: bool) -> None:
    """Measure this machine's speed, each figure beside a floor in the same run, as ratios.

    Example: tracker bench --quick
    """
    from tracker.bench.run import run_benchmarks

    for figure in run_benchmarks(quick=quick, say=lambda line: echo(line, err=True)):
        _put(figure.as_dict(), figure.sentence(), as_json=as_json)


@main.command()
@click.option("--out", type=OUT, help="The Markdown file to write.")
@click.option("--each", default=100, show_default=True, type=click.IntRange(1, 100_000), help="Tries a square.")
@click.option("--tries", default=100_000, show_default=True, type=click.IntRange(1, 10_000_000), help="Near the limit.")
@click.option("--seed", default=1, show_default=True, type=int, help="The same seed gives the same table.")
def readrates(out: Path | None, each: int, tries: int, seed: int) -> None:
    """Draw, spoil and read labels, and tell how often each layout reads and how often a reading is wrong.

    It takes a quarter of an hour on two cores.

    Example: tracker readrates --out READRATES.md
    """
    from tracker.bench.readrates import cells, document, misreadings, read_rates

    def say(line: str) -> None:
        echo(line, err=True)

    rates = read_rates(cells(), tries=each, seed=seed, say=say)
    limit = misreadings(tries=tries, seed=seed, say=say)
    command = f"tracker readrates --each {each} --tries {tries} --seed {seed}"
    text = document(rates, limit, seed=seed, command=command, today=datetime.now(UTC).date())
    if out is None:
        echo(text.rstrip())
    else:
        _write_out(out, text.encode())
        echo(f"The table is in {out}.", err=True)
