"""The shapes of requests and answers. Shape only: what the shop's rules say is decided in ``tracker.shop``."""

from datetime import datetime
from typing import Any, cast
from uuid import NAMESPACE_OID, UUID, uuid5

from flask import json
from marshmallow import RAISE, Schema, ValidationError, fields, validate

from tracker.shop.cabinets.orders import MOST_ROWS
from tracker.shop.cutlist import MOST_FAULTS_TOLD, MOST_PIECES
from tracker.shop.job_states import JobStatus
from tracker.shop.lifting import grade_lifting
from tracker.shop.printing import PrintState, Reason
from tracker.shop.scans import Action, Scan
from tracker.shop.times import read_time


class Shape(Schema):
    """A shape that refuses fields that it does not know."""

    class Meta:
        unknown = RAISE


_WANTED_TIME = "An RFC 3339 time with an offset is wanted: 2027-03-05T09:30:00+01:00."


class Time(fields.Field[datetime]):
    """An RFC 3339 time with an offset."""

    def _serialize(self, value: datetime | None, attr: str | None, obj: Any, **kwargs: Any) -> str | None:
        return None if value is None else value.isoformat()

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> datetime:
        try:
            return read_time(value)
        except (TypeError, ValueError):
            raise ValidationError(_WANTED_TIME) from None


