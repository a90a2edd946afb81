"""Scans at random: repeats, out of order, undone, by two clients, batches split and sent again: the log is truth."""

import contextlib
import shutil
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from tempfile import mkdtemp
from typing import Any
from uuid import UUID, uuid5

import pytest
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule
from sqlalchemy import select

from tests.conftest import Cluster
from tests.examples import examples
from tests.floor import JOB, START, Floor, scan_of
from tests.shops import sqlite_shop
from tracker.records.contradictions import open_contradictions
from tracker.records.database import Database
from tracker.records.migrate import upgrade
from tracker.records.tables import box as box_table
from tracker.records.tables import log
from tracker.records.tables import part as part_table
from tracker.shop.box_states import CLOSED_STATES
from tracker.shop.codes import Code, Kind, part_code, read_code
from tracker.shop.contradictions import Choice, choices_of
from tracker.shop.errors import ConflictError, IncompleteError, InvalidInputError, NotFoundError
from tracker.shop.outcomes import Outcome
from tracker.shop.reasons import Reason
from tracker.shop.scans import Action, Answer, Scan
from tracker.shop.steps import Step
from tracker.work.boards import plan_job_boards
from tracker.work.hold_box import hold_box, let_go_box
from tracker.work.jobs import cancel_job, hold_job, resume_job
from tracker.work.open_again import Opening, open_again
from tracker.work.replace import repair_part, replace_part
from tracker.work.settle import Settling, settle

STATIONS = [f"{step.value.upper()}-1" for step in Step]
NAMESPACE = UUID("00000000-0000-4000-8000-000000000000")
ACTIONS = st.sampled_from([Action.PASS] * 6 + [Action.UNDO, Action.DAMAGED, Action.PLACE])


