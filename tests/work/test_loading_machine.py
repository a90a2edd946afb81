"""Whatever happens to boxes and loads, on time and late, the kept state is the fold of the log."""

from contextlib import suppress
from datetime import datetime, timedelta
from pathlib import Path
from shutil import copyfile
from tempfile import TemporaryDirectory

from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule, run_state_machine_as_test

from tests.examples import examples
from tests.floor import Floor
from tracker.records.contradictions import Flagged, open_contradictions
from tracker.records.database import Database
from tracker.shop.box_states import BoxState
from tracker.shop.codes import read_code
from tracker.shop.contradictions import choices_of
from tracker.shop.errors import ShopError
from tracker.shop.steps import Step
from tracker.work.access import add_station
from tracker.work.loads import add_to_load, take_off_load
from tracker.work.open_again import Opening, open_again
from tracker.work.settle import Settling, settle

ITEMS = {1: {"spring pin 8 mm": 2}, 2: {}}
BOXES = st.sampled_from([1, 2])
AGO = st.integers(1, 400)
STATIONS = st.sampled_from(["SHIP-1", "SHIP-2"])


class Loading(RuleBasedStateMachine):
    """Two sealed boxes, two loads, two docks, and a foreman who changes his mind."""

    template: Path

    def __init__(self) -> None:
        super().__init__()
        self.folder = TemporaryDirectory()
        copyfile(self.template, Path(self.folder.name) / "shop.db")
        self.database = Database(f"sqlite:///{self.folder.name}/shop.db", readers=1)
        self.floor = Floor(self.database)
        add_station(self.database, "SHIP-2", Step.SHIP)
        self.floor.seal_both()
        self.loads = [self.floor.plan(self.floor.box_101), self.floor.plan(self.floor.box_102)]
        self.floor.clock += timedelta(minutes=5)

    def teardown(self) -> None:
        self.database.close()
        self.folder.cleanup()

    def code(self, box: int) -> str:
        return self.floor.box_101 if box == 1 else self.floor.box_102

    def ago(self, seconds: int) -> datetime:
        return self.floor.clock - timedelta(seconds=seconds)

    @rule(box=BOXES, station=STATIONS)
    def load(self, box: int, station: str) -> None:
        state = self.floor.box(self.code(box))
        answer = self.floor.scan(self.code(box), station, load=state.load_code or "")
        assert (answer.outcome == "done") is (state.state == "sealed" and state.load is not None)

    @rule(box=BOXES, station=STATIONS, ago=AGO, named=st.booleans())
    def load_late(self, box: int, station: str, ago: int, named: bool) -> None:
        load = self.loads[box - 1] if named else ""
        self.floor.scan(self.code(box), station, at=self.ago(ago), load=load)

    @rule(station=STATIONS, ago=st.one_of(st.just(0), AGO))
    def undo(self, station: str, ago: int) -> None:
        self.floor.undo(station, at=self.ago(ago))

    @rule(box=BOXES, load=st.sampled_from([0, 1]))
    def plan(self, box: int, load: int) -> None:
        with suppress(ShopError):
            add_to_load(self.database, read_code(self.loads[load]).number, box, **self.floor.act())

    @rule(box=BOXES)
    def take_off(self, box: int) -> None:
        load = self.floor.box(self.code(box)).load_code
        if load is not None:
            take_off_load(self.database, read_code(load).number, box, **self.floor.act())

    @rule(box=BOXES)
    def open_again(self, box: int) -> None:
        with suppress(ShopError):
            open_again(self.database, Opening(box=box, reason="to look"), **self.floor.act())

    @rule(box=BOXES)
    def seal(self, box: int) -> None:
        with suppress(ShopError):
            self.floor.seal(self.code(box), ITEMS[box])

    @rule(minutes=st.integers(1, 3))
    def wait(self, minutes: int) -> None:
        self.floor.clock += timedelta(minutes=minutes)

    @precondition(lambda self: self.flagged())
    @rule(pick=st.integers(0, 5), choose=st.integers(0, 2))
    def settle(self, pick: int, choose: int) -> None:
        found = self.flagged()
        flagged = found[pick % len(found)]
        choices = choices_of(flagged.standing)
        settling = Settling(seq=flagged.seq, choice=choices[choose % len(choices)], reason="looked")
        settle(self.database, settling, **self.floor.act())

    def flagged(self) -> list[Flagged]:
        with self.database.read() as connection:
            return open_contradictions(connection, limit=10)

    @invariant()
    def the_state_is_the_fold_of_the_log(self) -> None:
        self.floor.check()

    @invariant()
    def what_is_loaded_has_a_load(self) -> None:
        for box in (1, 2):
            view = self.floor.box(self.code(box))
            assert view.state != BoxState.LOADED or view.load is not None


def test_whatever_happens_at_the_dock_the_state_is_the_fold_of_the_log(sqlite_template: Path) -> None:
    machine = type("LoadingHere", (Loading,), {"template": sqlite_template})
    run_state_machine_as_test(machine, settings=examples(15, stateful_step_count=25))
