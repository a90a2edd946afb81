"""Commands that ask: which jobs there are, what is missing, and how one job, part or box stands.

Their JSON is that of the calls; ``job`` adds what is missing.
"""

from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC, datetime, tzinfo
from typing import TYPE_CHECKING, Final

import click

from tracker.commands.command import json_option, main, own_settings, put, shop_database
from tracker.shop.codes import Kind
from tracker.shop.errors import NotFoundError
from tracker.shop.job_states import UNFINISHED, JobStatus
from tracker.shop.saying import say_many

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from tracker.records.box_contents import Item
    from tracker.records.boxes import Box
    from tracker.records.jobs import JobView
    from tracker.records.missing_lists import ShortBox
    from tracker.records.parts import SeenPart

_ALL: Final = 1_000_000


@main.command()
@click.option("--all", "every", is_flag=True, help="Shipped and cancelled ones, too, the latest first.")
@json_option
def jobs(every: bool, as_json: bool) -> None:
    """List the jobs that are not finished, soonest due first.

    Example: tracker jobs
    """
    from tracker.api.jobs import JobShape
    from tracker.records.jobs import list_jobs

    with shop_database().read() as connection:
        found = list_jobs(connection, limit=_ALL, status=() if every else UNFINISHED)
    lines = [line for job in found for line in _job_lines(job)] or [
        "There is no job." if every else "No job is unfinished. Use --all for the others."
    ]
    put({"items": JobShape(many=True).dump(found)}, "\n".join(lines), as_json=as_json)


@main.command()
@click.argument("code")
@json_option
def job(code: str, as_json: bool) -> None:
    """Say how a job stands, and what its boxes still lack.

    Example: tracker job J-1042
    """
    from tracker.api.jobs import JobShape
    from tracker.api.missing import MissingBoxShape
    from tracker.work.jobs import job_coded

    with shop_database().read() as connection:
        found = job_coded(connection, code)
        short = _short_boxes(connection, found.code)
    lines = [*_job_lines(found), *_short_lines(short)]
    result = {**JobShape().dump(found), "missing": MissingBoxShape(many=True).dump(short)}
    put(result, "\n".join(lines), as_json=as_json)


@main.command()
@click.option("--job", "code", help="Of this job alone.")
@json_option
def missing(code: str | None, as_json: bool) -> None:
    """List what each box still lacks and where it was last seen; the boxes that leave soonest come first.

    Example: tracker missing --job J-1042
    """
    from tracker.api.missing import MissingBoxShape
    from tracker.work.jobs import job_coded

    with shop_database().read() as connection:
        short = _short_boxes(connection, None if code is None else job_coded(connection, code).code)
    lines = list(_short_lines(short)) or ["Nothing is missing."]
    put({"items": MissingBoxShape(many=True).dump(short)}, "\n".join(lines), as_json=as_json)


@main.command()
@click.argument("code")
@json_option
def part(code: str, as_json: bool) -> None:
    """Say where a part is, what it waits for, and all that happened to it.

    Example: tracker part P0000010416
    """
    from tracker.api.parts import PartWithHistoryShape, whole_part
    from tracker.records.parts import part_view
    from tracker.work.box_numbers import number_read

    database = shop_database()
    number = number_read(database, code, Kind.PART)
    with database.read() as connection:
        found = part_view(connection, number)
        if found is None:
            raise NotFoundError(f"There is no part {code[:40]}.")
        whole = whole_part(connection, found, datetime.now(UTC))
    zone = own_settings().zone
    lines = [
        f"{found.code} {found.name}, cabinet {found.cabinet} of job {found.job.code}: {_where(found, zone)}.",
        f"It belongs in box {found.box.in_words}, which is {found.box.state}.",
        *(
            f"  {_local(row.at, zone)}  {row.station or 'at a desk'}: {row.message} ({row.who})"
            for row in whole["history"]
        ),
    ]
    put(PartWithHistoryShape().dump(whole), "\n".join(lines), as_json=as_json)


@main.command()
@click.argument("code")
@json_option
def box(code: str, as_json: bool) -> None:
    """Say what is in a box and what it still lacks.

    Example: tracker box B0000000141
    """
    from tracker.api.boxes import BoxShape
    from tracker.records.box_contents import box_view
    from tracker.work.box_numbers import number_read
    from tracker.work.lists import lifting_marks

    database = shop_database()
    number = number_read(database, code, Kind.BOX)
    with database.read() as connection:
        found = box_view(connection, number)
    if found is None:
        raise NotFoundError(f"There is no box {code[:40]}.")
    lines = [
        f"Box {found.in_words}: {found.state}, {_leaves(found)}.",
        *_part_lines(found.parts, own_settings().zone),
        *map(_item_line, found.items),
    ]
    put(BoxShape(marks=lifting_marks(database)).dump(found), "\n".join(lines), as_json=as_json)


def _short_boxes(connection: "Connection", code: str | None) -> "Sequence[ShortBox]":
    from tracker.records.missing_lists import Bounds, missing_page

    return missing_page(connection, job_code=code, bounds=Bounds(boxes=_ALL)).boxes


def _job_lines(found: "JobView") -> Iterator[str]:
    hold = " (on hold)" if found.status is JobStatus.HELD else ""
    status = "" if found.status in UNFINISHED else f" ({found.status})"
    yield f"{found.code} for {found.customer}, due {found.due}{hold}{status}"
    steps = ", ".join(f"{step} {count.done} of {count.total}" for step, count in found.steps.items())
    boxes = say_many("%(num)d box", "%(num)d boxes", found.boxes.total)
    yield f"  {steps}; {boxes}, {found.boxes.sealed} sealed, {found.boxes.shipped} shipped"


def _short_lines(short: "Iterable[ShortBox]") -> Iterator[str]:
    zone = own_settings().zone
    for found in short:
        yield f"Box {found.in_words} for {found.job.customer}, {_leaves(found)}, lacks:"
        yield from _part_lines(found.parts, zone)
        yield from map(_item_line, found.items)


def _leaves(found: "Box") -> str:
    load = f" with load {found.load_code}" if found.load_code else ""
    return f"{'on hold, ' if found.held else ''}{'left' if found.shipped else 'leaves'} on {found.leaves}{load}"


def _part_lines(found: "Iterable[SeenPart]", zone: tzinfo) -> Iterator[str]:
    return (f"  {each.code} {each.name}, cabinet {each.cabinet}: {_where(each, zone)}" for each in found)


def _item_line(found: "Item") -> str:
    counted = "not counted" if found.counted is None else f"{found.counted} counted"
    return f"  {found.quantity} of {found.item}: {counted}"


def _where(found: "SeenPart", zone: tzinfo) -> str:
    waits = found.status.value if found.step is None else f"waits for {found.step}"
    told = f"damaged, {waits}" if found.damaged else waits
    seen = found.last_seen
    if seen is None:
        return f"{told}, not scanned yet"
    slot = "" if seen.slot is None else f", slot {seen.slot}"
    return f"{told}, last seen {_local(seen.at, zone)} at {seen.station or 'a desk'}{slot}"


def _local(moment: datetime, zone: tzinfo) -> str:
    return moment.astimezone(zone).strftime("%Y-%m-%d %H:%M")
