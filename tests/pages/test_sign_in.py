"""Signing in, sessions and their ends, badges and tablets, and the pages of people, stations and tokens."""

import re
import threading
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient
from itsdangerous import SignatureExpired
from playwright.sync_api import Browser, Page

from tests.floor import START, Floor
from tests.pages.looking import readable
from tests.shops import app_of, sqlite_shop
from tests.waiting import until
from tracker.pages.frame.cookies import PatientSigner
from tracker.records.database import Database
from tracker.records.people import change_session, list_people, session_by_hash
from tracker.server import Server
from tracker.settings import Settings
from tracker.shop.roles import Role
from tracker.work.people import add_person, make_badge, set_choices
from tracker.work.sessions import digest_of_session, make_pairing

PASSWORD, WRONG, SHORT, OTHER = (
    "a password of eight words",
    "wrong wrong wrong",
    "short",
    "another password",
)
NAMES = {Role.PACKER: "Pia", Role.FOREMAN: "Finn", Role.ADMIN: "Ada"}


def _staffed(database: Database) -> None:
    Floor(database)
    for role, name in NAMES.items():
        add_person(database, name, role, password=PASSWORD, now=START)


def _shop(folder: Path) -> Flask:
    database = sqlite_shop(folder / "shop.db", fill=_staffed)
    settings = Settings(data_dir=folder, database_url=str(database.url), secret_key="for tests")  # noqa: S106
    return app_of(settings, database)


@pytest.fixture
def app(tmp_path: Path) -> Iterator[Flask]:
    made = _shop(tmp_path)
    yield made
    made.extensions["shop_database"].close()


@pytest.fixture
def client(app: Flask) -> FlaskClient:
    return app.test_client()


def proof(client: FlaskClient, path: str = "/sign-in") -> str:
    """The secret against forged forms that stands on a page."""
    found = re.search(r'name="csrf-token" content="([^"]+)"', client.get(path, follow_redirects=True).text)
    assert found is not None
    return found.group(1)


def send(client: FlaskClient, path: str, **form: str) -> Any:
    return client.post(path, data={"csrf_token": proof(client), **form})


def enter(client: FlaskClient, role: Role = Role.ADMIN, **more: str) -> Any:
    return send(client, "/sign-in", name=NAMES[role], password=PASSWORD, **more)


def test_signing_in_leads_back_to_where_one_was_and_to_no_other_host(client: FlaskClient) -> None:
    asked = client.get("/people?x=1")
    assert (asked.status_code, asked.headers["Location"]) == (302, "/sign-in?next=/people?x%3D1")
    assert enter(client, next="/people?x=1").headers["Location"] == "/people?x=1"
    for elsewhere in ("https://example.org/", "//example.org", "/\\example.org", "/\t/example.org", "people"):
        assert enter(client, next=elsewhere).headers["Location"] == "/", elsewhere


