"""A small shop to test on: five stations and a job of two cabinets. Everything in it is invented."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import UTC, date, datetime, timedelta
from typing import Any
from uuid import UUID, uuid4

from sqlalchemy import event

from tracker.records.box_contents import BoxView, box_view
from tracker.records.database import Database
from tracker.records.jobs import JobView, job_view
from tracker.records.parts import SeenPart, part_view
from tracker.records.shipping import ShippingBox, staying_of_loads
from tracker.shop.codes import Code, Kind, box_code, part_code, read_code
from tracker.shop.orders import ItemLine, Order, PartLine
from tracker.shop.scans import Action, Answer, Scan
from tracker.shop.steps import Step
from tracker.work.access import add_slot, add_station
from tracker.work.loads import LeaveBehind, plan_load, ship_load
from tracker.work.orders import take_order
from tracker.work.scanning.batch import Sender, take_scans
from tracker.work.seal import Sealed, Sealing, seal_box
from tracker.work.verify import verify

START = datetime(2027, 3, 1, 8, 0, tzinfo=UTC)
JOB = "J-1"

# The deck is cut, machined and banded; the toe kick and the end are only cut.
DECK = PartLine(
    cabinet="101",
    part="Deck",
    quantity=1,
    length_mm=564,
    width_mm=560,
    thickness_mm=18,
    edges=("L1",),
    machining="DK-1",
)
TOE_KICK = PartLine(cabinet="101", part="Toe kick", quantity=1, length_mm=564, width_mm=95, thickness_mm=18)
END = PartLine(cabinet="102", part="End", quantity=1, length_mm=720, width_mm=560, thickness_mm=18)
NOTHING: Mapping[str, int] = {}
PINS = ItemLine(box="101", item="spring pin 8 mm", quantity=2)


class Floor:
    """Acts on one database, with a clock of its own that moves a second an act."""

    def __init__(self, database: Database, *, strict: Sequence[Step] = (), start: datetime = START) -> None:
        self._stand_on(database, start)
        for step in Step:
            add_station(database, f"{step.value.upper()}-1", step, strict=step in strict)
        assert add_slot(database, "CART-1") == self.slot
        self.take()

    @classmethod
    def found_on(cls, database: Database, start: datetime) -> "Floor":
        """The floor of a shop that was filled before, as by a template."""
        floor = cls.__new__(cls)
        floor._stand_on(database, start)
        return floor

    def _stand_on(self, database: Database, start: datetime) -> None:
        self.database = database
        self.clock = start
        self.slot = str(Code(Kind.SLOT, 1))
        self.deck, self.toe_kick, self.end = part_code(1), part_code(2), part_code(3)
        self.box_101, self.box_102 = box_code(1), box_code(2)

    def take(self, job: str = JOB, parts: Sequence[PartLine] = (DECK, TOE_KICK, END), **more: Any) -> None:
        items = more.pop("items", (PINS,))
        order = Order(job=job, customer="Invented", due=date(2027, 3, 5), parts=parts, items=items)
        take_order(self.database, order, who="office", now=self.tick())

    def tick(self, seconds: float = 1) -> datetime:
        self.clock += timedelta(seconds=seconds)
        return self.clock

    def act(self) -> dict[str, Any]:
        return {"who": "foreman", "now": self.tick()}

    def scan(self, code: str, station: str, *, at: datetime | None = None, **more: Any) -> Answer:
        made = Scan(id=more.pop("id", None) or uuid4(), code=code, station=station, at=at or self.tick(), **more)
        return self.send([made])[0]

    def send(self, scans: Iterable[Scan]) -> list[Answer]:
        return take_scans(self.database, list(scans), Sender(name="tester"), self.clock)

    def undo(self, station: str, **more: Any) -> Answer:
        return self.scan("", station, action=Action.UNDO, **more)

    def pack_all(self) -> None:
        for code in (self.deck, self.toe_kick, self.end):
            assert self.scan(code, "PACK-1").ok

    def seal(self, code: str, items: Mapping[str, int] = NOTHING, *, override: str = "") -> Sealed:
        request = Sealing(box=read_code(code).number, items=items, override_reason=override)
        return seal_box(self.database, request, **self.act())

    def seal_both(self) -> None:
        self.pack_all()
        self.seal(self.box_101, {"spring pin 8 mm": 2})
        self.seal(self.box_102)

    def plan(self, *codes: str) -> str:
        return plan_load(self.database, [read_code(code).number for code in codes], date(2027, 3, 4), **self.act())

    def ship(self, load: str, *leaving: str, reason: str = "the door is late") -> None:
        """Ship a load; boxes that a foreman leaves behind are named."""
        numbers = [read_code(code).number for code in leaving]
        word = LeaveBehind(reason=reason, boxes=numbers) if leaving else None
        ship_load(self.database, read_code(load).number, leave_behind=word, **self.act())

    def staying(self, load: str) -> list[ShippingBox]:
        """The boxes of a load's jobs that stay behind."""
        number = read_code(load).number
        with self.database.read() as connection:
            return list(staying_of_loads(connection, [number])[number])

    def part(self, code: str) -> SeenPart:
        with self.database.read() as connection:
            found = part_view(connection, read_code(code).number)
        assert found is not None
        return found

    def box(self, code: str) -> BoxView:
        with self.database.read() as connection:
            found = box_view(connection, read_code(code).number)
        assert found is not None
        return found

    def job(self, code: str = JOB) -> JobView:
        with self.database.read() as connection:
            found = job_view(connection, code)
        assert found is not None
        return found

    def check(self) -> None:
        """The kept state is what the log says."""
        assert list(verify(self.database)) == []


@contextmanager
def statements(database: Database) -> Iterator[list[str]]:
    """Yield a list into which all that is asked of a database meanwhile is written."""
    asked: list[str] = []

    def hear(_connection: object, _cursor: object, statement: str, *_rest: object) -> None:
        asked.append(statement)

    event.listen(database.engine, "before_cursor_execute", hear)
    try:
        yield asked
    finally:
        event.remove(database.engine, "before_cursor_execute", hear)


def scan_of(code: str, station: str, at: datetime, *, scan_id: UUID | None = None, **more: Any) -> Scan:
    """A scan to send with others."""
    return Scan(id=scan_id or uuid4(), code=code, station=station, at=at, **more)