class Shop(RuleBasedStateMachine):
    """The shop under random scans; ``make`` gives an empty database."""

    floor: Floor

    @staticmethod
    def make() -> Database:
        raise NotImplementedError

    @initialize(strict=st.sampled_from([(), (Step.BAND,), (Step.PACK, Step.MACHINE)]))
    def open_up(self, strict: tuple[Step, ...]) -> None:
        self.floor = Floor(self.make(), strict=strict)
        self.sent: dict[UUID, Scan] = {}
        self.answers: dict[UUID, Answer] = {}
        self.count = 0
        self.parts = 3
        self.boards = 0

    def _codes(self) -> list[str]:
        parts = [part_code(number) for number in range(1, self.parts + 1)]
        boxes = [self.floor.box_101, self.floor.box_102, str(Code(Kind.BOX, 3))]
        boards = [str(Code(Kind.BOARD, number)) for number in range(1, self.boards + 1)]
        return [*parts, *parts, *parts, *boxes, *boards, *boards, self.floor.slot, str(Code(Kind.LOAD, 1)), "rubbish"]

    def _scan(self, data: st.DataObject, back_s: int) -> Scan:
        self.count += 1
        at = self.floor.tick() - timedelta(seconds=back_s)
        action = data.draw(ACTIONS)
        codes = self._codes()
        # Most undos are a key or a card, which name nothing; an undo that names another thing takes nothing back.
        codes += [""] * (len(codes) if action is Action.UNDO else 0)
        scan = scan_of(
            data.draw(st.sampled_from(codes)),
            data.draw(st.sampled_from(STATIONS)),
            max(at, START),
            scan_id=uuid5(NAMESPACE, str(self.count)),
            action=action,
        )
        self.sent[scan.id] = scan
        return scan

    def _send(self, batch: list[Scan]) -> None:
        for answer in self.floor.send(batch):
            first = self.answers.setdefault(answer.id, answer)
            assert answer == first, "the same id had another answer"
            if answer.outcome is Outcome.NOTHING_TO_UNDO and not _names_a_part_or_a_board(self.sent[answer.id].code):
                told = "only a named part or board can be the wrong one"
                assert answer.reason == Reason.NOTHING_TO_UNDO, told

    @rule(data=st.data(), backs=st.lists(st.sampled_from([0, 0, 0, 2, 7, 30]), min_size=1, max_size=6))
    def send_a_batch(self, data: st.DataObject, backs: list[int]) -> None:
        self._send([self._scan(data, back) for back in backs])

    @precondition(lambda self: bool(self.sent))
    @rule(data=st.data())
    def send_some_again(self, data: st.DataObject) -> None:
        again = data.draw(st.lists(st.sampled_from(sorted(self.sent)), min_size=1, max_size=5))
        before = self.floor.job()
        self._send([self.sent[scan_id] for scan_id in again])
        assert self.floor.job() == before

    @precondition(lambda self: self.boards < 4)
    @rule()
    def plan_the_boards(self) -> None:
        with contextlib.suppress(ConflictError):
            self.boards += plan_job_boards(self.floor.database, JOB, **self.floor.act()).boards

    @precondition(lambda self: self.boards > 0)
    @rule(data=st.data(), back=st.sampled_from([0, 0, 5, 30]), undo=st.booleans())
    def scan_a_board(self, data: st.DataObject, back: int, undo: bool) -> None:
        scans = [self._board_scan(data, back, Action.PASS)]
        if undo:
            scans.append(self._board_scan(data, 0, Action.UNDO))
        self._send(scans)

    @rule(data=st.data(), named=st.sampled_from(["", "itself", "another"]))
    def take_back_what_was_scanned_last(self, data: st.DataObject, named: str) -> None:
        """An undo that names nothing or the last thing is judged by it; one that names another takes nothing back."""
        things = [part_code(number) for number in range(1, self.parts + 1)]
        things += [str(Code(Kind.BOARD, number)) for number in range(1, self.boards + 1)]
        code = data.draw(st.sampled_from(things))
        if self._act_at_the_saw(code, Action.PASS).outcome is not Outcome.DONE:
            return
        other = data.draw(st.sampled_from([thing for thing in things if thing != code]))
        before = self.floor.job()
        undo = self._act_at_the_saw({"": "", "itself": code, "another": other}[named], Action.UNDO)
        assert (undo.outcome is Outcome.NOTHING_TO_UNDO) == (named == "another")
        if named == "another":
            assert code in undo.message, "it says what would be taken back"
            assert self.floor.job() == before

    def _act_at_the_saw(self, code: str, action: Action) -> Answer:
        self.count += 1
        scan = scan_of(code, "CUT-1", self.floor.tick(), scan_id=uuid5(NAMESPACE, str(self.count)), action=action)
        self.sent[scan.id] = scan
        self._send([scan])
        return self.answers[scan.id]

    def _board_scan(self, data: st.DataObject, back: int, action: Action) -> Scan:
        self.count += 1
        at = max(self.floor.tick() - timedelta(seconds=back), START)
        code = str(Code(Kind.BOARD, data.draw(st.integers(1, self.boards))))
        scan = scan_of(code, "CUT-1", at, scan_id=uuid5(NAMESPACE, str(self.count)), action=action)
        self.sent[scan.id] = scan
        return scan

    @rule(number=st.sampled_from([1, 2]))
    def seal(self, number: int) -> None:
        code = self.floor.box_101 if number == 1 else self.floor.box_102
        items = {"spring pin 8 mm": 2} if number == 1 else {}
        try:
            self.floor.seal(code, items)
        except (IncompleteError, ConflictError):
            return
        box = self.floor.box(code)
        assert box.missing_count == 0
        assert all(part.packed and not part.damaged for part in box.parts)

    @rule(number=st.sampled_from([1, 2]))
    def seal_short(self, number: int) -> None:
        with contextlib.suppress(ConflictError):
            self.floor.seal(self.floor.box_101 if number == 1 else self.floor.box_102, override="the truck waits")

    @rule(number=st.sampled_from([1, 2, 3]))
    def open_again(self, number: int) -> None:
        try:
            open_again(self.floor.database, Opening(box=number, reason="looked once more"), **self.floor.act())
        except (ConflictError, NotFoundError):
            return
        assert self.floor.box(str(Code(Kind.BOX, number))).state not in CLOSED_STATES

    @precondition(lambda self: self.parts < 8)
    @rule(data=st.data())
    def replace(self, data: st.DataObject) -> None:
        number = data.draw(st.integers(1, self.parts))
        try:
            replace_part(self.floor.database, number, "lost", **self.floor.act())
        except ConflictError:
            return
        self.parts += 1

    @rule(data=st.data())
    def settle_a_contradiction(self, data: st.DataObject) -> None:
        with self.floor.database.read() as connection:
            flagged = open_contradictions(connection, limit=5)
        if not flagged:
            return
        chosen = data.draw(st.sampled_from(flagged))
        offered = choices_of(chosen.standing)  # what changes most stands first
        choice = data.draw(st.sampled_from([*offered[:1], *offered[:1], *offered]))
        if choice is Choice.REPLACE and self.parts >= 8:
            return
        try:
            settle(self.floor.database, Settling(seq=chosen.seq, choice=choice, reason="looked"), **self.floor.act())
        except ConflictError:
            return
        self.parts += choice is Choice.REPLACE
        with self.floor.database.read() as connection:
            assert chosen.seq not in [each.seq for each in open_contradictions(connection, limit=50)]

    @precondition(lambda self: self.count > 0)
    @rule(data=st.data(), number=st.sampled_from([1, 2, 3]), undo=st.booleans())
    def pack_offline_while_the_box_is_sealed(self, data: st.DataObject, number: int, undo: bool) -> None:
        """A scan or an undo at the bench that arrives after its box was sealed, perhaps short."""
        self.count += 1
        action = Action.UNDO if undo else Action.PASS
        code = "" if undo else part_code(number)
        scan = scan_of(code, "PACK-1", self.floor.tick(), scan_id=uuid5(NAMESPACE, str(self.count)), action=action)
        self.seal_short(data.draw(st.sampled_from([1, 2])))
        self.sent[scan.id] = scan
        self._send([scan])

    @rule(data=st.data())
    def repair(self, data: st.DataObject) -> None:
        with contextlib.suppress(ConflictError):
            repair_part(self.floor.database, data.draw(st.integers(1, self.parts)), "filled", **self.floor.act())

    @rule(act=st.sampled_from([hold_job, resume_job, hold_job, resume_job, cancel_job]))
    def change_the_job(self, act: object) -> None:
        with contextlib.suppress(ConflictError):
            act(self.floor.database, JOB, **self.floor.act())  # type: ignore[operator]

    @rule(number=st.sampled_from([1, 2]), act=st.sampled_from([hold_box, let_go_box]))
    def hold_a_box_or_let_it_go(self, number: int, act: Any) -> None:
        with contextlib.suppress(ConflictError):
            act(self.floor.database, number, **self.floor.act())

    @rule(named=st.booleans())
    def plan_and_ship(self, named: bool) -> None:
        with contextlib.suppress(InvalidInputError):
            self.floor.plan(self.floor.box_101, self.floor.box_102)
        load = str(Code(Kind.LOAD, 1))
        staying = [box.code for box in self.floor.staying(load)]
        try:
            self.floor.ship(load, *(staying if named else ()))
        except (IncompleteError, ConflictError, NotFoundError):
            return
        assert named or not staying
        assert self.floor.box(self.floor.box_101).state == "shipped"

    @invariant()
    def the_fold_of_the_log_is_the_state(self) -> None:
        if hasattr(self, "floor"):
            self.floor.check()

    @invariant()
    def an_undo_that_names_a_part_or_a_board_took_back_that_one(self) -> None:
        if not hasattr(self, "floor"):
            return
        done = log.alias("done")
        query = select(log.c.code, done.c.code, done.c.part_id).join(done, log.c.undoes == done.c.seq)
        with self.floor.database.read() as connection:
            taken_back = connection.execute(query.where(log.c.action == Action.UNDO.value)).all()
        for named, code, part_id in taken_back:
            if _names_a_part_or_a_board(named):
                part = "" if part_id is None else part_code(part_id)
                assert named in (code, part), f"an undo of {named} took back {code or part}"

    @invariant()
    def no_part_is_in_two_boxes_and_every_part_is_accounted_for(self) -> None:
        if not hasattr(self, "floor"):
            return
        seen: list[str] = []
        with self.floor.database.read() as connection:
            numbers = connection.execute(select(box_table.c.id)).scalars().all()
            living = (
                connection.execute(select(part_table.c.id).where(part_table.c.replaced_by_id.is_(None))).scalars().all()
            )
        for number in numbers:
            box = self.floor.box(str(Code(Kind.BOX, number)))
            seen += [part.code for part in box.parts]
            if box.state in CLOSED_STATES:
                assert box.state != "shipped" or all(part.status in ("shipped", "cancelled") for part in box.parts)
        assert len(seen) == len(set(seen))
        assert sorted(seen) == sorted(part_code(number) for number in living)

    def teardown(self) -> None:
        if hasattr(self, "floor"):
            self.floor.database.close()


