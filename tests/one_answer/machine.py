"""A small shop under random acts, through the HTTP interface. After each act every surface is asked the one question.

The shop: two jobs, three boxes, nine parts, four kinds of items, two saws, a strict bander, two benches, a dock.
"""

import shutil
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import uuid4

from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from tests.one_answer.model import START, Box, Load, Model, Part, Reading, State
from tests.one_answer.surfaces import Api, Lack, Pages, boxes_in, lack, short_items
from tests.pages.callers import Caller, signed_in
from tracker.app import create_app
from tracker.records.database import Database
from tracker.records.migrate import upgrade
from tracker.settings import Settings
from tracker.shop.roles import Role
from tracker.work.access import make_token
from tracker.work.verify import verify

STATIONS = {
    "CUT-1": "cut",
    "CUT-2": "cut",
    "MACHINE-1": "machine",
    "BAND-1": "band",
    "PACK-1": "pack",
    "PACK-2": "pack",
    "SHIP-1": "ship",
}
STRICT = ("BAND-1",)
BENCHES = ("PACK-1", "PACK-2")
MAKING = ("CUT-1", "CUT-2", "MACHINE-1", "BAND-1")
UNDO_CARD, DAMAGED_CARD = "C0000000189", "C0000000286"
UNKNOWN, MISREAD = "P0009999961", "P0000000135"
TODAY = date.today()  # noqa: DTZ011 - the service has no other clock either


def _part(cabinet: str, name: str, box: str, **more: Any) -> dict[str, Any]:
    return {"cabinet": cabinet, "part": name, "length": 560, "width": 400, "thickness": 18, "box": box, **more}


ORDERS: tuple[dict[str, Any], ...] = (
    {
        "code": "J-1",
        "customer": "Larch Court (invented)",
        "due": (TODAY + timedelta(days=4)).isoformat(),
        "parts": [
            _part("101", "Deck", "1", edges=["L1"], machining="DK-1"),
            _part("101", "Toe kick", "1"),
            _part("101", "Drawer box", "1", supply="bought"),
            _part("102", "Left end", "2", edges=["L1", "W1"]),
            _part("102", "Right end", "2", edges=["L1", "W1"]),
        ],
        "items": [
            {"box": "1", "item": "spring pin 8 mm", "quantity": 2},
            {"box": "1", "item": "hinge", "quantity": 1},
        ],
    },
    {
        "code": "J-2",
        "customer": "Mill Lane (invented)",
        "due": (TODAY + timedelta(days=3)).isoformat(),
        "parts": [
            _part("201", "Shelf", "3"),
            _part("201", "Back", "3", machining="BK-2"),
            _part("201", "Rail", "3", edges=["L2"]),
        ],
        "items": [{"box": "3", "item": "screw 4 x 30", "quantity": 3}],
    },
)

JOBS: tuple[str, ...] = tuple(order["code"] for order in ORDERS)


def route_of(order: dict[str, Any]) -> tuple[str, ...]:
    """The steps of a part by the contract: without edges it skips the bander, and what is bought starts at packing."""
    if order.get("supply") == "bought":
        return ("pack", "ship")
    making = ["cut"] + ["machine"] * bool(order.get("machining")) + ["band"] * bool(order.get("edges"))
    return (*making, "pack", "ship")


TOKENS = {role: f"the token of a {role.value}" for role in Role}


