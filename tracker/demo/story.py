"""The main job, told: from cabinets through parts, labels that are read back, boards, scans and boxes, to a load."""

import tempfile
from datetime import UTC, datetime
from io import BytesIO
from typing import Any

from tracker.demo.shop import DemoShop, Say, load_shop, new_shop, of_kind
from tracker.records.database import Database
from tracker.records.holding import hold
from tracker.records.migrate import upgrade
from tracker.records.missing_lists import Bounds, missing_page
from tracker.settings import Settings
from tracker.shop.box_states import BoxState
from tracker.shop.codes import Kind, part_code, read_code
from tracker.shop.errors import IncompleteError
from tracker.shop.steps import Step
from tracker.work.assembly_sheets import write_cabinet_sheet
from tracker.work.designs import cabinets_of_job
from tracker.work.replace import replace_part
from tracker.work.reports import Told, open_reports, take_report
from tracker.work.verify import verify

MAKING = (Step.CUT, Step.MACHINE, Step.BAND)


def run_once(say: Say, folder: str | None = None) -> None:
    """Play the day in a folder, or in one that is thrown away, saying what happens.

    Raises ConflictError for a folder that holds a database.
    """
    with tempfile.TemporaryDirectory(prefix="tracker-demo-") as thrown_away:
        settings, database = new_shop(folder or thrown_away)
        try:
            with hold(database):
                upgrade(database)
                play_day(database, settings, say)
        finally:
            database.close()


def play_day(database: Database, settings: Settings, say: Say) -> DemoShop:
    """Play the invented shop's day on an empty database: four jobs, each left where its state says."""
    shop = load_shop(database, settings)
    say(f"{shop.data['name']} opens. All of this is invented.")
    shop.open_up()
    for row in shop.data["job"]:
        taken = shop.take(row)
        read = shop.read_labels(row["code"])
        parts, boxes = of_kind(read, Kind.PART), of_kind(read, Kind.BOX)
        say(
            f"{row['code']} for {row['customer']}: {taken.parts} parts of {taken.cabinets} cabinets in "
            f"{len(taken.boxes)} boxes. {len(read)} labels drawn and read back."
        )
        most = max(len(box.cabinets) for box in shop.boxes(row["code"]))
        say(f"  One absent box stops at most {most} {'cabinet' if most == 1 else 'cabinets'}.")
        planned = shop.plan_boards(row["code"])
        say(
            f"  It is cut from {planned.boards} boards (no plan needs fewer than {planned.lower_bound}), "
            f"{planned.yield_share:.0%} of them used."
        )
        if (len(parts), sorted(boxes)) != (taken.parts, sorted(taken.boxes)):
            raise RuntimeError("the labels that were read are not those of the job")
        _PLAYS[row["state"]](shop, row["code"], say)
    _tell_missing(shop, say)
    differences = list(verify(database))
    say(f"Verified: {len(differences)} differences between the log and what is kept.")
    if differences:
        raise RuntimeError(f"the kept state is not what the log says: {differences[0]}")
    return shop


def _ship_whole(shop: DemoShop, job: str, say: Say) -> None:
    boards = shop.cut_boards(job)
    waiting = len(shop.due_at(job, Step.CUT))
    say(f"  {boards} scans of boards at the saw passed all their parts; {waiting} parts wait for it.")
    shop.pass_all(job, MAKING)
    for box in shop.boxes(job):
        shop.scan([box.code, *(part.code for part in box.parts)], Step.PACK)
        shop.seal(box)
    load = shop.ship(job)
    say(f"  Cut, machined, banded, packed, sealed; load {load} left with all {len(shop.boxes(job))} boxes.")
    _tell_sheet(shop, job, say)
    _report_from_site(shop, job, say)


def _tell_sheet(shop: DemoShop, job: str, say: Say) -> None:
    name = cabinets_of_job(shop.database, job)[0]
    pages = write_cabinet_sheet(shop.database, shop.settings, job, name, BytesIO())
    say(f"  In its carton lay the sheet of cabinet {name}: {pages} pages, each step drawn.")


