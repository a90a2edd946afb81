"""Every route and every role: who may call what, and no route open by forgetting."""

import re

import pytest
from flask import Flask

from tests.api.conftest import Caller
from tests.pages.callers import signed_in
from tracker.app import create_app
from tracker.shop.roles import Role

# The contract's table, and what we added to it.
NEEDED = {
    ("POST", "/api/v1/scans"): Role.STATION,
    ("GET", "/api/v1/jobs"): Role.STATION,
    ("POST", "/api/v1/jobs"): Role.OFFICE,
    ("POST", "/api/v1/jobs/import"): Role.OFFICE,
    ("GET", "/api/v1/jobs/<code>"): Role.STATION,
    ("GET", "/api/v1/jobs/<code>/parts"): Role.STATION,
    ("GET", "/api/v1/jobs/<code>/boxes"): Role.STATION,
    ("POST", "/api/v1/jobs/<code>/hold"): Role.FOREMAN,
    ("POST", "/api/v1/jobs/<code>/resume"): Role.FOREMAN,
    ("POST", "/api/v1/jobs/<code>/cancel"): Role.FOREMAN,
    ("GET", "/api/v1/parts/<code>"): Role.STATION,
    ("POST", "/api/v1/parts/<code>/replace"): Role.FOREMAN,
    ("POST", "/api/v1/parts/<code>/repair"): Role.FOREMAN,
    ("GET", "/api/v1/boxes/<code>"): Role.STATION,
    ("POST", "/api/v1/boxes/<code>/seal"): Role.PACKER,
    ("POST", "/api/v1/boxes/<code>/open-again"): Role.FOREMAN,
    ("POST", "/api/v1/boxes/<code>/hold"): Role.FOREMAN,
    ("POST", "/api/v1/boxes/<code>/resume"): Role.FOREMAN,
    ("POST", "/boxes/<code>/<any(hold, resume):deed>"): Role.FOREMAN,
    ("POST", "/boxes/<code>/open-again"): Role.FOREMAN,
    ("GET", "/api/v1/missing"): Role.STATION,
    ("POST", "/api/v1/loads"): Role.PACKER,
    ("GET", "/api/v1/loads"): Role.STATION,
    ("GET", "/api/v1/loads/<code>"): Role.STATION,
    ("POST", "/api/v1/loads/<code>/ship"): Role.PACKER,
    ("POST", "/api/v1/loads/<code>/take-off"): Role.FOREMAN,
    ("GET", "/api/v1/changes"): Role.STATION,
    ("GET", "/api/v1/expected"): Role.STATION,
    ("GET", "/api/v1/flagged"): Role.STATION,
    ("POST", "/api/v1/flagged/<int:seq>/settle"): Role.FOREMAN,
    ("GET", "/api/v1/stations"): Role.STATION,
    ("POST", "/api/v1/stations"): Role.ADMIN,
    ("POST", "/api/v1/slots"): Role.FOREMAN,
    ("GET", "/api/v1/labels/parts/<code>.png"): Role.STATION,
    ("GET", "/api/v1/labels/boxes/<code>.png"): Role.STATION,
    ("GET", "/api/v1/labels/jobs/<code>.pdf"): Role.STATION,
    ("POST", "/api/v1/plans/boxes"): Role.STATION,
    ("POST", "/api/v1/plans/cabinet"): Role.STATION,
    ("GET", "/api/v1/jobs/<code>/cabinets"): Role.STATION,
    ("GET", "/api/v1/jobs/<code>/cabinets/<name>"): Role.STATION,
    ("GET", "/api/v1/jobs/<code>/boards"): Role.STATION,
    ("POST", "/api/v1/jobs/<code>/boards"): Role.FOREMAN,
    ("GET", "/api/v1/labels/boards/<code>.png"): Role.STATION,
    ("GET", "/api/v1/labels/jobs/<code>/boards.pdf"): Role.STATION,
    ("GET", "/api/v1/labels/sheets/<code>/<name>.pdf"): Role.STATION,
    ("GET", "/api/v1/lists/<path:name>"): Role.OFFICE,
    ("PUT", "/api/v1/lists/<path:name>"): Role.ADMIN,
    ("GET", "/api/v1/reports"): Role.FOREMAN,
    ("POST", "/api/v1/reports/<int:number>/close"): Role.FOREMAN,
    ("GET", "/help"): None,
    ("GET", "/help/<page>"): None,
    ("GET", "/jobs/<job>/cabinets/<name>/sheet"): Role.STATION,
    ("GET", "/jobs/<job>/cabinets/<name>/sheet.pdf"): Role.STATION,
    ("POST", "/settings/sheets"): Role.ADMIN,
    ("GET", "/report/<job>/<name>/<key>"): None,
    ("POST", "/report/<job>/<name>/<key>"): None,
    ("GET", "/"): Role.STATION,
    ("GET", "/api/v1/openapi.json"): None,
    ("GET", "/api/v1/docs"): None,
    ("GET", "/healthz"): None,
    ("GET", "/readyz"): None,
    ("GET", "/metrics"): None,
    ("GET", "/sign-in"): None,
    ("POST", "/sign-in"): None,
    ("POST", "/sign-out"): None,
    ("GET", "/static/<path:filename>"): None,
    ("GET", "/board/rows"): Role.STATION,
    ("GET", "/boards/<code>"): Role.STATION,
    ("GET", "/boxes/<code>"): Role.STATION,
    ("GET", "/find"): Role.STATION,
    ("GET", "/flagged"): Role.STATION,
    ("POST", "/flagged/<int:seq>/settle"): Role.FOREMAN,
    ("GET", "/jobs/<code>"): Role.STATION,
    ("GET", "/jobs/<code>/<any(hold, resume, cancel):deed>"): Role.FOREMAN,
    ("POST", "/jobs/<code>/<any(hold, resume, cancel):deed>"): Role.FOREMAN,
    ("GET", "/jobs/<code>/now"): Role.STATION,
    ("GET", "/labels"): Role.STATION,
    ("POST", "/labels"): Role.STATION,
    ("GET", "/labels/<code>.png"): Role.STATION,
    ("GET", "/printers"): Role.STATION,
    ("POST", "/printers"): Role.ADMIN,
    ("GET", "/printers/now"): Role.STATION,
    ("POST", "/printers/<int:number>/test"): Role.STATION,
    ("POST", "/printers/<int:number>/withdraw"): Role.ADMIN,
    ("GET", "/prints"): Role.STATION,
    ("GET", "/prints/<int:number>"): Role.STATION,
    ("GET", "/prints/<int:number>/labels.pdf"): Role.STATION,
    ("GET", "/prints/<int:number>/now"): Role.STATION,
    ("POST", "/prints/<int:number>/cancel"): Role.STATION,
    ("POST", "/prints/<int:number>/settle"): Role.STATION,
    ("GET", "/api/v1/printers"): Role.STATION,
    ("POST", "/api/v1/printers"): Role.ADMIN,
    ("POST", "/api/v1/printers/<int:number>/withdraw"): Role.ADMIN,
    ("GET", "/api/v1/prints"): Role.STATION,
    ("POST", "/api/v1/prints"): Role.STATION,
    ("GET", "/api/v1/prints/<int:number>"): Role.STATION,
    ("GET", "/api/v1/prints/<int:number>.pdf"): Role.STATION,
    ("POST", "/api/v1/prints/<int:number>/cancel"): Role.STATION,
    ("POST", "/api/v1/prints/<int:number>/settle"): Role.STATION,
    ("GET", "/labels/calibration.pdf"): Role.STATION,
    ("GET", "/labels/layouts"): Role.OFFICE,
    ("POST", "/labels/layouts"): Role.ADMIN,
    ("GET", "/labels/layouts/<name>"): Role.OFFICE,
    ("GET", "/labels/layouts/<name>/sample.png"): Role.OFFICE,
    ("POST", "/labels/layouts/keep"): Role.ADMIN,
    ("POST", "/labels/layouts/preview.png"): Role.OFFICE,
    ("POST", "/language"): None,
    ("GET", "/loads"): Role.STATION,
    ("GET", "/loads/<code>"): Role.STATION,
    ("POST", "/loads/<code>/ship"): Role.PACKER,
    ("POST", "/loads/<code>/add"): Role.PACKER,
    ("POST", "/loads/<code>/take-off"): Role.FOREMAN,
    ("GET", "/loads/new"): Role.PACKER,
    ("POST", "/loads/new"): Role.PACKER,
    ("GET", "/me"): Role.STATION,
    ("POST", "/me"): Role.STATION,
    ("POST", "/me/password"): Role.STATION,
    ("GET", "/missing"): Role.STATION,
    ("GET", "/missing/rows"): Role.STATION,
    ("POST", "/orders/<code>/boards"): Role.FOREMAN,
    ("GET", "/orders/<code>/taken"): Role.OFFICE,
    ("GET", "/orders/drawing.svg"): Role.OFFICE,
    ("POST", "/orders/edit"): Role.OFFICE,
    ("GET", "/orders/new"): Role.OFFICE,
    ("POST", "/orders/preview"): Role.OFFICE,
    ("POST", "/orders/take"): Role.OFFICE,
    ("GET", "/pack"): Role.STATION,
    ("GET", "/pack/<path:station>"): Role.STATION,
    ("GET", "/pack/<path:station>/bench"): Role.STATION,
    ("POST", "/pack/<path:station>/count"): Role.STATION,
    ("GET", "/pack/<path:station>/next"): Role.STATION,
    ("POST", "/pack/<path:station>/override"): Role.STATION,
    ("POST", "/pack/<path:station>/open-again"): Role.STATION,
    ("POST", "/pack/<path:station>/scan"): Role.STATION,
    ("POST", "/pack/<path:station>/seal"): Role.PACKER,
    ("POST", "/pack/<path:station>/weigh"): Role.STATION,
    ("POST", "/parts/<code>/repair"): Role.FOREMAN,
    ("GET", "/parts/<code>/replace"): Role.FOREMAN,
    ("POST", "/parts/<code>/replace"): Role.FOREMAN,
    ("GET", "/people"): Role.ADMIN,
    ("POST", "/people"): Role.ADMIN,
    ("POST", "/people/<int:number>/badge"): Role.ADMIN,
    ("GET", "/people/<int:number>/badge.pdf"): Role.ADMIN,
    ("POST", "/people/<int:number>/badge/withdraw"): Role.ADMIN,
    ("POST", "/people/<int:number>/password"): Role.ADMIN,
    ("POST", "/people/<int:number>/role"): Role.ADMIN,
    ("POST", "/people/<int:number>/withdraw"): Role.ADMIN,
    ("GET", "/places/<code>"): Role.STATION,
    ("GET", "/q/<code>/<key>"): None,
    ("GET", "/Q/<code>/<key>"): None,
    ("GET", "/reports"): Role.FOREMAN,
    ("POST", "/reports/<int:number>/close"): Role.FOREMAN,
    ("GET", "/search"): Role.STATION,
    ("GET", "/service-worker.js"): None,
    ("GET", "/trust"): None,
    ("GET", "/trust/authority.crt"): None,
    ("GET", "/settings"): Role.OFFICE,
    ("POST", "/settings/<kind>"): Role.ADMIN,
    ("POST", "/settings/box-numbers"): Role.ADMIN,
    ("GET", "/station"): Role.STATION,
    ("GET", "/station/<path:name>"): Role.STATION,
    ("GET", "/station/<path:name>/now"): Role.STATION,
    ("POST", "/station/<path:name>/scan"): Role.STATION,
    ("POST", "/station/badge"): Role.STATION,
    ("POST", "/station/picture"): Role.STATION,
    ("GET", "/stations"): Role.FOREMAN,
    ("POST", "/stations"): Role.ADMIN,
    ("POST", "/stations/pair"): Role.FOREMAN,
    ("POST", "/stations/tablets/<int:number>/withdraw"): Role.FOREMAN,
    ("GET", "/tokens"): Role.ADMIN,
    ("POST", "/tokens"): Role.ADMIN,
    ("POST", "/tokens/<int:number>/withdraw"): Role.ADMIN,
}


