"""Errors as RFC 9457 says: members, media type, one status for each of the shop's errors."""

from io import BytesIO

from flask import Flask
from sqlalchemy import text
from sqlalchemy.exc import OperationalError

from tests.api.conftest import Caller
from tracker.api.problems import STATUS_OF, type_of
from tracker.app import create_app
from tracker.shop import errors
from tracker.shop.errors import ShopError
from tracker.shop.roles import Role
from tracker.work.access import needs


def _all(kind: type[ShopError]) -> set[type[ShopError]]:
    return {kind}.union(*(_all(each) for each in kind.__subclasses__())) if kind.__subclasses__() else {kind}


def test_every_error_of_the_shop_has_its_status_and_its_own_type() -> None:
    kinds = _all(ShopError) - {ShopError}
    assert kinds == set(STATUS_OF)
    assert len({type_of(kind) for kind in kinds}) == len(kinds)
    assert type_of(errors.NotSignedInError) == "/problems/not-signed-in"


def test_a_problem_document_has_the_members_of_rfc_9457(admin: Caller) -> None:
    response = admin.get("/jobs/J-404")
    assert response.status_code == 404
    assert response.mimetype == "application/problem+json"
    body = response.json
    assert body is not None
    assert body["status"] == 404
    assert {"type", "title", "detail"} <= body.keys()
    assert "J-404" in body["detail"]


def test_no_such_path_wrong_verb_and_too_large_keep_their_protocol(app: Flask, admin: Caller) -> None:
    assert admin.get("/nothing").status_code == 404
    wrong = admin.client.delete("/api/v1/jobs", headers=admin.headers)
    assert (wrong.status_code, wrong.mimetype) == (405, "application/problem+json")
    assert "GET" in wrong.headers["Allow"]
    large = admin.post("/slots", {"name": "x" * 66_000})
    assert (large.status_code, large.mimetype) == (413, "application/problem+json")
    assert "at most 65,536 bytes" in large.json["detail"]


def test_a_form_that_is_too_large_beside_its_files_is_told_the_limit_of_its_texts(app: Flask, admin: Caller) -> None:
    app.config["MAX_FORM_MEMORY_SIZE"] = 100
    large = admin.upload("/jobs/import", code="J-1", customer="x" * 200, file=(BytesIO(b"a,b"), "parts.csv"))
    assert large.status_code == 413
    assert "at most 100 bytes" in large.json["detail"]


def test_a_page_that_is_not_there_is_a_page(app: Flask) -> None:
    response = app.test_client().get("/nowhere")
    assert response.status_code == 404
    assert response.mimetype == "text/html"


def test_a_database_that_is_away_is_said_so_and_may_be_tried_again(app: Flask, admin: Caller) -> None:
    @needs(Role.STATION)
    def fail() -> str:
        raise OperationalError("SELECT 1", {}, Exception("gone"))

    app = create_app(app.extensions["shop_settings"], app.extensions["shop_database"])  # its routes are its own
    admin.client = app.test_client()
    app.add_url_rule("/api/v1/away", "away", fail)
    response = admin.get("/away")
    assert (response.status_code, response.headers["Retry-After"]) == (503, "2")


def test_readiness_tells_a_database_at_another_migration(app: Flask) -> None:
    client = app.test_client()
    assert client.get("/healthz").json == {"status": "alive"}
    ready = client.get("/readyz")
    assert (ready.status_code, ready.json["status"]) == (200, "ready")  # type: ignore[index]
    database = app.extensions["shop_database"]
    with database.write() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = 'older'"))
    assert client.get("/readyz").status_code == 503


def test_metrics_count_requests(app: Flask) -> None:
    client = app.test_client()
    client.get("/healthz")
    assert 'tracker_requests_total{call="/healthz",status="200"} 1.0' in client.get("/metrics").text


def test_an_answer_carries_the_requests_id(app: Flask) -> None:
    client = app.test_client()
    assert client.get("/healthz", headers={"X-Request-Id": "abcdefgh-1"}).headers["X-Request-Id"] == "abcdefgh-1"
    assert client.get("/healthz", headers={"X-Request-Id": "no good!"}).headers["X-Request-Id"] != "no good!"


def test_the_readable_pages_load_nothing_from_another_host(app: Flask) -> None:
    page = app.test_client().get("/api/v1/docs")
    assert page.status_code == 200
    assert "POST /api/v1/scans" in page.text
    assert "http://" not in page.text.replace("http://localhost", "")
    assert "https://" not in page.text
    document = app.test_client().get("/api/v1/openapi.json").json
    assert document is not None
    assert document["openapi"].startswith("3.")
    assert document["paths"]["/api/v1/jobs/{code}/hold"]["post"]["x-role"] == "foreman"
    calls = [call for path in document["paths"].values() for verb, call in path.items() if verb != "parameters"]
    assert all("x-role" in call and call["summary"] for call in calls)