class Rows(fields.List[Any]):
    """A list whose length is looked at before what is in it, and of whose faults no more are told than help."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> list[Any]:
        if not isinstance(value, list):
            raise self.make_error("invalid")
        self._validate(value)
        found, faults = [], {}
        for index, each in enumerate(value):
            try:
                found.append(self.inner.deserialize(each, **kwargs))
            except ValidationError as fault:
                faults[index] = fault.messages
                if len(faults) == MOST_FAULTS_TOLD:
                    break
        if faults:
            raise ValidationError(faults)
        return found


# Scans


class ScanShape(Shape):
    """One reading."""

    id = fields.UUID(required=True, metadata={"description": "made by the client when the trigger is pulled"})
    code = fields.String(load_default="", metadata={"description": "what was read, as it was read"})
    station = fields.String(
        load_default="", metadata={"description": "name or code; a station's token may leave it out"}
    )
    at = Time(required=True, metadata={"description": "the client's time, RFC 3339 with an offset"})
    action = fields.Enum(Action, by_value=True, load_default=Action.PASS)
    box = fields.String(load_default="", allow_none=True, metadata={"description": "the box that is being packed"})
    onto_load = fields.String(
        data_key="load", load_default="", allow_none=True, metadata={"description": "the load that is being loaded"}
    )
    slot = fields.String(
        load_default="", allow_none=True, metadata={"description": "with place: the slot's code or name"}
    )
    part = fields.String(
        load_default="",
        allow_none=True,
        metadata={"description": "with the damaged card or a slot's code: the part that the device showed, or `none`"},
    )


class ScanRow(fields.Nested):
    """One row of a batch, judged alone: a row that makes no sense becomes a scan with a fault, not a refused batch."""

    def _deserialize(self, value: Any, *args: Any, **kwargs: Any) -> Scan:
        return read_scan(value)


_SCAN = ScanShape()


def read_scan(row: Any) -> Scan:
    """Return the scan that a row of a batch spells, with a fault when it does not spell one.

    A row without a usable id or time is kept all the same: its id is made from its content, so that it too has one
    effect however often it is sent.
    """
    try:
        loaded: dict[str, Any] = _SCAN.load(row)
    except ValidationError as error:
        return _faulty(row, error)
    return Scan(
        id=loaded["id"],
        code=loaded["code"],
        at=loaded["at"],
        station=loaded["station"],
        action=loaded["action"],
        box=loaded["box"] or "",
        load=loaded["onto_load"] or "",
        slot=loaded["slot"] or "",
        part=loaded["part"] or "",
    )


def _faulty(row: Any, error: ValidationError) -> Scan:
    given = row if isinstance(row, dict) else {}
    messages = cast("dict[str, list[Any]]", error.messages if isinstance(error.messages, dict) else {})
    wrong = "; ".join(f"{name}: {' '.join(map(str, said))}" for name, said in messages.items())
    return Scan(
        id=_usable_id(given) or uuid5(NAMESPACE_OID, json.dumps(row, sort_keys=True)),
        code=str(given.get("code", "")),
        at=_usable_time(given) or datetime.fromisoformat("1970-01-01T00:00:00+00:00"),
        station=str(given.get("station") or ""),
        fault=wrong[:400],
    )


def _usable_id(given: dict[str, Any]) -> UUID | None:
    try:
        return UUID(given["id"])
    except (KeyError, TypeError, ValueError, AttributeError):
        return None


def _usable_time(given: dict[str, Any]) -> datetime | None:
    try:
        return read_time(given["at"])
    except (KeyError, TypeError, ValueError):
        return None


class BatchShape(Shape):
    """Readings to judge, 1 to 500."""

    scans = Rows(ScanRow(ScanShape), required=True, validate=validate.Length(min=1, max=500))
    sent_at = Time(
        load_default=None,
        allow_none=True,
        metadata={"description": "the client's time of sending this request: a clock that is wrong is corrected for"},
    )


class ResultShape(Schema):
    """The answer to one scan."""

    id = fields.String()
    outcome = fields.String()
    ok = fields.Boolean()
    message = fields.String()
    reason = fields.String(allow_none=True, metadata={"description": "what the message says, of a closed set"})
    values = fields.Dict(metadata={"description": "what the reason's sentence names"})
    part = fields.String()
    part_name = fields.String(metadata={"description": "with a noted part: its name and its cabinet"})
    box = fields.String()
    next = fields.String(allow_none=True)
    inferred = fields.List(fields.String())


class ResultsShape(Schema):
    """One answer for each scan, in order."""

    results = fields.List(fields.Nested(ResultShape))
    clock_ahead_s = fields.Float(
        metadata={"description": "only where the client's clock is wrong: by how many s it is ahead, negative: behind"}
    )


# Jobs


class JobOrderShape(Shape):
    """A job from cabinets, from parts, or from both. The rows are read by the same rules as the tables for import.

    ``standard`` names the construction standard of the cabinets; without it the one that comes with the program holds.
    """

    code = fields.String(required=True)
    customer = fields.String(required=True)
    due = fields.Date(required=True)
    units = fields.String(load_default="mm", validate=validate.OneOf(["mm", "in"]))
    parts = Rows(fields.Dict(), load_default=list, validate=validate.Length(max=MOST_PIECES))
    cabinets = Rows(fields.Dict(), load_default=list, validate=validate.Length(max=MOST_ROWS))
    standard = fields.String(load_default=None, allow_none=True)
    items = Rows(fields.Dict(), load_default=list, validate=validate.Length(max=MOST_PIECES))


class ImportShape(Schema):
    """The form fields of a cut list's upload."""

    code = fields.String(required=True)
    customer = fields.String(required=True)
    due = fields.Date(required=True)
    units = fields.String(load_default="mm", validate=validate.OneOf(["mm", "in"]))
    standard = fields.String(load_default=None, allow_none=True)
    ignore = fields.String(load_default="", metadata={"description": "columns that mean nothing, separated by commas"})


class DryRunShape(Schema):
    """Whether to report only."""

    dry_run = fields.Boolean(load_default=False)


class TakenShape(Schema):
    """What taking an order made; on a dry run ``boxes`` is empty and ``box_names`` says what would be made."""

    code = fields.String()
    parts = fields.Integer()
    cabinets = fields.Integer()
    boxes = fields.List(fields.String())
    box_names = fields.List(fields.String())
    columns = fields.Dict(
        keys=fields.String(), values=fields.String(), metadata={"description": "headings read by another name"}
    )
    warnings = fields.List(fields.String(), metadata={"description": "what to look at; none of it refuses the order"})


class CountShape(Schema):
    """How many of how many."""

    done = fields.Integer()
    total = fields.Integer()


class BoxCountsShape(Schema):
    """A job's boxes: sealed counts those that have gone further too."""

    total = fields.Integer()
    sealed = fields.Integer()
    shipped = fields.Integer()


