"""What each box lacks and what stays behind, worked out a second time.

Written from the public contract alone; nothing here is taken from ``tracker``. The model is the fold of what happened,
in the order of the devices' own times. Where the contract leaves an answer open, ``allowed`` holds more than one, and
the one that was given is followed.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

STEPS = ("cut", "machine", "band", "pack", "ship")
CARD_MEANS_FOR = timedelta(minutes=10)
START, END = datetime.min.replace(tzinfo=UTC), datetime.max.replace(tzinfo=UTC)
REFUSED = "refused"  # any outcome that is not ok


@dataclass
class Part:
    """One piece; ``route`` has the steps that it needs."""

    code: str
    name: str
    box: str
    route: tuple[str, ...]
    replaced_by: str | None = None


@dataclass
class Box:
    """One carton; ``counted`` says how many of each item are in it."""

    code: str
    job: str
    items: dict[str, int]
    counted: dict[str, int] = field(default_factory=dict)
    state: str = "filling"  # sealed, loaded, shipped
    held: bool = False
    load: str | None = None
    follows: str | None = None
    gone: bool = False
    closed_before: bool = False


@dataclass
class Load:
    """The boxes that are planned to leave together."""

    code: str
    boxes: list[str]
    shipped: bool = False


@dataclass
class Standing:
    """A reading that counts until it is undone; ``last`` is when it was read again at its station."""

    reading: "Reading"
    kind: str  # pass, damaged, place, box, onto
    part: str | None
    box: str | None
    covers: frozenset[str]
    last: datetime
    step: str = ""


@dataclass
class Reading:
    """One scan: what it was, and what was answered."""

    at: datetime
    station: str
    kind: str  # part, box, load, unread, board, undo, damaged, place
    id: str = ""
    code: str = ""
    box: str = ""
    load: str = ""
    outcome: str = ""
    told_part: str | None = None
    told_box: str | None = None
    allowed: frozenset[str] = frozenset()
    meant: str | None = None

    @property
    def as_told(self) -> bool:
        """Whether the answer is one that the model allows."""
        ok = self.outcome in ("done", "again", "undone", "noted")
        return self.outcome in self.allowed or (REFUSED in self.allowed and not ok)


class Model:
    """What happened, and what follows from it."""

    def __init__(self, steps: dict[str, str], strict: Iterable[str]) -> None:
        self.step_of = steps
        self.strict = frozenset(strict)
        self.events: list[tuple[datetime, int, Callable[[State], None]]] = []
        self.adopted: dict[str, tuple[bool, str]] = {}  # what is flagged is taken as it is: packed or not, and its box
        self.readings: list[Reading] = []

    def add(self, at: datetime, event: Callable[["State"], None]) -> None:
        """Note something that happened."""
        self.events.append((at, len(self.events), event))

    def read(self, reading: Reading) -> None:
        """Note a scan."""
        self.readings.append(reading)
        self.add(reading.at, lambda state: state.read(reading))

    def fold(self, until: datetime = END) -> "State":
        """Work out everything anew, up to a time."""
        state = State(self)
        for at, _seq, event in sorted(self.events, key=lambda each: each[:2]):
            if at <= until:
                event(state)
        for code in self.adopted.keys() & state.parts.keys():
            state.parts[code].box = self.adopted[code][1]
        return state


class State:
    """How things stand after the events up to now."""

    def __init__(self, model: Model) -> None:
        self.model = model
        self.jobs: dict[str, str] = {}
        self.boxes: dict[str, Box] = {}
        self.parts: dict[str, Part] = {}
        self.loads: dict[str, Load] = {}
        self.standing: list[Standing] = []
        self.last_part: dict[str, tuple[str | None, datetime]] = {}
        self.at_dock: dict[str, str] = {}
        self.named: list[Reading] = []  # refused parts that named a box, which the bench may have opened by that

    # The one question

    def done(self, part: str, step: str) -> bool:
        """Whether a step of a part is done: a reading of it stands."""
        return any(each.part == part and step in each.covers for each in self.standing)

    def damaged(self, part: str) -> bool:
        return any(each.part == part and each.kind == "damaged" for each in self.standing)

    def in_box(self, part: str) -> bool:
        """Whether a part is in its box: packed, not damaged, its label not replaced."""
        adopted = self.model.adopted.get(part)
        if adopted is not None:
            return adopted[0]
        return self.done(part, "pack") and not self.damaged(part)

    def next_step(self, part: Part) -> str | None:
        return next((step for step in part.route if not self.done(part.code, step)), None)

    def parts_of(self, box: str) -> list[Part]:
        return [part for part in self.parts.values() if part.box == box and part.replaced_by is None]

    def lacks_parts(self, box: str) -> set[str]:
        """The parts that are planned for a box and are not in it."""
        return {part.code for part in self.parts_of(box) if not self.in_box(part.code)}

    def lacks_items(self, box: str) -> dict[str, int]:
        """The items of which fewer are counted into a box than it needs, with what is counted."""
        one = self.boxes[box]
        return {item: one.counted.get(item, 0) for item, n in one.items.items() if one.counted.get(item, 0) < n}

    def lacks(self, box: str) -> bool:
        return bool(self.lacks_parts(box) or self.lacks_items(box))

    def alive(self) -> list[Box]:
        """The boxes that still have something before them."""
        return [
            box
            for box in self.boxes.values()
            if not box.gone and box.state != "shipped" and self.jobs[box.job] != "cancelled"
        ]

    def missing(self) -> dict[str, tuple[set[str], dict[str, int]]]:
        """Every box that lacks something, with the parts and the items."""
        return {
            box.code: (self.lacks_parts(box.code), self.lacks_items(box.code))
            for box in self.alive()
            if self.lacks(box.code)
        }

    def stays_behind(self, boxes: Iterable[str], load: str | None) -> set[str]:
        """The boxes of the same jobs that leave neither with these nor with another load."""
        here = set(boxes)
        jobs = {self.boxes[box].job for box in here}
        return {
            box.code
            for box in self.alive()
            if box.job in jobs and box.code not in here and (box.load is None or box.load == load)
        }

    def keeps_load(self, load: str) -> set[str]:
        """The boxes for which a load cannot ship: not on it, or not whole."""
        return {box for box in self.loads[load].boxes if self.boxes[box].state != "loaded" or self.lacks(box)}

    def settle_jobs(self) -> None:
        """A job is shipped when all its boxes are."""
        for job, status in self.jobs.items():
            boxes = [box for box in self.boxes.values() if box.job == job and not box.gone]
            if status in ("open", "held", "shipped") and boxes:
                left = all(box.state == "shipped" for box in boxes)
                if left or status == "shipped":
                    self.jobs[job] = "shipped" if left else "open"

    # Scans

    def read(self, reading: Reading) -> None:
        """Judge a scan, and let it take effect as it was answered, where that may be."""
        judge = {
            "part": self._part,
            "box": self._box,
            "load": self._load,
            "undo": self._undo,
            "damaged": self._card,
            "place": self._card,
        }.get(reading.kind)
        if judge is not None:
            judge(reading)
        else:
            reading.allowed = frozenset({"unknown", "misread"} if reading.kind == "unread" else {reading.outcome})
            self.last_part[reading.station] = (None, reading.at)

    def _outcome(self, reading: Reading, allowed: set[str]) -> str:
        adopted = self.model.adopted
        if adopted.keys() & {reading.meant, reading.told_part}:
            allowed = {reading.outcome}  # what is flagged waits for a foreman: any answer may be
        reading.allowed = frozenset(allowed)
        if reading.as_told:
            return reading.outcome
        return next(iter(sorted(allowed)))

    def _stand(self, reading: Reading, kind: str, *, part: str | None, box: str | None, covers: Iterable[str]) -> None:
        made = Standing(
            reading, kind, part, box, frozenset(covers), reading.at, self.model.step_of.get(reading.station, "")
        )
        self.standing.append(made)

    def _own(self, station: str, part: str, step: str) -> Standing | None:
        found = [s for s in self.standing if s.reading.station == station and s.part == part and step in s.covers]
        return found[-1] if found else None

    def _part(self, reading: Reading) -> None:
        part = self.parts[reading.code]
        step = self.model.step_of[reading.station]
        self.last_part[reading.station] = (part.code, reading.at)
        reading.meant = part.code
        must, may = self._against(reading, part, step)
        done = self.done(part.code, step)
        if done:
            scanned = any(each.part == part.code and each.covers and each.step == step for each in self.standing)
            allowed = {"again"} | must | may | (set() if scanned or must else {"done"})  # inferred until it is scanned
        else:
            allowed = must | may if must else {"done"} | may
        outcome = self._outcome(reading, allowed)
        own = self._own(reading.station, part.code, step)
        if outcome == "again" and own is not None:
            own.last = reading.at
        elif outcome in ("done", "again"):
            inferred = () if reading.station in self.model.strict else part.route[: part.route.index(step)]
            self._stand(reading, "pass", part=part.code, box=part.box, covers=[step, *inferred])
        elif reading.box:
            self.named.append(reading)

    def _against(self, reading: Reading, part: Part, step: str) -> tuple[set[str], set[str]]:
        """What must refuse a part at a station, and what may."""
        must: set[str] = set()
        may: set[str] = set()
        box = self.boxes[part.box]
        if part.replaced_by is not None:
            return {"replaced"}, may
        status = self.jobs[box.job]
        if status in ("held", "cancelled"):
            must.add("on_hold" if status == "held" else "cancelled")
        if box.state == "shipped":
            may.update({"again", "box_closed", "off_route"})
        if self.damaged(part.code):
            must.add("on_hold")
        if step not in part.route:
            must.add("off_route")
            return must, may
        if reading.station in self.model.strict and self._open_before(part, step):
            must.add("early")
        if step == "pack":
            self._against_packing(reading, part, box, must, may)
        return must, may

    def _open_before(self, part: Part, step: str) -> list[str]:
        return [each for each in part.route[: part.route.index(step)] if not self.done(part.code, each)]

    def _against_packing(self, reading: Reading, part: Part, box: Box, must: set[str], may: set[str]) -> None:
        if box.held:
            may.add("on_hold")
        if box.state != "filling":
            must.add("box_closed")
        opened = {reading.box} if reading.box else self.open_at(reading.station)
        if box.code not in opened and None not in opened:
            must.update({"wrong_box"})
            if any(self.boxes[each].state != "filling" for each in opened if each):
                must.add("box_closed")
        elif opened - {box.code, None}:
            may.add("wrong_box")

    def open_at(self, station: str) -> set[str | None]:
        """The box that is open at a bench, or each that may be, where the contract leaves it open; None for none."""
        found: set[str | None] = set()
        for each in reversed([s for s in self.standing if s.reading.station == station]):
            if each.kind not in ("pass", "box") or each.box is None:
                continue
            found |= self._still_open(each.box)
            if each.reading.outcome == "again":
                continue
            return found | self._named(station, after=each.reading.at)
        return found | {None} | self._named(station)

    def _named(self, station: str, after: datetime = START) -> set[str]:
        return {each.box for each in self.named if each.station == station and each.at >= after}

    def _still_open(self, box: str) -> set[str | None]:
        one = self.boxes[box]
        if one.gone or one.state != "filling":
            return {None}
        whole = not self.lacks_parts(box)
        if whole and not self.lacks_items(box):
            return {None} if self.jobs[one.job] == "open" and not one.closed_before else {box, None}
        doubt = whole or one.closed_before or one.held or self.jobs[one.job] != "open"
        return {box, None} if doubt else {box}

    def _box(self, reading: Reading) -> None:
        box = self.boxes[reading.code]
        reading.meant = box.code
        if self.model.step_of[reading.station] == "ship":
            self._onto(reading, box)
            return
        if self.model.step_of[reading.station] != "pack":
            self._outcome(reading, {REFUSED})
            return
        allowed = {"done", "again"}
        if box.state != "filling" or box.gone:
            allowed = {"box_closed", "unknown", "again"}
        for wanted, why in (("held", "on_hold"), ("cancelled", "cancelled")):
            if self.jobs[box.job] == wanted:
                allowed |= {why}
        if box.held:
            allowed |= {"on_hold"}
        if self._outcome(reading, allowed) in ("done", "again"):
            self._stand(reading, "box", part=None, box=box.code, covers=())

    def _load(self, reading: Reading) -> None:
        load = self.loads[reading.code]
        allowed = {REFUSED} if load.shipped else {"done", "again"}
        if self._outcome(reading, allowed) in ("done", "again"):
            self.at_dock[reading.station] = load.code
            self._stand(reading, "load", part=None, box=None, covers=())

    def _onto(self, reading: Reading, box: Box) -> None:
        load = reading.load or self.at_dock.get(reading.station, "")
        fits = box.load is not None and load == box.load and not box.gone
        free = not box.held and self.jobs[box.job] == "open"
        if fits and free and box.state == "sealed":
            allowed = {"done"} if not self.lacks(box.code) else {"done", REFUSED}
        elif box.state == "loaded" and load == box.load:
            allowed = {"again", REFUSED}
        elif box.load is not None and box.state == "sealed" and free and not load:
            allowed = {"done", REFUSED}
        else:
            allowed = {REFUSED}
        outcome = self._outcome(reading, allowed)
        if outcome == "done":
            box.state = "loaded"
        if outcome in ("done", "again"):
            self._stand(reading, "onto", part=None, box=box.code, covers=())

    def _undo(self, reading: Reading) -> None:
        stack = [each for each in self.standing if each.reading.station == reading.station]
        if not stack:
            self._outcome(reading, {"nothing_to_undo"})
            return
        taken = self._taken(reading, stack)
        allowed = {"undone"}
        if taken.part is not None and self.parts[taken.part].replaced_by is not None:
            allowed |= {"replaced", "nothing_to_undo"}
        about = self.parts[taken.part].box if taken.part else taken.box
        box = None if about is None else self.boxes[about]
        if box is not None:
            if box.state != "filling":
                allowed |= {"box_closed", "nothing_to_undo"}
            if box.state == "shipped":
                allowed -= {"undone"} if taken.kind in ("pass", "onto") else set()
            allowed |= {"held": {"on_hold"}, "cancelled": {"cancelled"}}.get(self.jobs[box.job], set())
        reading.meant = taken.part or taken.box
        if self._outcome(reading, allowed) != "undone":
            return
        self.standing.remove(taken)
        if box is not None and box.state == "loaded" and taken.kind == "onto" and not self._is_on(box.code):
            box.state = "sealed"

    def _is_on(self, box: str) -> bool:
        return any(each.kind == "onto" and each.box == box for each in self.standing)

    def _taken(self, reading: Reading, stack: list[Standing]) -> Standing:
        """What an undo takes back: the last reading, or the last that was read again, whichever was told."""
        for each in (stack[-1], max(stack, key=lambda one: one.last)):
            if (each.part or "") == (reading.told_part or "") and each.box in (reading.told_box, None, each.box):
                return each
        return stack[-1]

    def _card(self, reading: Reading) -> None:
        part = reading.code or self._card_means(reading)
        reading.meant = part
        if reading.code:
            self.last_part[reading.station] = (reading.code, reading.at)
        elif reading.outcome == "unknown":
            self.last_part[reading.station] = (None, reading.at)  # a card that marked nothing was told to start anew
        if not part:
            self._outcome(reading, {REFUSED})
            return
        one = self.parts[part]
        box = self.boxes[one.box]
        allowed = {"noted"}
        if one.replaced_by is not None:
            allowed = {"replaced"}
        if self.jobs[box.job] == "cancelled":
            allowed = allowed | {"cancelled"}
        if box.state == "shipped":
            allowed = allowed | {"box_closed", "again"}
        if self._outcome(reading, allowed) == "noted":
            self._stand(reading, reading.kind, part=part, box=None, covers=())

    def _card_means(self, reading: Reading) -> str | None:
        part, at = self.last_part.get(reading.station, (None, reading.at))
        return part if reading.at - at <= CARD_MEANS_FOR else None

    # What a desk does

    def repair(self, part: str) -> None:
        """A damaged part is good again."""
        self.standing = [each for each in self.standing if each.part != part or each.kind != "damaged"]

    def replace(self, old: str, new: str, box: str) -> None:
        """A new part takes the place of an old one."""
        part = self.parts[old]
        part.replaced_by = new
        self.parts[new] = Part(new, part.name, box, part.route)
        self.settle_jobs()

    def seal(self, box: str, items: dict[str, int], follow_up: str | None) -> None:
        """Close a box; what it lacks moves to a follow-up box."""
        one = self.boxes[box]
        one.counted = dict(items)
        if follow_up is not None:
            short = {item: one.items[item] - n for item, n in self.lacks_items(box).items()}
            moved = self.lacks_parts(box)
            self.standing = [s for s in self.standing if s.part not in moved or s.step != "pack" or s.kind != "pass"]
            for part in moved:
                self.parts[part].box = follow_up
            one.items = {item: n - short.get(item, 0) for item, n in one.items.items() if n > short.get(item, 0)}
            rest = self.boxes.setdefault(follow_up, Box(follow_up, one.job, {}, follows=box))
            for item, n in short.items():
                rest.items[item] = rest.items.get(item, 0) + n
        one.state, one.closed_before = "sealed", True

    def ship(self, load: str) -> None:
        """A load leaves."""
        self.loads[load].shipped = True
        for box in self.loads[load].boxes:
            self.boxes[box].state = "shipped"
            for part in self.parts_of(box):
                reading = Reading(END, "", "shipped")
                self._stand(reading, "shipped", part=part.code, box=box, covers=("ship",))
        self.settle_jobs()