def _report_from_site(shop: DemoShop, job: str, say: Say) -> None:
    name = cabinets_of_job(shop.database, job)[0]
    told = [Told(name="Deck", what="damaged")]
    now = datetime.now(UTC)
    take_report(shop.database, job, name, told, told_by="the fitter (invented)", note="a corner is crushed", now=now)
    (report,) = open_reports(shop.database, limit=10)
    say(f"  From site, by the code on that sheet: {report.name} {report.part} of cabinet {name} is {report.what}.")


def _one_short(shop: DemoShop, job: str, say: Say) -> None:
    forgotten = next(part for part in shop.parts(job) if part.name == "Door")
    shop.pass_all(job, (Step.CUT, Step.MACHINE))
    shop.scan([shop.slots["RACK-B2"]], Step.MACHINE)
    shop.pass_all(job, (Step.BAND, Step.PACK), leave=frozenset({forgotten.code}))
    for box in shop.boxes(job):
        shop.scan([box.code, *(part.code for part in box.parts if part.code != forgotten.code)], Step.PACK)
        try:
            shop.seal(box)
        except IncompleteError as error:
            lacking = ", ".join(f"{entry['name']} (waits for {entry['step']})" for entry in error.missing)
            say(f"  Box {box.name} would not seal. It lacks: {lacking}.")
    say("  The other boxes are packed and sealed.")
    _stays_behind(shop, job, say)


def _stays_behind(shop: DemoShop, job: str, say: Say) -> None:
    """Load what is sealed. The truck does not leave: whoever tries the demo finds it at the dock and decides."""
    load = shop.load([box for box in shop.boxes(job) if box.state == BoxState.SEALED])
    try:
        shop.let_go(load)
    except IncompleteError as error:
        for box in error.staying or ():
            lacks = f"{box['state']}, parts missing: {box['missing_count']}"
            say(f"  All boxes of load {load} are on it, and it stays: box {box['name']} would stay behind ({lacks}).")
    else:
        raise RuntimeError(f"load {load} left a box behind without a word")


def _half_done(shop: DemoShop, job: str, say: Say) -> None:
    parts = shop.parts(job)
    half = frozenset(part.code for part in parts[len(parts) // 2 :])
    shop.pass_all(job, MAKING, leave=half)
    boxes = shop.boxes(job)
    shop.scan([boxes[0].code, *(part.code for part in boxes[0].parts)], Step.PACK)
    damaged = boxes[1].parts[0]
    answer = shop.damage(damaged.code, Step.BAND)
    say(f"  Half of it is made. {answer.message}")
    wrong = shop.scan([boxes[2].code, boxes[1].parts[1].code], Step.PACK)[-1]
    say(f"  A slip at the bench: {wrong.outcome.value}. {wrong.message}")
    replaced = boxes[1].parts[2]
    number = replace_part(
        shop.database,
        read_code(replaced.code).number,
        "edge chipped",
        who="demo foreman",
        now=datetime.now(UTC),
    )
    old = shop.scan([replaced.code], Step.PACK)[0]
    say(f"  {replaced.name} was replaced by {part_code(number)}; its old label now says: {old.outcome.value}.")


def _just_started(shop: DemoShop, job: str, say: Say) -> None:
    first = [part.code for part in shop.parts(job)[:25] if part.step == Step.CUT]
    shop.scan(first, Step.CUT)
    say(f"  Its first {len(first)} parts are cut.")


_PLAYS: dict[str, Any] = {
    "shipped": _ship_whole,
    "one short": _one_short,
    "half": _half_done,
    "started": _just_started,
}


def _tell_missing(shop: DemoShop, say: Say) -> None:
    with shop.database.read() as connection:
        missing = missing_page(connection, bounds=Bounds(boxes=1_000)).boxes
    lacking = sum(box.parts_lacking for box in missing)
    say(f"Not complete: {len(missing)} boxes lack {lacking} parts. The soonest to leave:")
    for box in missing[:1]:
        for part in box.parts:
            seen = f"last seen at {part.last_seen.station}" if part.last_seen else "not yet seen"
            say(f"  {box.job.code} box {box.name}: {part.name} {part.code} waits for {part.step}, {seen}.")