def test_every_route_is_in_the_table(app: Flask) -> None:
    routes = {
        (verb, rule.rule) for rule in app.url_map.iter_rules() for verb in (rule.methods or set()) - {"HEAD", "OPTIONS"}
    }
    assert routes == set(NEEDED)


@pytest.mark.parametrize(("route", "needed"), [(route, role) for route, role in NEEDED.items() if "/api/" in route[1]])
def test_a_call_is_let_through_for_its_role_and_above_and_for_nobody_else(
    app: Flask, callers: dict[Role, Caller], route: tuple[str, str], needed: Role | None
) -> None:
    verb, rule = route
    path = path_of(rule)
    anonymous = app.test_client().open(path, method=verb)
    assert (anonymous.status_code == 401) == (needed is not None)
    for role, caller in callers.items():
        status = caller.client.open(path, method=verb, headers=caller.headers).status_code
        assert (status == 403) == (needed is not None and not role.includes(needed)), (role, status)
        assert status != 401


def path_of(rule: str) -> str:
    """An address of a route, of things that are not there."""
    rule = re.sub(r"<any\((\w+)[^>]*>", r"\1", rule)
    return re.sub(r"<[^>]*>", "J-1", re.sub(r"<int:[^>]*>", "99", rule))


def test_a_page_is_let_through_for_its_role_and_not_for_the_one_below(app: Flask, callers: dict[Role, Caller]) -> None:
    roles = list(Role)
    visitors = {role: signed_in(app, f"secret {role.value}") for role in roles}
    for (verb, rule), needed in NEEDED.items():
        if "/api/" in rule or needed is None:
            continue
        for role in roles[max(0, roles.index(needed) - 1) : roles.index(needed) + 1]:
            visitor = visitors[role]
            answer = visitor.get(path_of(rule)) if verb == "GET" else visitor.send(path_of(rule))
            assert (answer.status_code == 403) == (role is not needed), (verb, rule, role, answer.status_code)


