"""Boxes: looked at, sealed, opened again; what is missing from those that are not complete."""

from typing import Any

from tracker.api.context import number_of
from tracker.api.paging import box_after
from tracker.api.schemas import BoxShape, MissingQueryShape, MissingShape, OpenAgainShape, SealedShape, SealShape
from tracker.api.service import CallBlueprint
from tracker.records import look
from tracker.records.look import BoxView
from tracker.records.missing_lists import Bounds, missing_page
from tracker.shop.codes import Kind
from tracker.shop.errors import NotAllowedError, NotFoundError
from tracker.shop.roles import Role
from tracker.web.context import act, bearer, database
from tracker.work.access import needs
from tracker.work.hold_box import hold_box, let_go_box
from tracker.work.open_again import Opening, open_again
from tracker.work.seal import Sealing, seal_box

blueprint = CallBlueprint("boxes", __name__)


@blueprint.route("/boxes/<code>", methods=["GET"])
@blueprint.response(200, BoxShape)
@needs(Role.STATION)
def get_box(code: str) -> BoxView:
    """One box, its planned content and what of it is in."""
    return _box(code)


def _box(code: str) -> BoxView:
    with database().read() as connection:
        box = look.box_view(connection, number_of(code, Kind.BOX))
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


@blueprint.route("/missing", methods=["GET"])
@blueprint.arguments(MissingQueryShape, location="query")
@blueprint.response(200, MissingShape)
@needs(Role.STATION)
def get_missing(query: dict[str, Any]) -> dict[str, Any]:
    """Every box not yet complete, soonest leaving first: the parts that it lacks, and the items to be counted into it.

    A box leaves on the day of its load, or where none is planned when its job is due.
    """
    after = None if not query["after"] else box_after(query["after"])
    with database().read() as connection:
        page = missing_page(connection, after=after, job_code=query["job"] or None, bounds=Bounds(boxes=query["limit"]))
    return {"items": page.boxes, "next": None if page.next is None else str(page.next)}
