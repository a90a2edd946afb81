"""Boxes: looked at, sealed, opened again, held."""

from typing import Any

from marshmallow import Schema, fields, validate

from tracker.api.context import number_of
from tracker.api.lifting import lifting_json
from tracker.api.parts import ListedPartShape
from tracker.api.service import CallBlueprint
from tracker.api.shapes import Shape
from tracker.records.box_contents import BoxView, box_view
from tracker.shop.codes import Kind
from tracker.shop.errors import NotAllowedError, NotFoundError
from tracker.shop.lifting import LiftingMarks
from tracker.shop.roles import Role
from tracker.web.context import act, bearer, database, marks
from tracker.work.access import needs
from tracker.work.hold_box import hold_box, let_go_box
from tracker.work.open_again import Opening, open_again
from tracker.work.seal import Sealing, seal_box

blueprint = CallBlueprint("boxes", __name__)


class BoxSizeShape(Schema):
    """A box's planned size."""

    length_mm = fields.Float()
    width_mm = fields.Float()
    height_mm = fields.Float()


class BoxPartShape(ListedPartShape):
    """A part of a box; ``position`` 1 is laid first."""

    packed = fields.Boolean()
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
    job = fields.String(attribute="job.code")
    cabinets = fields.List(fields.String())
    rooms = fields.List(fields.String())
    drop = fields.String(allow_none=True)
    state = fields.String()
    mass_kg = fields.Float()
    weighed_kg = fields.Float(allow_none=True)
    planned = fields.Function(BoxSizeShape().dump)
    lifting = fields.Method("lifting_of")
    missing_count = fields.Integer()
    on_load = fields.String(attribute="load_code", data_key="load", allow_none=True)
    follows = fields.String(allow_none=True)
    held = fields.Boolean(
        attribute="own_hold", metadata={"description": "the box itself is on hold; its job may be without that"}
    )
    carton = fields.String(allow_none=True)
    bag_above = fields.Integer(allow_none=True)
    places = fields.Dict(keys=fields.String(), values=fields.Nested(LaidShape))
    parts = fields.List(fields.Nested(BoxPartShape))
    items = fields.List(fields.Nested(ItemShape))

    def __init__(self, *, marks: LiftingMarks | None = None, **given: Any) -> None:
        super().__init__(**given)
        self._marks = marks

    def lifting_of(self, box: BoxView) -> dict[str, Any]:
        """Who carries the box: by the marks that are given, or by those of the shop that is asked."""
        return lifting_json(self._marks or marks(), box.known_mass_kg, box.length_mm, box.width_mm)


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
        keys=fields.String(),
        values=fields.Integer(strict=True, validate=validate.Range(min=0, max=1_000_000)),
        load_default=dict,
    )
    mass_kg = fields.Float(load_default=None, allow_none=True, validate=validate.Range(min=0, max=10_000))
    override = fields.Nested(OverrideShape, load_default=None, allow_none=True)


class SealedShape(Schema):
    """A sealed box; ``follow_up`` holds what was missing."""

    code = fields.String()
    state = fields.String()
    follow_up = fields.String(allow_none=True)


@blueprint.route("/boxes/<code>", methods=["GET"])
@blueprint.response(200, BoxShape)
@needs(Role.STATION)
def get_box(code: str) -> BoxView:
    """One box, its planned content and what of it is in."""
    return _box(code)


def _box(code: str) -> BoxView:
    with database().read() as connection:
        box = box_view(connection, number_of(code, Kind.BOX))
    if box is None:
        raise NotFoundError(f"There is no box {code[:40]}.")
    return box


@blueprint.route("/boxes/<code>/seal", methods=["POST"])
@blueprint.arguments(SealShape)
@blueprint.response(200, SealedShape)
@needs(Role.PACKER)
def post_seal(body: dict[str, Any], code: str) -> dict[str, Any]:
    """Seal a box. 409 with ``missing`` when anything is not in it, or with ``weight`` when its mass is off.

    ``weight`` says the mass that is expected of what is in the box, the one that was weighed, and the limit up to which
    a packer alone seals. A foreman may override either with a reason; what is missing moves to a follow-up box.
    """
    override = body["override"]
    if override is not None and not bearer().role.includes(Role.FOREMAN):
        raise NotAllowedError("Only a foreman may override what speaks against sealing a box.")
    sealing = Sealing(
        box=number_of(code, Kind.BOX),
        items=body["items"],
        mass_kg=body["mass_kg"],
        override_reason="" if override is None else override["reason"].strip(),
    )
    sealed = seal_box(database(), sealing, **act())
    return {"code": sealed.code, "state": "sealed", "follow_up": sealed.follow_up}


@blueprint.route("/boxes/<code>/open-again", methods=["POST"])
@blueprint.arguments(OpenAgainShape)
@blueprint.response(200, BoxShape)
@needs(Role.FOREMAN)
def post_open_again(body: dict[str, Any], code: str) -> BoxView:
    """Open a sealed box again. 409 for one that is not sealed or is on its load."""
    opening = Opening(box=number_of(code, Kind.BOX), reason=body["reason"].strip())
    open_again(database(), opening, **act())
    return _box(code)


@blueprint.route("/boxes/<code>/hold", methods=["POST"])
@blueprint.response(200, BoxShape)
@needs(Role.FOREMAN)
def post_hold(code: str) -> BoxView:
    """Keep a box in the shop: it is neither sealed nor loaded until it is let go."""
    hold_box(database(), number_of(code, Kind.BOX), **act())
    return _box(code)


@blueprint.route("/boxes/<code>/resume", methods=["POST"])
@blueprint.response(200, BoxShape)
@needs(Role.FOREMAN)
def post_resume(code: str) -> BoxView:
    """Let a held box go on."""
    let_go_box(database(), number_of(code, Kind.BOX), **act())
    return _box(code)