class JobShape(Schema):
    """A job at a glance."""

    code = fields.String()
    customer = fields.String()
    due = fields.Date()
    status = fields.String()
    parts_total = fields.Integer()
    steps = fields.Dict(keys=fields.String(), values=fields.Nested(CountShape))
    boxes = fields.Nested(BoxCountsShape)


class PageShape(Schema):
    """Which piece of a list."""

    limit = fields.Integer(load_default=50, validate=validate.Range(min=1, max=500))
    after = fields.String(load_default="", metadata={"description": "the ``next`` of the page before"})


class JobsQueryShape(PageShape):
    """Which jobs."""

    status = fields.List(fields.String(validate=validate.OneOf(list(JobStatus))),
                         load_default=list)  # fmt: skip


class JobsShape(Schema):
    """A page of jobs."""

    items = fields.List(fields.Nested(JobShape))
    next = fields.String(allow_none=True)


# Parts


class SeenShape(Schema):
    """Where a part was last seen."""

    station = fields.String()
    at = Time()
    slot = fields.String(allow_none=True)


class PartShape(Schema):
    """A part with where it stands; ``step`` is the next step due, or null."""

    code = fields.String()
    job = fields.String()
    cabinet = fields.String()
    name = fields.String()
    material = fields.String()
    length_mm = fields.Float()
    width_mm = fields.Float()
    thickness_mm = fields.Float()
    mass_kg = fields.Float()
    edges = fields.List(fields.String())
    machining = fields.String()
    supply = fields.String()
    route = fields.List(fields.String())
    step = fields.String(allow_none=True)
    box = fields.String()
    status = fields.String()
    urgent = fields.Boolean()
    damaged = fields.Boolean()
    replaces = fields.String(allow_none=True)
    replaced_by = fields.String(allow_none=True)
    last_seen = fields.Nested(SeenShape, allow_none=True)


class HistoryShape(Schema):
    """One scan or act."""

    id = fields.String()
    at = Time()
    received_at = Time()
    action = fields.String()
    outcome = fields.String()
    station = fields.String(allow_none=True)
    step = fields.String(allow_none=True)
    who = fields.String()
    inferred = fields.List(fields.String())
    message = fields.String()
    flag = fields.String(allow_none=True)
    said_at = Time(
        allow_none=True,
        metadata={"description": "what the client's clock said, where `at` was put right"},
    )


class MarkShape(Schema):
    """A joint's number where it stands on a part."""

    number = fields.Integer()
    side = fields.String()
    along_mm = fields.Float()
    across_mm = fields.Float()


class PartPrintShape(Schema):
    """A print that a part's label was in; ``reason`` where it had a label before."""

    id = fields.Integer()
    at = Time()
    who = fields.String()
    printer = fields.String(allow_none=True)
    state = fields.Enum(PrintState, by_value=True)
    reason = fields.Enum(Reason, by_value=True, allow_none=True)
    note = fields.String()


class PartWithHistoryShape(PartShape):
    """A part with every scan of it, the last prints of its label, its board, its joints and the side in front."""

    prints = fields.List(fields.Nested(PartPrintShape))

    board = fields.String(allow_none=True)
    marks = fields.List(fields.Nested(MarkShape))
    front_side = fields.String(allow_none=True)
    history = fields.List(fields.Nested(HistoryShape))


class PartsShape(Schema):
    """A page of parts."""

    items = fields.List(fields.Nested(PartShape))
    next = fields.String(allow_none=True)


class ReasonShape(Shape):
    """Why."""

    reason = fields.String(required=True, validate=validate.Length(min=1, max=500))


class ReasonOrNoneShape(Shape):
    """Why, if one says so."""

    reason = fields.String(load_default="", validate=validate.Length(max=500))


# Boxes


class BoxSizeShape(Schema):
    """A box's planned size."""

    length_mm = fields.Float()
    width_mm = fields.Float()
    height_mm = fields.Float()


class LiftingShape(Schema):
    """Who may lift the box by the NIOSH equation, with the assumptions."""

    handling = fields.String()
    one_person_limit_kg = fields.Float()
    two_persons_limit_kg = fields.Float()
    assumptions = fields.List(fields.String())


