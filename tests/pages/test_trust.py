"""The page by which a tablet comes to trust the service, and what a browser does once it does."""

import base64
import hashlib
import ssl
import threading
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat
from cryptography.x509 import load_pem_x509_certificate
from flask import Flask
from flask.testing import FlaskClient
from playwright.sync_api import Browser, Page, expect

from tests.pages.conftest import chromium
from tests.pages.looking import readable, sign_in_by_form
from tests.pages.scanning import Scanner
from tests.pages.stoppable_shop import StoppableShop, wait_until_kept
from tests.shops import app_of, sqlite_shop
from tests.waiting import HANGS_AFTER_S
from tracker.https import Certificate
from tracker.pages.frame.trust import PLAIN_PATHS
from tracker.records.database import Database
from tracker.server import Server
from tracker.settings import Settings
from tracker.shop.codes import part_code
from tracker.shop.roles import Role
from tracker.work.certificates import Made, make_certificate

NAME = "shop-server.lan"


class HttpsShop(StoppableShop):
    """A shop that is reached by https at a name."""

    def __init__(self, folder: Path, made: Made) -> None:
        super().__init__(folder)
        self.made = made
        self.address = f"https://{NAME}:{self.port}"

    def start(self) -> None:
        self._server = Server(
            app_of(settings_of(self.folder, self.database, self.made), self.database),
            host="127.0.0.1",
            port=self.port,
            certificate=Certificate(self.made.certificate, self.made.key),
            plain_paths=PLAIN_PATHS,
        )
        self._thread = threading.Thread(target=self._server.run)
        self._thread.start()


def settings_of(folder: Path, database: Database, made: Made | None = None) -> Settings:
    known = Settings(data_dir=folder, database_url=str(database.url), secret_key="for tests")  # noqa: S106
    return known if made is None else replace(known, certificate=made.certificate, certificate_key=made.key)


def made_in(folder: Path) -> Made:
    return make_certificate(folder / "tls", [NAME, "127.0.0.1"], now=datetime.now(UTC))


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[HttpsShop]:
    running = HttpsShop(tmp_path, made_in(tmp_path))
    running.start()
    yield running
    running.stop()
    running.database.close()


@contextmanager
def app_in(folder: Path, *, made: Made | None = None) -> Iterator[Flask]:
    database = sqlite_shop(folder / "shop.db")
    yield app_of(settings_of(folder, database, made), database)
    database.close()


def text_of(client: FlaskClient, by: str = "http") -> str:
    return client.get("/trust", base_url=f"{by}://shop-server:8443").get_data(as_text=True)


def test_the_authority_is_given_as_one_and_its_key_never(tmp_path: Path) -> None:
    made = made_in(tmp_path)
    with app_in(tmp_path, made=made) as app:
        answer = app.test_client().get("/trust/authority.crt")
        assert answer.mimetype == "application/x-x509-ca-cert"
        assert answer.data == made.authority.read_bytes()
        assert ssl.PEM_cert_to_DER_cert(answer.text)
        assert b"PRIVATE" not in answer.data
        for wrong in ("authority.key", "server.key", "..%2ftls%2fauthority.key"):
            assert app.test_client().get(f"/trust/{wrong}").status_code == 404


def test_the_page_says_what_this_service_lacks(tmp_path: Path) -> None:
    with app_in(tmp_path) as app:
        assert "does not speak https yet" in text_of(app.test_client())
        assert "Download" not in text_of(app.test_client())
        assert app.test_client().get("/trust/authority.crt").status_code == 404
    made = made_in(tmp_path / "elsewhere")
    with app_in(tmp_path, made=made) as app:
        text = text_of(app.test_client())
        assert "not from an authority of the shop" in text
        assert "https://shop-server:8443/" in text
        assert "You came by https" in text_of(app.test_client(), "https")
    made = made_in(tmp_path)
    with app_in(tmp_path) as app:
        text = text_of(app.test_client())
        assert "does not speak https yet" in text
        assert "Download" in text


def test_the_page_comes_by_plain_http_with_its_style_and_without_a_form(page: Page, shop: HttpsShop) -> None:
    page.goto(f"http://127.0.0.1:{shop.port}/trust")
    shown = page.locator(".fingerprint").inner_text()
    assert shown == shop.made.fingerprint
    assert page.locator("form").count() == 0
    assert page.get_by_role("link", name="Download").evaluate("link => getComputedStyle(link).display") == "inline-flex"


@pytest.mark.parametrize("language", ["en", "es"])
def test_the_page_is_readable_at_every_size(
    browser: Browser, shop: HttpsShop, language: str, shots: Path | None
) -> None:
    page = browser.new_page(locale=language)
    page.goto(f"http://127.0.0.1:{shop.port}/trust")
    page.locator("summary").first.click()
    readable(page, shots, f"trust-{language}")
    page.close()


def test_a_station_that_reaches_the_shop_by_https_at_a_name_scans_on_after_a_reload_without_the_server(
    browser: Browser, shop: HttpsShop
) -> None:
    trusting = browser.browser_type.launch(
        executable_path=chromium(),
        args=[
            *("--no-sandbox", "--disable-gpu", "--disable-background-networking"),
            f"--host-resolver-rules=MAP {NAME} 127.0.0.1",
            f"--ignore-certificate-errors-spki-list={_pin(shop.made)}",
        ],
    )
    context = trusting.new_context(viewport={"width": 1024, "height": 768})
    page = context.new_page()
    sign_in_by_form(page, shop.address, Role.FOREMAN.value)
    page.goto(f"{shop.address}/station/CUT-1")
    assert page.evaluate("window.isSecureContext")
    cookies = context.cookies()
    assert [each["secure"] for each in cookies] == [True] * len(cookies) != []
    wait_until_kept(page)
    shop.stop()
    page.reload()
    Scanner(page).pull(part_code(1))
    expect(page.locator("#unsent-says")).to_contain_text("Not yet sent: 1,")
    shop.start()
    expect(page.locator("#unsent")).to_be_hidden()
    assert shop.scans() == [part_code(1)]
    trusting.close()


def test_a_program_that_trusts_the_authority_of_the_page_reaches_the_service(shop: HttpsShop) -> None:
    plain = f"http://127.0.0.1:{shop.port}/trust/authority.crt"
    with urllib.request.urlopen(plain, timeout=HANGS_AFTER_S) as answer:
        context = ssl.create_default_context(cadata=answer.read().decode())
    safe = f"https://127.0.0.1:{shop.port}/healthz"
    with urllib.request.urlopen(safe, context=context, timeout=HANGS_AFTER_S) as answer:
        assert answer.status == 200


def _pin(made: Made) -> str:
    key = load_pem_x509_certificate(made.certificate.read_bytes()).public_key()
    written = key.public_bytes(Encoding.DER, PublicFormat.SubjectPublicKeyInfo)
    return base64.b64encode(hashlib.sha256(written).digest()).decode()