def _names_a_part_or_a_board(code: str) -> bool:
    try:
        return read_code(code).kind in (Kind.PART, Kind.BOARD)
    except ValueError:
        return False


@pytest.fixture
def folder() -> Iterator[Path]:
    memory = Path("/dev/shm")  # noqa: S108 - thousands of small databases need no disk
    made = Path(mkdtemp(prefix="tracker-machine-", dir=memory if memory.is_dir() else None))
    yield made
    shutil.rmtree(made)


def test_whatever_is_scanned_on_sqlite_the_fold_of_the_log_is_the_state(sqlite_template: Path, folder: Path) -> None:
    class OnSqlite(Shop):
        @staticmethod
        def make() -> Database:
            path = folder / "shop.db"
            for leftover in folder.iterdir():
                leftover.unlink()
            shutil.copyfile(sqlite_template, path)
            return Database(f"sqlite:///{path}")

    _run(OnSqlite, count=14)


def test_whatever_is_scanned_on_postgresql_the_fold_of_the_log_is_the_state(cluster: Cluster) -> None:
    class OnPostgresql(Shop):
        @staticmethod
        def make() -> Database:
            cluster.drop("machine_shop")
            return Database(cluster.make("machine_shop", "template_shop"))

    _run(OnPostgresql, count=3)
    cluster.drop("machine_shop")


def _run(machine: type[RuleBasedStateMachine], *, count: int) -> None:
    case = machine.TestCase
    case.settings = examples(count, stateful_step_count=25)
    case("runTest").runTest()


def test_the_order_of_arrival_changes_nothing_that_counts(sqlite: Database, tmp_path: Path) -> None:
    """The same scans, as they were made and with one station's an hour late: the same progress of every part."""
    upgrade(sqlite)
    floor = Floor(sqlite)
    made = []
    for code in (floor.deck, floor.toe_kick, floor.end):
        made += [scan_of(code, station, floor.tick()) for station in ("CUT-1", "MACHINE-1", "BAND-1", "PACK-1")]
    floor.send(made)
    on_time = [floor.part(code) for code in (floor.deck, floor.toe_kick, floor.end)]

    late = Floor(_fresh(tmp_path))
    late.clock = floor.clock + timedelta(hours=1)
    late.send([scan for scan in made if scan.station != "CUT-1"])
    late.send([scan for scan in made if scan.station == "CUT-1"])
    assert [late.part(code) for code in (late.deck, late.toe_kick, late.end)] == on_time
    late.check()
    late.database.close()


def _fresh(folder: Path) -> Database:
    return sqlite_shop(folder / "late.db")