def lifting_json(mass_kg: float, length_mm: float, width_mm: float) -> dict[str, Any]:
    """Return what LiftingShape tells of a box of this mass and size."""
    grade = grade_lifting(mass_kg, length_mm, width_mm)
    return {
        "handling": grade.handling.value,
        "one_person_limit_kg": round(grade.one_person_limit_kg, 2),
        "two_persons_limit_kg": round(grade.two_persons_limit_kg, 2),
        "assumptions": grade.assumptions.printed(),
    }


class BoxPartShape(Schema):
    """A part of a box; ``position`` 1 is laid first."""

    code = fields.String()
    name = fields.String()
    cabinet = fields.String()
    packed = fields.Boolean()
    step = fields.String(allow_none=True)
    damaged = fields.Boolean()
    last_seen = fields.Nested(SeenShape, allow_none=True)
    position = fields.Integer()


class ItemShape(Schema):
    """An item of a box."""

    item = fields.String()
    quantity = fields.Integer()
    counted = fields.Integer(allow_none=True)


class LaidShape(Schema):
    """Where a part lies in its carton, in mm from the carton's inner corner; layer 1 is the lowest."""

    layer = fields.Integer()
    x_mm = fields.Float()
    y_mm = fields.Float()
    z_mm = fields.Float()
    turned = fields.Boolean()


class BoxShape(Schema):
    """A box and its planned content; ``places`` by the parts' codes where a carton was planned.

    ``bag_above`` is the layer above which the bag of items lies.
    """

    code = fields.String()
    sscc = fields.String(allow_none=True, metadata={"description": "from its first label on, in a shop with a prefix"})
    name = fields.String()
    number = fields.Integer()
    job = fields.String()
    cabinets = fields.List(fields.String())
    state = fields.String()
    mass_kg = fields.Float()
    weighed_kg = fields.Float(allow_none=True)
    planned = fields.Function(BoxSizeShape().dump)
    lifting = fields.Function(lambda box: lifting_json(box.mass_kg, box.length_mm, box.width_mm))
    missing_count = fields.Integer()
    on_load = fields.String(attribute="load", data_key="load", allow_none=True)
    follows = fields.String(allow_none=True)
    held = fields.Boolean()
    carton = fields.String(allow_none=True)
    bag_above = fields.Integer(allow_none=True)
    places = fields.Dict(keys=fields.String(), values=fields.Nested(LaidShape))
    parts = fields.List(fields.Nested(BoxPartShape))
    items = fields.List(fields.Nested(ItemShape))


class BoxesShape(Schema):
    """A page of boxes."""

    items = fields.List(fields.Nested(BoxShape))
    next = fields.String(allow_none=True)


class OverrideShape(Shape):
    """A foreman's reason to seal a box that is short or whose mass is off."""

    reason = fields.String(
        required=True, validate=validate.Regexp(r"\s*\S", error="Say why the box is sealed all the same.")
    )


class OpenAgainShape(Shape):
    """A foreman's reason to open a sealed box again."""

    reason = fields.String(required=True, validate=validate.Regexp(r"\s*\S", error="Say why the box is opened again."))


class SealShape(Shape):
    """What was counted into a box, and what it weighs."""

    items = fields.Dict(
        keys=fields.String(), values=fields.Integer(strict=True, validate=validate.Range(min=0, max=1_000_000)),
        load_default=dict,
    )  # fmt: skip
    mass_kg = fields.Float(load_default=None, allow_none=True, validate=validate.Range(min=0, max=10_000))
    override = fields.Nested(OverrideShape, load_default=None, allow_none=True)


class SealedShape(Schema):
    """A sealed box; ``follow_up`` holds what was missing."""

    code = fields.String()
    state = fields.String()
    follow_up = fields.String(allow_none=True)


class MissingPartShape(Schema):
    """A part that a box lacks; ``expected_at`` is null while nothing is known to tell it from."""

    code = fields.String()
    name = fields.String()
    cabinet = fields.String()
    step = fields.String(allow_none=True)
    damaged = fields.Boolean()
    urgent = fields.Boolean()
    last_seen = fields.Nested(SeenShape, allow_none=True)
    expected_at = fields.Constant(None)


