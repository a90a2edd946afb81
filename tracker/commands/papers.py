"""Commands that write papers: labels, boards, sheets and cards."""

import re
from collections.abc import Iterable
from dataclasses import asdict
from datetime import UTC, datetime
from io import BytesIO
from pathlib import Path
from typing import Any

import click
from click import echo

from tracker.commands.command import (
    FOLDER,
    OUT,
    WHO,
    dpi_option,
    json_option,
    main,
    own_settings,
    put,
    shop_database,
    write_out,
    written_to,
)
from tracker.shop.errors import NotFoundError
from tracker.shop.saying import say_many


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

    _tell_checked(check_labels(shop_database(), own_settings(), Choice(job=job), dpi=dpi), as_json=as_json)


def _tell_checked(checked: Iterable[Any], *, as_json: bool) -> None:
    count = refused = 0
    for label in checked:
        count, refused = count + 1, refused + (not label.verdict.ok)
        put(label.as_dict(), label.sentence(), as_json=as_json)
    if refused:
        raise click.ClickException(f"{refused} of {count} labels would not read: print none of them.")
    echo(f"All {count} labels read.", err=True)


def _write_labels(job: str, out: Path, *, dpi: int, as_json: bool) -> None:
    from tracker.work.label_choice import Choice, print_labels

    _write_drawn(out, *print_labels(shop_database(), own_settings(), Choice(job=job), dpi=dpi), as_json=as_json)


def _write_drawn(out: Path, document: bytes, count: int, *, as_json: bool) -> None:
    is_stdout = write_out(out, document)
    labels = say_many("%(num)d label", "%(num)d labels", count)
    sentence = f"{labels} {written_to(out, is_stdout=is_stdout)}. Print at 100 %, not fitted."
    put({"labels": count, "file": str(out)}, sentence, as_json=as_json, err=is_stdout)


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

    planned = plan_job_boards(shop_database(), job, who=WHO, now=datetime.now(UTC))
    document, _ = print_labels(shop_database(), own_settings(), Choice(job=job, what=What.BOARDS), dpi=int(dpi))
    is_stdout = write_out(out, document)
    bought = "\n".join(f"{count:4d} × {stock}" for stock, count in planned.need.items())
    sentence = (
        f"{planned.boards} boards (no plan needs fewer than {planned.lower_bound}), {planned.yield_share:.0%} used. "
        f"Their labels are {written_to(out, is_stdout=is_stdout)}.\n{bought}"
    )
    put({**asdict(planned), "file": str(out)}, sentence, as_json=as_json, err=is_stdout)


@main.command()
@click.argument("job")
@click.option("--out", required=True, type=FOLDER, help="The folder to write to.")
@click.option("--paper", default="a4", show_default=True, type=click.Choice(["a4", "letter"]), help="The paper.")
@click.option("--language", type=click.Choice(["en", "es"]), help="English or Spanish; if not given, the shop's own.")
@json_option
def sheets(job: str, out: Path, paper: str, language: str | None, as_json: bool) -> None:
    """Write the sheet that lies in the carton for each designed cabinet of a job, one PDF a cabinet.

    Example: tracker sheets J-1042 --out sheets --language es
    """
    from tracker.work.assembly_sheets import write_cabinet_sheet
    from tracker.work.designs import cabinets_of_job

    database, settings = shop_database(), own_settings()
    names = cabinets_of_job(database, job)
    if not names:
        raise NotFoundError(f"Job {job} has no cabinet that was designed here: it came as a cut list.")
    out.mkdir(parents=True, exist_ok=True)
    for name in names:
        file = out / f"{job}-{re.sub(r'[^A-Za-z0-9._-]', '_', name)}.pdf"
        document = BytesIO()
        write_cabinet_sheet(database, settings, job, name, document, paper=paper, language=language)
        write_out(file, document.getvalue())
    put({"sheets": len(names), "folder": str(out)}, f"{len(names)} sheets in {out}.", as_json=as_json)


@main.command()
@click.option("--out", required=True, type=OUT, help="The PDF to write.")
@dpi_option
@json_option
def cards(out: Path, dpi: str, as_json: bool) -> None:
    """Write the labels of all stations and slots and the command cards (undo, damaged), one a page.

    Example: tracker cards --out cards.pdf
    """
    from tracker.work.label_choice import print_cards

    _write_drawn(out, *print_cards(shop_database(), own_settings(), dpi=int(dpi)), as_json=as_json)