def test_the_pages_want_a_session(app: Flask) -> None:
    response = app.test_client().get("/")
    assert (response.status_code, response.headers["Location"]) == (302, "/sign-in")


def test_a_view_that_says_nothing_is_open_to_nobody(app: Flask, admin: Caller) -> None:
    app = create_app(app.extensions["shop_settings"], app.extensions["shop_database"])  # its routes are its own
    admin.client = app.test_client()
    app.add_url_rule("/api/v1/forgotten", "forgotten", lambda: "secret")
    app.add_url_rule("/forgotten", "forgotten-page", lambda: "secret")
    assert admin.get("/forgotten").status_code == 403
    assert b"secret" not in app.test_client().get("/forgotten").data


def test_a_withdrawn_token_opens_nothing_after_a_second(app: Flask, admin: Caller) -> None:
    from tests.floor import START
    from tracker.work.access import KNOWN_FOR_S, Gate, withdraw_token

    clock = [0.0]
    app.extensions["shop_gate"] = Gate(app.extensions["shop_database"], clock=lambda: clock[0])
    assert admin.get("/jobs").status_code == 200
    withdraw_token(app.extensions["shop_database"], "the admin", now=START)
    assert admin.get("/jobs").status_code == 200
    clock[0] += KNOWN_FOR_S
    refused = admin.get("/jobs")
    assert refused.status_code == 401
    assert refused.headers["WWW-Authenticate"] == "Bearer"


def test_only_the_hash_of_a_token_is_kept(app: Flask, admin: Caller) -> None:
    from sqlalchemy import select

    from tracker.records.tables import token

    plain = admin.headers["Authorization"].removeprefix("Bearer ")
    with app.extensions["shop_database"].read() as connection:
        rows = connection.execute(select(token)).all()
    assert plain not in repr(rows)