class Service:
    """The shop's service on a database that is put back to its first day for each life."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / "shop.db"
        self.first_day = folder / "first-day.db"
        self.database = Database(f"sqlite:///{self.path}", readers=1)
        upgrade(self.database)
        for role, token in TOKENS.items():
            make_token(self.database, f"a {role.value}", role, secret=token.strip, now=datetime.now(UTC))
        settings = Settings(data_dir=folder, database_url=str(self.database.url), secret_key="for tests")  # noqa: S106
        app = create_app(settings, self.database)
        self.api = {role: Api(app.test_client(), TOKENS[role]) for role in Role}
        admin = self.api[Role.ADMIN]
        for name, step in STATIONS.items():
            assert admin.post("/stations", {"name": name, "step": step, "strict": name in STRICT})[0] == 201
        self.slot: str = admin.post("/slots", {"name": "CART-1"})[1]["code"]
        for order in ORDERS:
            assert admin.post("/jobs", order)[0] == 201
        self.foreman = signed_in(app, TOKENS[Role.FOREMAN])
        self._close()
        shutil.copyfile(self.path, self.first_day)

    def begin(self) -> None:
        """Put the database back."""
        self._close()
        shutil.copyfile(self.first_day, self.path)

    def _close(self) -> None:
        self.database.close()  # the last connection that closes writes the journal into the file and takes it away
        assert not self.path.with_name("shop.db-wal").exists()


PARTS = st.integers(0, 30)
BOXES = st.integers(0, 8)
BENCH = st.sampled_from(BENCHES)
ANYWHERE = st.sampled_from([*MAKING, *BENCHES])
SOME = st.booleans()


class Shop(RuleBasedStateMachine):
    """The shop, its model, and every surface."""

    service: Service

    def __init__(self) -> None:
        super().__init__()
        self.service.begin()
        self.api = self.service.api
        self.look: Api = self.api[Role.STATION]
        self.foreman: Caller = self.service.foreman
        self.pages = Pages(self.foreman.client)
        self.model = Model(STATIONS, STRICT)
        self.sent: list[tuple[dict[str, Any], dict[str, Any]]] = []
        self.turn = 0

    @initialize()
    def open_up(self) -> None:
        """Learn the codes that the orders were given."""
        boxes: dict[str, Box] = {}
        parts: dict[str, Part] = {}
        for order in ORDERS:
            listed = self.look.get(f"/jobs/{order['code']}/boxes")["items"]
            for box in listed:
                items = {each["item"]: each["quantity"] for each in order["items"] if each["box"] == box["name"]}
                boxes[box["code"]] = Box(box["code"], order["code"], items)
            routes = {(each["cabinet"], each["part"]): route_of(each) for each in order["parts"]}
            for part in self.look.get(f"/jobs/{order['code']}/parts")["items"]:
                route = routes[part["cabinet"], part["name"]]
                parts[part["code"]] = Part(part["code"], part["name"], part["box"], route)

        def begin(state: State) -> None:
            state.jobs = {order["code"]: "open" for order in ORDERS}
            state.boxes = {code: Box(code, box.job, dict(box.items)) for code, box in boxes.items()}
            state.parts = {code: Part(code, part.name, part.box, part.route) for code, part in parts.items()}

        self.model.add(START, begin)
        self.state = self.model.fold()

    # Choosing

    def part(self, number: int) -> str:
        return list(self.state.parts)[number % len(self.state.parts)]

    def box(self, number: int) -> str:
        boxes = [code for code, box in self.state.boxes.items() if not box.gone]
        return boxes[number % len(boxes)]

    def load(self, number: int) -> str:
        return list(self.state.loads)[number % len(self.state.loads)]

    def job(self, number: int) -> str:
        return JOBS[number % len(JOBS)]

    # Scanning

    def scans(self, readings: list[Reading], *, late: bool = False) -> None:
        """Send scans in one batch; what is answered on time must be what the model allows."""
        rows = [self._row(reading) for reading in readings]
        status, answer = self.look.post("/scans", {"scans": rows})
        assert status == 200, answer
        for row, reading, result in zip(rows, readings, answer["results"], strict=True):
            assert result["id"] == row["id"]
            reading.id, reading.outcome = row["id"], result["outcome"]
            reading.told_part, reading.told_box = result.get("part"), result.get("box")
            self.sent.append((row, result))
            self.model.read(reading)
        self.state = self.model.fold()
        for reading in readings if not late else ():
            assert reading.as_told, reading
        if readings[-1].kind in ("load", "box") and readings[-1].station == "SHIP-1" and readings[-1].outcome == "done":
            load = self.state.boxes[readings[-1].code].load if readings[-1].kind == "box" else readings[-1].code
            self.dock_agrees(answer["results"][-1]["message"], load or "")

    def _row(self, reading: Reading) -> dict[str, Any]:
        code = reading.code
        action = "pass"
        if reading.kind == "undo":
            code, action = (UNDO_CARD, "pass") if reading.load == "card" else ("", "undo")
        elif reading.kind == "damaged":
            code, action = (reading.code, "damaged") if reading.code else (DAMAGED_CARD, "pass")
        elif reading.kind == "place":
            code, action = self.service.slot, "pass"
        elif reading.kind == "unread":
            code = reading.box
        row = {"id": str(uuid4()), "code": code, "action": action, "station": reading.station}
        row["at"] = reading.at.isoformat()
        if reading.kind in ("part", "box"):
            row |= {"box": reading.box} if reading.box else {}
            row |= {"load": reading.load} if reading.load else {}
        return row

    def reading(self, station: str, kind: str, code: str = "", **more: Any) -> Reading:
        return Reading(at=datetime.now(UTC), station=station, kind=kind, code=code, **more)

    @rule(part=PARTS, station=ANYWHERE)
    def pass_part(self, part: int, station: str) -> None:
        self.scans([self.reading(station, "part", self.part(part))])

    @rule(parts=st.lists(PARTS, min_size=2, max_size=5), station=ANYWHERE)
    def pass_parts(self, parts: list[int], station: str) -> None:
        self.scans([self.reading(station, "part", self.part(each)) for each in parts])

    @rule(box=BOXES, bench=BENCH, named=SOME, scanned=SOME)
    def pack_what_is_missing(self, box: int, bench: str, named: bool, scanned: bool) -> None:
        code = self.box(box)
        first = [self.reading(bench, "box", code)] if scanned else []
        told = code if named else ""
        lacking = sorted(self.state.lacks_parts(code))
        if first or lacking:
            self.scans([*first, *(self.reading(bench, "part", each, box=told) for each in lacking)])

    @rule(box=BOXES, bench=BENCH)
    def scan_box(self, box: int, bench: str) -> None:
        self.scans([self.reading(bench, "box", self.box(box))])

    @rule(station=st.sampled_from([*STATIONS]), card=SOME)
    def undo(self, station: str, card: bool) -> None:
        self.scans([self.reading(station, "undo", load="card" if card else "")])

    @rule(station=ANYWHERE, part=st.none() | PARTS)
    def damaged(self, station: str, part: int | None) -> None:
        self.scans([self.reading(station, "damaged", "" if part is None else self.part(part))])

    @rule(station=ANYWHERE)
    def place(self, station: str) -> None:
        self.scans([self.reading(station, "place")])

    @rule(station=ANYWHERE, text=st.sampled_from([UNKNOWN, MISREAD]), then=st.sampled_from(["damaged", "place", ""]))
    def read_nothing_known(self, station: str, text: str, then: str) -> None:
        first = self.reading(station, "unread", box=text)
        self.scans([first, *([self.reading(station, then)] if then else [])])

    @precondition(lambda self: self.sent)
    @rule(first=st.integers(0, 200), count=st.integers(1, 4))
    def send_again(self, first: int, count: int) -> None:
        """The same ids have the same answers and no effect."""
        some = self.sent[first % len(self.sent) :][:count]
        answers = self.look.post("/scans", {"scans": [row for row, _ in some]})[1]["results"]
        assert [answer["outcome"] for answer in answers] == [answer["outcome"] for _, answer in some]

    @precondition(lambda self: len(self.model.events) > 2)
    @rule(data=st.data(), station=ANYWHERE, gap=st.integers(0, 60), acts=st.integers(1, 4))
    def send_late(self, data: st.DataObject, station: str, gap: int, acts: int) -> None:
        """A device that was offline delivers what it read at some moment before now."""
        times = sorted(at for at, _seq, _event in self.model.events[1:])
        start = times[gap % len(times)]
        end = times[gap % len(times) + 1] if gap % len(times) + 1 < len(times) else datetime.now(UTC)
        then = self.model.fold(until=start)  # a label is read only once it is there
        readings = []
        for number in range(acts):
            kind = data.draw(st.sampled_from(["part"] * 4 + ["undo", "damaged", "box"]))
            kind = "part" if kind == "box" and station not in BENCHES else kind
            codes = {"part": list(then.parts), "box": list(then.boxes)}.get(kind, [""])
            code = codes[data.draw(PARTS) % len(codes)]
            at = start + (end - start) * (number + 1) / (acts + 1)
            readings.append(Reading(at=at, station=station, kind=kind, code=code))
        self.scans(readings, late=True)

    # At the desk and at the bench

    def desk(self, event: Any) -> None:
        """Note what a desk did just now."""
        self.model.add(datetime.now(UTC), event)
        self.state = self.model.fold()

    @rule(box=BOXES, bench=BENCH, item=st.integers(0, 3), count=st.integers(0, 3), whole=SOME)
    def count(self, box: int, bench: str, item: int, count: int, whole: bool) -> None:
        one = self.state.boxes[self.box(box)]
        names = list(one.items) if whole else list(one.items)[item : item + 1]
        for name in names:
            number = one.items[name] if whole else min(count, one.items[name])
            body = {"box": one.code, "item": name, "count": number, "was": one.counted.get(name, 0)}
            answer = self.foreman.client.post(
                f"/pack/{bench}/count", json=body, headers={"X-CSRF-Token": self.foreman.secret}
            )
            free = one.state == "filling" and self.state.jobs[one.job] == "open"
            assert answer.status_code == 200 or not free or one.held, answer.text
            assert answer.status_code != 200 or one.state == "filling"
            if answer.status_code == 200:
                self.desk(lambda state, name=name, number=number: state.boxes[one.code].counted.update({name: number}))

    @rule(box=BOXES, role=st.sampled_from([Role.PACKER, Role.FOREMAN]), override=SOME, less=st.integers(0, 3))
    def seal(self, box: int, role: Role, override: bool, less: int) -> None:
        one = self.state.boxes[self.box(box)]
        items = dict(one.items)
        if less and items:
            name = list(items)[less % len(items)]
            items[name] = max(0, items[name] - less)
        self._seal(one, items, role, override)

    def _seal(self, one: Box, items: dict[str, int], role: Role, override: bool) -> None:
        body: dict[str, Any] = {"items": items} | ({"override": {"reason": "the truck waits"}} if override else {})
        status, answer = self.api[role].post(f"/boxes/{one.code}/seal", body)
        parts = self.state.lacks_parts(one.code)
        short = {item for item, n in one.items.items() if items.get(item, 0) < n}
        free = one.state == "filling" and not one.held and self.state.jobs[one.job] == "open"
        if override and role is Role.PACKER:
            assert status == 403, answer
        elif not free or ((parts or short) and not override):
            assert status == 409, answer
            if free:
                told = answer["missing"]
                assert {each["code"] for each in told if "code" in each} == parts
                assert {each["item"] for each in told if "code" not in each} == short
        elif override and len(parts) == len(self.state.parts_of(one.code)):
            assert status in (200, 409), answer  # nothing would be in it
        else:
            assert status == 200, answer
        if status == 200:
            follow_up = answer["follow_up"]
            assert (follow_up is not None) is bool(parts or short), answer
            self.desk(lambda state: state.seal(one.code, items, follow_up))

    @rule(box=BOXES, bench=BENCH)
    def finish(self, box: int, bench: str) -> None:
        """Pack, count and seal a box in one go."""
        one = self.state.boxes[self.box(box)]
        if one.state == "filling":
            lacking = sorted(self.state.lacks_parts(one.code))
            parts = [self.reading(bench, "part", code, box=one.code) for code in lacking]
            self.scans(parts or [self.reading(bench, "box", one.code)])
            self.parts_stand_as_they_should()
            self._seal(self.state.boxes[one.code], dict(one.items), Role.PACKER, override=False)

    @rule(box=BOXES)
    def open_again(self, box: int) -> None:
        one = self.state.boxes[self.box(box)]
        status, answer = self.api[Role.FOREMAN].post(f"/boxes/{one.code}/open-again", {"reason": "a wrong bag"})
        assert status in ((200, 409) if one.state == "sealed" else (409,)), answer
        if status == 200:
            self._opened(one)

    def _opened(self, one: Box) -> None:
        """What nobody has packed of its follow-up boxes comes back: the box's own page says what that is."""
        follow_ups = [b.code for b in self.state.boxes.values() if b.follows == one.code and not b.gone]
        unpacked = {c for f in follow_ups for c in self.state.lacks_parts(f) if self.state.boxes[f].state == "filling"}
        now = self.look.get(f"/boxes/{one.code}")
        held = {part["code"] for part in now["parts"]}
        assert held >= unpacked | {part.code for part in self.state.parts_of(one.code)}
        items = {each["item"]: each["quantity"] for each in now["items"]}
        counted = {each["item"]: each["counted"] or 0 for each in now["items"]}
        left = {code: self.look.get(f"/jobs/{one.job}/boxes")["items"] for code in follow_ups[:1]}
        still = {each["code"]: each for rows in left.values() for each in rows}

        def event(state: State) -> None:
            box = state.boxes[one.code]
            box.state, box.items, box.counted = "filling", dict(items), dict(counted)
            for code in held:
                state.parts[code].box = one.code
            for code in follow_ups:
                rest = state.boxes[code]
                rest.gone = code not in still
                if not rest.gone:
                    rest.items = {each["item"]: each["quantity"] for each in still[code]["items"]}
            for load in state.loads.values():
                load.boxes = [code for code in load.boxes if not state.boxes[code].gone]

        self.desk(event)

    @rule(box=BOXES, deed=st.sampled_from(["hold", "resume"]))
    def hold_box(self, box: int, deed: str) -> None:
        one = self.state.boxes[self.box(box)]
        status, answer = self.api[Role.FOREMAN].post(f"/boxes/{one.code}/{deed}", None)
        assert status in (200, 409), answer
        assert (
            status == 200
            or one.state in ("loaded", "shipped")
            or self.state.jobs[one.job] != "open"
            or one.held is (deed == "hold")
        )
        if status == 200:
            self.desk(lambda state: setattr(state.boxes[one.code], "held", deed == "hold"))

    @rule(job=st.integers(0, 1), deed=st.sampled_from(["hold", "resume", "resume", "resume"]))
    def hold_job(self, job: int, deed: str) -> None:
        self._deed(self.job(job), deed)

    @rule(job=st.integers(0, 1), sure=st.integers(0, 5))
    def cancel_job(self, job: int, sure: int) -> None:
        if sure == 0:
            self._deed(self.job(job), "cancel")

    def _deed(self, job: str, deed: str) -> None:
        status, answer = self.api[Role.FOREMAN].post(f"/jobs/{job}/{deed}", {})
        was = self.state.jobs[job]
        shipped = any(box.job == job and box.state == "shipped" for box in self.state.boxes.values())
        may = {"hold": was == "open", "resume": was == "held", "cancel": was in ("open", "held") and not shipped}[deed]
        assert status == (200 if may else 409), answer
        if may:
            now = {"hold": "held", "resume": "open", "cancel": "cancelled"}[deed]
            self.desk(lambda state: self._turn(state, job, now))

    def _turn(self, state: State, job: str, status: str) -> None:
        state.jobs[job] = status

    @rule(part=PARTS)
    def replace(self, part: int) -> None:
        code = self.part(part)
        one = self.state.parts[code]
        box = self.state.boxes[one.box]
        status, answer = self.api[Role.FOREMAN].post(f"/parts/{code}/replace", {"reason": "chipped"})
        if one.replaced_by or self.state.jobs[box.job] == "cancelled":
            assert status == 409, answer
        elif box.state == "filling":
            assert status == 201, answer
        if status != 201:
            return
        if box.state == "filling":
            assert answer["box"] == one.box
        new, where = answer["code"], answer["box"]
        job = box.job

        def event(state: State) -> None:
            state.boxes.setdefault(where, Box(where, job, {}, follows=one.box))
            state.replace(code, new, where)

        self.desk(event)

    @rule(part=PARTS)
    def repair(self, part: int) -> None:
        code = self.part(part)
        status, answer = self.api[Role.FOREMAN].post(f"/parts/{code}/repair", {"reason": "sanded"})
        if code not in self.model.adopted and self.state.parts[code].replaced_by is None:
            wanted = 200 if self.state.damaged(code) else 409
            box = self.state.boxes[self.state.parts[code].box]
            assert status == wanted or self.state.jobs[box.job] != "open" or box.state == "shipped", answer
        if status == 200:
            self.desk(lambda state: state.repair(code))

    # Loads

    @rule(boxes=st.lists(BOXES, min_size=1, max_size=3), sealed=SOME)
    def plan_load(self, boxes: list[int], sealed: bool) -> None:
        chosen = list(dict.fromkeys(self.box(each) for each in boxes))
        if sealed:
            ready = [box.code for box in self.state.alive() if box.state == "sealed" and box.load is None]
            chosen = ready or chosen
        body = {"ship_on": (TODAY + timedelta(days=1)).isoformat(), "boxes": chosen}
        status, answer = self.api[Role.PACKER].post("/loads", body)
        alive = {box.code for box in self.state.alive()}
        may = all(code in alive and self.state.boxes[code].load is None for code in chosen)
        assert (status == 201) is may or any(self.state.jobs[self.state.boxes[c].job] == "held" for c in chosen), answer
        if status != 201:
            return

        def event(state: State) -> None:
            state.loads[answer["code"]] = Load(answer["code"], list(chosen))
            for code in chosen:
                state.boxes[code].load = answer["code"]

        self.desk(event)
        self.agree_on_stays_behind(answer)

    @precondition(lambda self: self.state.loads)
    @rule(load=st.integers(0, 5), box=BOXES, named=SOME)
    def scan_onto(self, load: int, box: int, named: bool) -> None:
        code = self.load(load)
        first = [] if named else [self.reading("SHIP-1", "load", code)]
        self.scans([*first, self.reading("SHIP-1", "box", self.box(box), load=code if named else "")])

    @precondition(lambda self: self.state.loads)
    @rule(load=st.integers(0, 5))
    def scan_all_onto(self, load: int) -> None:
        code = self.load(load)
        boxes = [self.reading("SHIP-1", "box", each) for each in self.state.loads[code].boxes]
        self.scans([self.reading("SHIP-1", "load", code), *boxes])

    @precondition(lambda self: self.state.loads)
    @rule(
        load=st.integers(0, 5),
        role=st.sampled_from([Role.PACKER, Role.FOREMAN]),
        leave=st.sampled_from(["", "all", "fewer", "all"]),
    )
    def ship(self, load: int, role: Role, leave: str) -> None:
        one = self.state.loads[self.load(load)]
        behind = self.state.stays_behind(one.boxes, one.code)
        keeps = self.state.keeps_load(one.code)
        named = sorted(behind)[1:] if leave == "fewer" else sorted(behind)
        body = {"leave_behind": {"reason": "half on Friday", "boxes": named}} if leave and behind else {}
        status, answer = self.api[role].post(f"/loads/{one.code}/ship", body)
        held = any(self.state.boxes[c].held or self.state.jobs[self.state.boxes[c].job] != "open" for c in one.boxes)
        if body and role is Role.PACKER:
            assert status == 403, answer
        elif one.shipped or keeps or not one.boxes or (behind and set(named if body else ()) != behind):
            assert status == 409, answer
            if not one.shipped and one.boxes:
                assert {each["box"] for each in answer.get("missing", [])} >= keeps
                self.agree_on_stays_behind({**answer, "code": one.code})
        else:
            assert status == 200 or held, answer
        if status == 200:
            self.desk(lambda state: state.ship(one.code))

    def agree_on_stays_behind(self, answer: Any) -> None:
        """What an answer about an open load says of the boxes that stay behind."""
        load = self.state.loads[answer["code"]]
        behind = self.state.stays_behind(load.boxes, load.code)
        told = answer["stays_behind"]
        assert {each["box"] for each in told} == behind, (told, behind)
        for each in told:
            box = self.state.boxes[each["box"]]
            assert each["job"] == box.job
            assert each["missing_count"] == len(self.state.lacks_parts(box.code))

    @precondition(lambda self: self.state.loads)
    @rule(load=st.integers(0, 5), box=st.integers(0, 3))
    def take_off(self, load: int, box: int) -> None:
        one = self.state.loads[self.load(load)]
        if not one.boxes:
            return
        code = one.boxes[box % len(one.boxes)]
        status, answer = self.api[Role.FOREMAN].post(f"/loads/{one.code}/take-off", {"box": code})
        assert status == (409 if one.shipped else 200), answer
        if status == 200:

            def event(state: State) -> None:
                state.loads[one.code].boxes.remove(code)
                taken = state.boxes[code]
                taken.load, taken.state = None, "sealed" if taken.state == "loaded" else taken.state
                state.standing = [s for s in state.standing if s.kind != "onto" or s.box != code]

            self.desk(event)

    # The one question, asked of every surface

    @invariant()
    def all_say_the_same(self) -> None:
        """Every kind of surface is asked; of several jobs, boxes, benches or loads one after the other in turn."""
        if self.state.parts:
            self.turn += 1
            self.parts_stand_as_they_should()
            wanted = {code: lack(*both) for code, both in self.state.missing().items()}
            assert self.look.missing() == wanted
            assert self.pages.missing() == wanted
            self.job_agrees(self.job(self.turn), wanted)
            self.box_agrees(self.state.boxes[self.box(self.turn)])
            self.bench_agrees(BENCHES[self.turn % 2])
            self.board_agrees()
            if self.state.loads:
                self.load_agrees(self.state.loads[self.load(self.turn)])
            assert list(verify(self.service.database)) == []

    def parts_stand_as_they_should(self) -> None:
        """Each part is where the model has it, or the scan that contradicts is flagged and waits for a foreman."""
        flagged = self.look.get("/flagged?limit=200")["items"]
        for order in ORDERS:
            for told in self.look.get(f"/jobs/{order['code']}/parts?limit=200")["items"]:
                self.part_stands(told, flagged)
        assert not [part for part in self.model.adopted if part not in self.state.parts]

    def part_stands(self, told: dict[str, Any], flagged: list[dict[str, Any]]) -> None:
        code = told["code"]
        part = self.state.parts[code]
        if part.replaced_by is not None:
            assert told["status"] == "replaced"
            return
        box = self.state.boxes[part.box]
        if self.state.jobs[box.job] == "cancelled" or box.state == "shipped":
            return
        packed = told["status"] == "packed"
        stands = (packed, told["damaged"], told["box"]) == (self.state.in_box(code), self.state.damaged(code), part.box)
        if code in self.model.adopted:
            self.adopt(part, told)
        elif not stands or (not told["damaged"] and told["step"] != self.state.next_step(part)):
            about = any(self.touches(each, code, part.box) for each in flagged)
            history = self.look.get(f"/parts/{code}")["history"]  # what was flagged and then taken back stands here
            assert about or any(row["flag"] for row in history), (told, "nothing is flagged", self.story(code))
            self.adopt(part, told)

    def adopt(self, part: Part, told: dict[str, Any]) -> None:
        """Take a part that waits for a foreman's decision as it is told."""
        self.model.adopted[part.code] = (told["status"] == "packed", told["box"])
        part.box = told["box"]

    def touches(self, flagged: dict[str, Any], part: str, box: str) -> bool:
        """Whether a flagged scan is about a part: it names it or its box, meant it, or came to a bench before it."""
        if part == flagged["part"] or box == flagged["box"]:
            return True
        scan = next((each for each in self.model.readings if each.id == flagged["id"]), None)
        at_benches = [each.at for each in self.story(part) if each.station in BENCHES]
        return scan is not None and (
            scan.meant == part or (scan.station in BENCHES and scan.at < max(at_benches, default=START))
        )

    def story(self, code: str) -> list[Reading]:
        """What was read of a part, for whoever reads a failure."""
        return [each for each in self.model.readings if code in (each.code, each.meant, each.told_part)]

    def job_agrees(self, job: str, wanted: dict[str, Lack]) -> None:
        status = self.state.jobs[job]
        boxes = [box for box in self.state.boxes.values() if box.job == job and not box.gone]
        told = self.look.get(f"/jobs/{job}")
        closed = [box for box in boxes if box.state in ("sealed", "loaded", "shipped")]
        assert told["status"] == status
        assert told["boxes"] == {
            "total": len(boxes),
            "sealed": len(closed),
            "shipped": sum(box.state == "shipped" for box in boxes),
        }
        assert self.look.missing(job) == {
            code: each for code, each in wanted.items() if self.state.boxes[code].job == job
        }
        listed = {each["code"]: each for each in self.look.get(f"/jobs/{job}/boxes")["items"]}
        assert listed.keys() == {box.code for box in boxes}
        for box in boxes:
            if status != "cancelled" and box.state != "shipped":
                self.content_agrees(box, listed[box.code])

    def content_agrees(self, box: Box, told: dict[str, Any]) -> None:
        wanted = lack(self.state.lacks_parts(box.code), self.state.lacks_items(box.code))
        assert told["missing_count"] == len(wanted.parts)
        open_parts = {part["code"] for part in told["parts"] if not part["packed"] or part["damaged"]}
        assert lack(open_parts, short_items(told["items"])) == wanted
        filling = told["state"] in ("open", "packing", "complete")
        assert filling if box.state == "filling" else told["state"] == box.state
        if filling:
            assert (told["state"] == "complete") <= (not wanted.parts)
            assert (not wanted) <= (told["state"] == "complete")

    def box_agrees(self, box: Box) -> None:
        if self.state.jobs[box.job] != "cancelled" and box.state != "shipped":
            self.content_agrees(box, self.look.get(f"/boxes/{box.code}"))
            count, page = self.pages.box(box.code)
            assert count == len(page.parts)
            assert page == lack(self.state.lacks_parts(box.code), self.state.lacks_items(box.code))

    def bench_agrees(self, bench: str) -> None:
        shown = self.pages.bench(bench)
        opened = self.state.open_at(bench)
        if shown is None:
            assert None in opened or self.model.adopted
            return
        box, told = shown
        state = self.state.boxes[box]
        if self.state.jobs[state.job] != "cancelled" and state.state != "shipped" and not state.gone:
            assert told == lack(self.state.lacks_parts(box), self.state.lacks_items(box))
        if None not in opened and not self.model.adopted:
            assert box in opened

    def load_agrees(self, load: Load) -> None:
        told = self.look.get(f"/loads/{load.code}")
        assert {each["box"] for each in told["boxes"]} == set(load.boxes)
        if not load.shipped:
            self.agree_on_stays_behind(told)
            keeping, staying = self.pages.load(load.code)
            stopped = {code for code in load.boxes if self.stopped(self.state.boxes[code])}
            assert staying == self.state.stays_behind(load.boxes, load.code)
            assert keeping == self.state.keeps_load(load.code) | stopped

    def stopped(self, box: Box) -> bool:
        """Whether a person holds a box or its job."""
        return box.held or self.state.jobs[box.job] in ("held", "cancelled")

    def board_agrees(self) -> None:
        wanted = {}
        for job in JOBS:
            boxes = [box for box in self.state.boxes.values() if box.job == job and not box.gone]
            closed = sum(box.state in ("sealed", "loaded", "shipped") for box in boxes)
            shipped = sum(box.state == "shipped" for box in boxes)
            if self.state.jobs[job] in ("open", "held"):
                wanted[job] = [closed, len(boxes), shipped, len(boxes) - shipped if shipped else 0]
        assert self.pages.board() == wanted

    def dock_agrees(self, said: str, load: str) -> None:
        """What the dock is told when a load or a box of it was scanned: which boxes stay, three of them by name."""
        behind = self.state.stays_behind(self.state.loads[load].boxes, load)
        named = boxes_in(said.partition("Stays behind: ")[2])
        assert named <= behind
        assert len(named) == min(3, len(behind))
