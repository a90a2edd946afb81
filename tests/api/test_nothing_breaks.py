"""Whatever is sent to whatever call, the answer is an answer: a result or a problem document, never a fault of ours."""

import re
from typing import Any

import pytest
from hypothesis import HealthCheck, given
from hypothesis import strategies as st

from tests.api.conftest import Caller
from tests.api.test_who_may import NEEDED
from tests.examples import examples
from tests.floor import Floor
from tracker.shop.codes import Code, Kind

CALLS = sorted(route for route in NEEDED if "/api/v1/" in route[1] and not route[1].endswith(("json", "docs")))
ODD_TEXT = st.text(max_size=12) | st.sampled_from(["\0", "9" * 40, "-1", "NaN", "1e999", "' OR 1=1", "../..", "%00"])
CODES = st.builds(Code, st.sampled_from(Kind), st.integers(0, 12)).map(str)
SCALARS = st.none() | st.booleans() | st.integers(-(10**20), 10**20) | st.floats(allow_nan=False) | ODD_TEXT | CODES
NAMES = (
    *("scans", "id", "code", "station", "at", "action", "box", "load", "slot", "customer", "due", "units", "parts"),
    *("items", "cabinet", "part", "quantity", "length", "width", "thickness", "edges", "boxes", "ship_on", "reason"),
    *("override", "mass_kg", "name", "step", "strict", "panels", "cartons", "layer_gap_mm", "cabinets", "family"),
    *("height", "depth", "fronts", "hinge", "finish", "note", "standard", "text"),
)
KEYS = st.sampled_from(NAMES)
BODIES = st.recursive(SCALARS, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(KEYS, inner, max_size=6))
# Nearly right: the right names with one odd value among good ones goes deeper than noise.
GOOD: dict[str, Any] = {
    "id": "5b0f9b0e-6d0c-4f43-9f07-7b1f0a6f1f11",
    "code": "P0000000134",
    "station": "CUT-1",
    "at": "2027-03-01T08:00:00Z",
    "customer": "x",
    "due": "2027-03-05",
    "ship_on": "2027-03-05",
    "reason": "x",
    "name": "x",
    "step": "cut",
    "boxes": ["B0000000141"],
    "items": {},
    "parts": [{"cabinet": "1", "part": "End", "length": 700, "width": 500, "thickness": 18}],
    "cabinets": [{"cabinet": "1", "family": "base", "width": 600, "height": 800, "depth": 500, "fronts": "doors"}],
    "family": "base",
    "width": 600,
    "height": 800,
    "depth": 500,
    "fronts": "drawer over doors",
    "text": "[[carton]]\nname = 'C'\nlength = 1000\nwidth = 900\nheight = 200\nmax_mass = 40\n",
}
SETS = (
    ("id", "code", "station", "at"),
    ("code", "customer", "due", "parts"),
    ("code", "customer", "due", "cabinets"),
    ("family", "width", "height", "depth", "fronts"),
    ("text",),
    ("boxes", "ship_on"),
    ("reason",),
    ("items",),
    ("name", "step"),
)


@st.composite
def nearly_right(draw: st.DrawFn) -> Any:
    body = {name: GOOD[name] for name in draw(st.sampled_from(SETS))}
    if draw(st.booleans()):
        body[draw(KEYS | st.sampled_from(sorted(body)))] = draw(SCALARS | BODIES)
    return {"scans": [body, body]} if "id" in body else body


QUERIES = st.dictionaries(st.sampled_from(["limit", "after", "since", "dpi", "job", "status", "dry_run"]), ODD_TEXT)


@pytest.mark.parametrize("route", CALLS, ids=" ".join)
@examples(8, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(body=BODIES | nearly_right() | nearly_right(), query=QUERIES, name=ODD_TEXT | CODES | st.just("J-1"))
def test_no_input_is_a_fault_of_ours(
    admin: Caller, floor: Floor, route: tuple[str, str], body: Any, query: dict[str, str], name: str
) -> None:
    verb, rule = route
    path = re.sub(r"<[^>]*>", lambda _match: name.replace("/", "").replace("?", "").replace("#", ""), rule)
    sent = {"json": body} if verb in ("POST", "PUT") else {}
    answer = admin.client.open(path, method=verb, headers=admin.headers, query_string=query, **sent)
    assert answer.status_code < 500, answer.text
    if answer.status_code >= 400:
        assert answer.mimetype == "application/problem+json"
        assert answer.get_json()["detail"]
    floor.check()