class MissingBoxShape(Schema):
    """A box that is not complete: it lacks parts, or items are still to be counted into it, or both."""

    box = fields.String(attribute="code")
    name = fields.String()
    state = fields.String()
    job = fields.String()
    customer = fields.String()
    due = fields.Date()
    on_load = fields.String(attribute="load", data_key="load", allow_none=True)
    leaves = fields.Date(metadata={"description": "the day of its load, or where none is planned its job's due date"})
    missing = fields.List(fields.Nested(MissingPartShape), attribute="parts")
    counting = fields.List(
        fields.Nested(ItemShape),
        attribute="items",
        data_key="items",
        metadata={"description": "still to be counted into it"},
    )


class MissingQueryShape(PageShape):
    """Which boxes."""

    job = fields.String(load_default="")


class MissingShape(Schema):
    """A page of boxes that are not complete, soonest leaving first."""

    items = fields.List(fields.Nested(MissingBoxShape))
    next = fields.String(allow_none=True)


# Loads, changes


class LoadOrderShape(Shape):
    """The boxes that are to leave together, and when."""

    ship_on = fields.Date(required=True)
    boxes = Rows(fields.String(), required=True, validate=validate.Length(min=1, max=2_000))


class LoadedBoxShape(Schema):
    """A box on a load."""

    box = fields.String()
    job = fields.String()
    state = fields.String()


class StayingBoxShape(LoadedBoxShape):
    """A box that stays behind: held in the shop or not, and how many parts are not in it."""

    name = fields.String()
    held = fields.Boolean()
    missing_count = fields.Integer()


class LoadShape(Schema):
    """A load; ``stays_behind`` lists the boxes of its jobs that are not gone and on no load."""

    code = fields.String()
    ship_on = fields.Date()
    state = fields.String()
    shipped_at = Time(allow_none=True)
    boxes = fields.List(fields.Nested(LoadedBoxShape))
    stays_behind = fields.List(fields.Nested(StayingBoxShape))


class LoadsShape(Schema):
    """A page of loads, the latest first."""

    items = fields.List(fields.Nested(LoadShape))
    next = fields.String(allow_none=True)


class BoxCodeShape(Shape):
    """Which box."""

    box = fields.String(required=True)


class LeaveBehindShape(Shape):
    """A foreman's reason to let boxes stay behind, and which: just those that ``stays_behind`` lists."""

    reason = fields.String(required=True, validate=validate.Regexp(r"\s*\S", error="Say why these boxes stay behind."))
    boxes = fields.List(fields.String(), required=True, validate=validate.Length(max=2_000))


class ShipShape(Shape):
    """Nothing, where every box of the load's jobs leaves."""

    leave_behind = fields.Nested(LeaveBehindShape, load_default=None, allow_none=True)


class ChangesQueryShape(Schema):
    """After which change."""

    since = fields.Integer(load_default=0, validate=validate.Range(min=0, max=10**15))


class ChangesShape(Schema):
    """What changed; ``more`` says to ask again from ``now`` at once."""

    now = fields.Integer()
    more = fields.Boolean()
    jobs = fields.List(fields.String())
    boxes = fields.List(fields.String())
    parts = fields.List(fields.String())
    changed_loads = fields.List(fields.String(), attribute="loads", data_key="loads")


class StationOrderShape(Shape):
    """A new station."""

    name = fields.String(required=True)
    step = fields.String(required=True, validate=validate.OneOf(["cut", "machine", "band", "pack", "ship"]))
    strict = fields.Boolean(load_default=False)


class StationShape(Schema):
    """A station."""

    code = fields.String()
    name = fields.String()
    step = fields.String()
    strict = fields.Boolean()


class StationsShape(Schema):
    """All stations."""

    items = fields.List(fields.Nested(StationShape))
    next = fields.Constant(None)


class SlotOrderShape(Shape):
    """A new slot."""

    name = fields.String(required=True)


class SlotShape(Schema):
    """A slot."""

    code = fields.String()
    name = fields.String()


class DpiShape(Schema):
    """The printer's resolution."""

    dpi = fields.Integer(load_default=203, validate=validate.OneOf([203, 300, 600]))
