"""What every call of the HTTP interface needs beside the shop: who is calling, and the number in a code."""

from collections.abc import Callable

from flask import current_app, g, request

from tracker.shop.codes import Kind
from tracker.shop.errors import NotAllowedError, NotSignedInError
from tracker.shop.roles import Role
from tracker.web.context import database
from tracker.work.access import Bearer, Gate
from tracker.work.box_numbers import number_read


def check_caller() -> None:
    """Let a request through only when its view says who may call it and the token's holder may.

    A view that says nothing is closed: no route is open by forgetting.
    """
    view = current_app.view_functions.get(request.endpoint or "")
    needed: Role | None = getattr(view, "needs", None)
    if needed is None:
        raise NotAllowedError("This call is open to nobody.")
    g.bearer = _bearer()
    if not g.bearer.role.includes(needed):
        raise NotAllowedError(f"This needs the role {needed}; the token {g.bearer.name} has {g.bearer.role}.")


def _bearer() -> Bearer:
    """Return who calls: by the token in the header, or by the session of a page of ours."""
    kind, _, plain = request.headers.get("Authorization", "").partition(" ")
    if kind.lower() == "bearer" and plain.strip():
        gate: Gate = current_app.extensions["shop_gate"]
        return gate.bearer_of(plain.strip())
    from_session: Callable[[], Bearer | None] = current_app.extensions["shop_session"]
    found = from_session()
    if found is None:
        raise NotSignedInError("Send the header Authorization: Bearer TOKEN. The office gives tokens out.")
    return found


def number_of(text: str, kind: Kind) -> int:
    """Return the number in a code of a kind, or of the box with an SSCC; raises NotFoundError for anything else."""
    return number_read(database(), text, kind)