def test_the_session_is_a_new_one_after_signing_in_and_no_script_can_read_it(client: FlaskClient) -> None:
    before = proof(client)
    response = enter(client)
    cookie = response.headers["Set-Cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=Strict" in cookie
    assert "Secure" not in cookie
    assert proof(client, "/people") != before
    assert PASSWORD not in cookie


def test_over_https_the_cookie_never_travels_by_plain_http(client: FlaskClient) -> None:
    assert "Secure" in client.get("/sign-in", base_url="https://localhost").headers["Set-Cookie"]


def test_a_session_that_ended_says_so_and_one_that_never_was_does_not(app: Flask, client: FlaskClient) -> None:
    assert "ended" not in client.get("/people").headers["Location"]
    enter(client)
    other = app.test_client()
    enter(other)
    send(other, "/people/3/password", password=OTHER)  # that of Ada, who sits at both
    gone = client.get("/people", follow_redirects=True)
    assert "Your session has ended" in gone.text
    assert enter(client).status_code == 401


class Behind(PatientSigner):
    """Signs as the service did a year ago."""

    def get_timestamp(self) -> int:
        return super().get_timestamp() - 365 * 86_400


class Ahead(PatientSigner):
    """Signs as the service did while its clock was a year ahead."""

    def get_timestamp(self) -> int:
        return super().get_timestamp() + 365 * 86_400


def test_a_service_clock_that_is_set_back_signs_nobody_out(app: Flask, client: FlaskClient) -> None:
    enter(client)
    signer = app.session_interface.get_signing_serializer(app)  # type: ignore[attr-defined]  # ours has it
    cookie = client.get_cookie("session")
    assert cookie is not None
    kept = signer.loads(cookie.value)
    signer.signer = Ahead
    client.set_cookie("session", signer.dumps(kept))
    a_year = timedelta(days=365)
    with app.extensions["shop_database"].write() as connection:
        change_session(connection, digest_of_session(kept["visit"]), seen_at=datetime.now(UTC) + a_year)
    assert client.get("/me").status_code == 200

    def is_counted_from_now_on() -> bool:
        with app.extensions["shop_database"].read() as connection:
            found = session_by_hash(connection, digest_of_session(kept["visit"]))
        return found is not None and abs(found.seen_at - datetime.now(UTC)) < timedelta(minutes=5)

    until(is_counted_from_now_on)  # it is noted beside the request


def test_what_was_signed_too_long_ago_has_ended() -> None:
    signer = PatientSigner("key", salt="x")
    with pytest.raises(SignatureExpired):
        signer.unsign(Behind("key", salt="x").sign("text"), max_age=60)
    assert signer.unsign(Ahead("key", salt="x").sign("text"), max_age=60) == b"text"


def test_signing_out_ends_the_session_in_the_shops_records_too(app: Flask, client: FlaskClient) -> None:
    enter(client)
    kept = client.get_cookie("session")
    assert kept is not None
    assert send(client, "/sign-out").headers["Location"] == "/sign-in"
    thief = app.test_client()
    thief.set_cookie("session", kept.value)
    assert thief.get("/people").status_code == 302


@pytest.mark.parametrize("path", ["/sign-in", "/sign-out", "/language", "/people", "/stations/pair", "/me", "/tokens"])
def test_a_form_without_the_sessions_secret_changes_nothing(client: FlaskClient, path: str) -> None:
    enter(client)
    for given in ({}, {"csrf_token": "guessed"}):
        assert client.post(path, data={"name": "Eve", "role": "admin", **given}).status_code == 403
    assert "Eve" not in client.get("/people").text


def test_a_call_by_session_needs_the_header_and_the_role(client: FlaskClient) -> None:
    enter(client, Role.PACKER)
    assert client.get("/api/v1/jobs").status_code == 401
    header = {"X-CSRF-Token": proof(client, "/me")}
    assert client.get("/api/v1/jobs", headers=header).status_code == 200
    assert client.post("/api/v1/jobs/J-1/hold", headers=header).status_code == 403


def test_wrong_guesses_say_nothing_about_names_and_make_one_wait(client: FlaskClient) -> None:
    said = []
    for name in ("Ada", "Nobody"):
        wrong = send(client, "/sign-in", name=name, password=WRONG)
        assert wrong.status_code == 401
        said.append(re.findall(r'role="alert">(.*?)</p>', wrong.text))
    assert said[0] == said[1] != []
    for _guess in range(4):
        send(client, "/sign-in", name="Ada", password=WRONG)
    waits = enter(client)
    assert waits.status_code == 429
    assert 0 < int(waits.headers["Retry-After"]) <= 900
    assert f"{waits.headers['Retry-After']} seconds" in waits.text
    assert enter(client, Role.FOREMAN).status_code == 302


def test_every_answer_carries_a_strict_policy(client: FlaskClient) -> None:
    for path in ("/sign-in", "/static/frame/shop.css", "/api/v1/docs", "/nowhere"):
        with client.get(path) as answer:
            headers = answer.headers
        policy = headers["Content-Security-Policy"]
        assert "default-src 'self'" in policy
        assert "unsafe" not in policy
        assert "frame-ancestors 'none'" in policy
        assert "camera=(self)" in headers["Permissions-Policy"]


def test_a_badge_at_a_paired_tablet_signs_its_scans_and_nobody_elses(app: Flask, client: FlaskClient) -> None:
    enter(client, Role.FOREMAN)
    shown = send(client, "/stations/pair", station="CUT-1")
    assert shown.headers["Cache-Control"] == "no-store"
    found = re.search(r'class="once">([A-Z2-9 ]{9})<', shown.text)
    assert found is not None
    tablet = app.test_client()
    paired = send(tablet, "/sign-in", pairing=found.group(1).lower())
    assert paired.headers["Location"] == "/station"
    assert tablet.get("/station").headers["Location"] == "/station/CUT-1"
    header = {"X-CSRF-Token": proof(tablet, "/station/CUT-1")}
    code = make_badge(app.extensions["shop_database"], 1, now=START)
    assert tablet.post("/station/badge", json={"code": code}, headers=header).json == {"name": "Pia"}
    assert ">Pia<" in tablet.get("/station/CUT-1").text
    unknown = tablet.post("/station/badge", json={"code": "W000000991A"}, headers=header)
    assert unknown.status_code == 404
    assert app.test_client().post("/station/badge", json={"code": code}).status_code == 302
    again = send(app.test_client(), "/sign-in", pairing=found.group(1))
    assert again.status_code == 401


def test_a_tablet_that_was_withdrawn_is_signed_out(app: Flask, client: FlaskClient) -> None:
    enter(client, Role.FOREMAN)
    found = re.search(r'class="once">([A-Z2-9 ]{9})<', send(client, "/stations/pair", station="CUT-1").text)
    assert found is not None
    tablet = app.test_client()
    send(tablet, "/sign-in", pairing=found.group(1))
    assert tablet.get("/station/CUT-1").status_code == 200
    number = re.search(r"/stations/tablets/(\d+)/withdraw", client.get("/stations").text)
    assert number is not None
    assert send(client, number.group(0)).status_code == 302
    assert tablet.get("/station/CUT-1").status_code == 302
    assert send(client, number.group(0)).status_code == 404


def test_an_admin_adds_changes_and_withdraws_people(app: Flask, client: FlaskClient) -> None:
    enter(client)
    short = send(client, "/people", name="Olga", role="office", password=SHORT)
    assert short.status_code == 422
    assert 'value="Olga"' in short.text  # what was typed stays
    assert '<option value="office" selected>' in short.text
    assert send(client, "/people", name=" ", role="office", password=PASSWORD).status_code == 422
    assert send(client, "/people", name="Olga", role="boss", password=PASSWORD).status_code == 422
    added = send(client, "/people", name="Olga", role="office", password=PASSWORD)
    assert added.location == "/people?added=4"
    assert "Make a badge for Olga" in client.get(added.location).text
    assert send(client, "/people", name="Olga", role="office", password=PASSWORD).status_code == 409
    olga = app.test_client()
    send(olga, "/sign-in", name="Olga", password=PASSWORD)
    assert olga.get("/people").status_code == 403
    assert send(client, "/people/4/role", role="admin").status_code == 302
    assert olga.get("/people").status_code == 200
    made = send(client, "/people/4/badge")
    assert made.status_code == 303  # a page that is loaded anew makes no other badge
    shown = [client.get(made.location).text for _ in range(2)]
    assert "The new badge of Olga" in shown[0]
    codes = [re.search(r"new badge of Olga</strong>\s+<code>(\w+)", page) for page in shown]
    assert codes[0] is not None
    assert codes[1] is not None
    assert codes[0].group(1) == codes[1].group(1)
    assert "Yes, withdraw Olga" in shown[0]  # asked before it is done
    assert client.get("/people/4/badge.pdf").data.startswith(b"%PDF")
    send(client, "/people/4/badge/withdraw")
    assert client.get("/people/4/badge.pdf").status_code == 404
    assert send(client, "/people/3/withdraw").status_code == 409  # oneself
    assert send(client, "/people/4/withdraw").status_code == 302
    assert olga.get("/people").status_code == 302
    assert send(client, "/people/3/role", role="packer").status_code == 409  # the last admin
    assert send(client, "/people/99/role", role="packer").status_code == 404


def test_stations_and_tokens_are_made_in_the_office(app: Flask, client: FlaskClient) -> None:
    enter(client)
    assert send(client, "/stations", name="CUT-2", step="cut", strict="1").status_code == 302
    assert send(client, "/stations", name="CUT-2", step="cut").status_code == 409
    assert send(client, "/stations", name="CUT-3", step="paint").status_code == 422
    made = send(client, "/tokens", name="a report", role="office", station="")
    plain = re.search(r'class="once">([^<]+)<', made.text)
    assert plain is not None
    assert made.headers["Cache-Control"] == "no-store"
    assert plain.group(1) not in client.get("/tokens").text
    program = {"Authorization": f"Bearer {plain.group(1)}"}
    assert app.test_client().get("/api/v1/jobs", headers=program).status_code == 200
    number = re.search(r"/tokens/(\d+)/withdraw", client.get("/tokens").text)
    assert number is not None
    assert send(client, number.group(0)).status_code == 302
    assert send(client, number.group(0)).status_code == 404
    code = make_pairing(app.extensions["shop_database"], "CUT-1", now=datetime.now(UTC))
    send(app.test_client(), "/sign-in", pairing=code)
    send(client, "/language", language="es")
    assert ">tableta de CUT-1<" in client.get("/tokens").text
    send(client, "/language", language="en")
    enter(client, Role.FOREMAN)
    assert client.get("/stations").status_code == 200
    assert client.get("/tokens").status_code == 403


def test_people_choose_their_language_and_units_and_keep_them_on_another_device(
    app: Flask, client: FlaskClient
) -> None:
    enter(client)
    assert '<html lang="en">' in client.get("/me").text
    assert send(client, "/me", language="es", units="in").status_code == 302
    other = app.test_client()
    assert '<html lang="en">' in other.get("/sign-in").text
    enter(other)
    assert '<html lang="es">' in other.get("/me").text
    send(other, "/language", language="en", back="/people")
    assert '<html lang="en">' in client.get("/me").text
    set_choices(app.extensions["shop_database"], 3, language=None, units=None)


def test_before_signing_in_the_language_is_the_browsers_or_the_chosen_one(client: FlaskClient) -> None:
    spanish = {"Accept-Language": "es-MX,es;q=0.9,en;q=0.5"}
    assert '<html lang="es">' in client.get("/sign-in", headers=spanish).text
    chosen = send(client, "/language", language="en", back="/sign-in")
    assert chosen.headers["Location"] == "/sign-in"
    assert '<html lang="en">' in client.get("/sign-in", headers=spanish).text
    assert send(client, "/language", language="en", back="//example.org").headers["Location"] == "/sign-in"


def test_errors_are_said_in_the_readers_language(client: FlaskClient) -> None:
    enter(client, Role.PACKER)
    send(client, "/language", language="es")
    assert "Esta página no existe" in client.get("/nowhere").text
    assert "Esta página necesita la función admin" in client.get("/people").text
    assert "Esta página es demasiado antigua" in client.post("/me").text


def test_too_many_wrong_old_passwords_say_how_long_to_wait(client: FlaskClient) -> None:
    enter(client)
    answers = [send(client, "/me/password", old=WRONG, new=OTHER) for _ in range(6)]
    assert answers[-1].status_code == 429
    assert 0 < int(answers[-1].headers["Retry-After"]) <= 900


def test_a_badge_that_must_wait_is_refused_for_good_so_that_the_scans_behind_it_go_on(
    app: Flask, client: FlaskClient
) -> None:
    database, today = app.extensions["shop_database"], datetime.now(UTC)
    send(client, "/sign-in", pairing=make_pairing(database, "CUT-1", now=today))
    header = {"X-CSRF-Token": proof(client, "/station/CUT-1")}
    answers = [client.post("/station/badge", json={"code": "W000000991A"}, headers=header) for _ in range(32)]
    assert answers[0].status_code == 404
    assert answers[-1].status_code == 403
    assert "Wait" in answers[-1].get_json()["detail"]
    assert 0 < int(answers[-1].headers["Retry-After"]) <= 900


def test_a_badge_where_somebody_signed_in_by_name_says_whose_the_scans_are(app: Flask, client: FlaskClient) -> None:
    database, today = app.extensions["shop_database"], datetime.now(UTC)
    enter(client, Role.FOREMAN)
    with database.read() as connection:
        codes = {each.name: make_badge(database, each.id, now=today) for each in list_people(connection)}
    own = NAMES[Role.FOREMAN]
    other = next(code for name, code in codes.items() if name != own)
    header = {"X-CSRF-Token": proof(client, "/station/CUT-1")}

    def answer(code: str) -> tuple[int, str]:
        told: Any = client.post("/station/badge", json={"code": code}, headers=header)
        return told.status_code, told.json.get("name") or told.json["detail"]

    assert answer(codes[own]) == (200, own)
    assert answer(other) == (409, f"This screen is signed in as {own}: what is scanned here is theirs. Sign out first.")
    assert answer("W000000991A") == (404, "Nobody is known by this badge. Ask the office for a new one.")
    assert f">{own}<" in client.get("/station/CUT-1").text


def test_at_a_tablet_the_language_switch_works_for_a_worker_who_chose_another(app: Flask, client: FlaskClient) -> None:
    database, today = app.extensions["shop_database"], datetime.now(UTC)
    set_choices(database, 1, language="es", units=None)
    send(client, "/sign-in", pairing=make_pairing(database, "CUT-1", now=today))
    header = {"X-CSRF-Token": proof(client, "/station/CUT-1")}
    client.post("/station/badge", json={"code": make_badge(database, 1, now=today)}, headers=header)
    assert '<html lang="es">' in client.get("/station/CUT-1").text
    send(client, "/language", language="en", back="/station/CUT-1")
    assert '<html lang="en">' in client.get("/station/CUT-1").text


def test_ones_own_password_needs_the_old_one_and_ends_ones_other_sessions(app: Flask, client: FlaskClient) -> None:
    enter(client)
    other = app.test_client()
    enter(other)
    assert send(client, "/me/password", old="wrong", new=OTHER).status_code == 422
    assert send(client, "/me/password", old=PASSWORD, new="short").status_code == 422
    assert send(client, "/me/password", old=PASSWORD, new=OTHER).status_code == 302
    assert client.get("/me").status_code == 200
    assert other.get("/me").status_code == 302
    assert send(other, "/sign-in", name="Ada", password=OTHER).status_code == 302


# In a browser


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The address of a service with three people."""
    app = _shop(tmp_path_factory.mktemp("people"))
    server = Server(app, host="127.0.0.1", port=0)
    thread = threading.Thread(target=server.run)
    thread.start()
    yield server.address
    server.stop()
    thread.join()
    app.extensions["shop_database"].close()


def sign_in_as(page: Page, place: str, name: str) -> None:
    page.goto(f"{place}/sign-in")
    page.get_by_label("Your name").fill(name)
    page.get_by_label("Your password").fill(PASSWORD)
    page.keyboard.press("Enter")
    page.wait_for_url(lambda url: "sign-in" not in url)


def test_a_foreman_pairs_a_tablet_which_then_is_its_station(page: Page, browser: Browser, place: str) -> None:
    sign_in_as(page, place, "Finn")
    page.locator(".menu > summary").click()
    page.get_by_role("link", name="Stations and tablets").click()
    page.get_by_role("button", name="Pair a tablet with CUT-1").click()
    code = page.locator(".once").inner_text()
    context = browser.new_context(viewport={"width": 1024, "height": 768})
    tablet = context.new_page()
    tablet.goto(place)
    tablet.get_by_text("This is a station's tablet").click()
    tablet.get_by_label("The code from the foreman").fill(code)
    tablet.get_by_role("button", name="Pair this tablet").click()
    tablet.wait_for_url(f"{place}/station/CUT-1")
    context.close()


def test_a_page_that_asks_for_news_says_that_its_session_ended(browser: Browser, place: str) -> None:
    context = browser.new_context()
    looks = context.new_page()
    sign_in_as(looks, place, "Pia")
    looks.goto(f"{place}/")
    looks.evaluate(
        """() => fetch("/sign-out", {method: "POST", redirect: "manual", headers: {
        "X-CSRF-Token": document.querySelector('meta[name="csrf-token"]').content}})"""
    )
    looks.wait_for_url(lambda url: "sign-in" in url)
    assert looks.get_by_text("Your session has ended").count() == 1
    context.close()


def test_the_page_to_sign_in_is_readable_at_every_size(page: Page, place: str, shots: Path | None) -> None:
    page.goto(f"{place}/sign-in")
    readable(page, shots, "sign-in")


def test_the_late_answer_to_a_script_does_not_put_back_a_session_that_another_has_followed(client: FlaskClient) -> None:
    enter(client)
    for path, kind in (("/board/rows", "application/json"), ("/static/frame/call.js", "*/*")):
        with client.get(path, headers={"Accept": kind}) as answer:
            assert (answer.status_code, answer.headers.get("Set-Cookie")) == (200, None)
    opened = client.get("/", headers={"Accept": "text/html,application/xml;q=0.9,*/*;q=0.8"})
    assert "Max-Age" in opened.headers["Set-Cookie"] or "Expires" in opened.headers["Set-Cookie"]


def test_a_wrong_code_or_token_leaves_its_form_open_and_what_was_typed_in_it(client: FlaskClient) -> None:
    shown = send(client, "/sign-in", pairing="ABCD EFGH").text
    assert re.search(r'<details class="other-way" open>\s*<summary>This is a station', shown)
    assert 'value="ABCD EFGH"' in shown
    shown = send(client, "/sign-in", token="no token at all").text  # noqa: S106
    assert re.search(r'<details class="other-way" open>\s*<summary>I have a token', shown)
    assert "no token at all" not in shown
