"""The service speaks HTTPS: real handshakes, judged by ssl's default context that trusts the shop's authority alone."""

import contextlib
import http.client
import json
import os
import signal
import socket
import ssl
import subprocess
import sys
import threading
import time
import urllib.request
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from cryptography.hazmat.primitives.serialization import (
    BestAvailableEncryption,
    Encoding,
    PrivateFormat,
    load_pem_private_key,
)
from flask import Flask, request

import scanner_client.sender
from scanner_client.plan import Heard
from tests.waiting import HANGS_AFTER_S, until
from tracker.cli import main
from tracker.https import Certificate, certificate_of
from tracker.server import Server
from tracker.shop.errors import InvalidInputError
from tracker.work.certificates import Made, make_certificate

WAIT_S = HANGS_AFTER_S
BIG = 3_000_000


def certified(folder: Path, *names: str, now: datetime | None = None) -> Made:
    return make_certificate(folder / "tls", names or ("127.0.0.1", "localhost"), now=now or datetime.now(UTC))


def trusting(made: Made) -> ssl.SSLContext:
    return ssl.create_default_context(cafile=made.authority)


def echo_app() -> Flask:
    app = Flask("echo")

    @app.post("/api/v1/plans/echo")
    def echo() -> bytes:
        return request.get_data()

    @app.get("/")
    def who() -> dict[str, Any]:
        return {"secure": request.is_secure, "address": request.remote_addr, "url": request.url}

    @app.get("/trust")
    def trust() -> str:
        return "trust page"

    @app.get("/big")
    def big() -> bytes:
        return b"x" * BIG

    return app


@contextmanager
def serving(app: Flask, made: Made) -> Iterator[Server]:
    certificate = Certificate(made.certificate, made.key)
    server = Server(app, host="127.0.0.1", port=0, certificate=certificate, plain_paths=("/trust",))
    thread = threading.Thread(target=server.run)
    thread.start()
    try:
        yield server
    finally:
        server.stop()
        thread.join()


@pytest.fixture
def made(tmp_path: Path) -> Made:
    return certified(tmp_path)


@pytest.fixture
def server(made: Made) -> Iterator[Server]:
    with serving(echo_app(), made) as running:
        yield running


def port_of(server: Server) -> int:
    return int(server.address.rpartition(":")[2])


def ask(server: Server, context: ssl.SSLContext, path: str = "/", body: bytes | None = None) -> bytes:
    with urllib.request.urlopen(server.address + path, data=body, context=context, timeout=WAIT_S) as response:
        return bytes(response.read())


# Handshakes


def test_who_trusts_the_shop_s_authority_alone_is_served_by_https(server: Server, made: Made) -> None:
    assert server.address.startswith("https://")
    heard = json.loads(ask(server, trusting(made)))
    assert heard == {"secure": True, "address": "127.0.0.1", "url": f"{server.address}/"}


def test_who_does_not_trust_it_is_not_served(server: Server) -> None:
    with pytest.raises(urllib.error.URLError, match="CERTIFICATE_VERIFY_FAILED"):
        ask(server, ssl.create_default_context())


def test_a_name_that_the_certificate_is_not_for_is_refused(tmp_path: Path) -> None:
    made = certified(tmp_path, "shop-server")
    with serving(echo_app(), made) as server, pytest.raises(urllib.error.URLError, match="IP address mismatch"):
        ask(server, trusting(made))


def test_a_certificate_that_has_ended_is_refused_and_told_at_the_start(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    made = certified(tmp_path, now=datetime.now(UTC) - timedelta(days=398))
    with serving(echo_app(), made) as server, pytest.raises(urllib.error.URLError, match="certificate has expired"):
        ask(server, trusting(made))
    assert "the certificate ends on" in caplog.text


@pytest.mark.filterwarnings("ignore:.*TLSv1:DeprecationWarning")
@pytest.mark.parametrize(
    ("version", "taken"),
    [("TLSv1", False), ("TLSv1_1", False), ("TLSv1_2", True), ("TLSv1_3", True)],
)
def test_tls_before_1_2_is_refused(server: Server, made: Made, version: str, taken: bool) -> None:
    context = trusting(made)
    context.set_ciphers("ALL:@SECLEVEL=0")  # or OpenSSL itself would not offer the old ones
    context.minimum_version = context.maximum_version = ssl.TLSVersion[version]
    if taken:
        assert ask(server, context)
        return
    with pytest.raises(urllib.error.URLError, match="TLSV1_ALERT_PROTOCOL_VERSION"):
        ask(server, context)


# Requests


def test_bodies_and_answers_of_all_sizes_come_whole_over_one_kept_connection(server: Server, made: Made) -> None:
    connection = http.client.HTTPSConnection("127.0.0.1", port_of(server), context=trusting(made), timeout=WAIT_S)
    for size in (0, 1, 8_191, 8_192, 16_384, 16_385, 100_000, BIG):
        body = os.urandom(size)
        connection.request("POST", "/api/v1/plans/echo", body)
        assert connection.getresponse().read() == body
    connection.close()


def test_clients_at_once_each_get_their_own_answers(server: Server, made: Made) -> None:
    def talk(number: int) -> bool:
        context = trusting(made)
        bodies = [bytes([number]) * (1 + number * 997 * turn) for turn in range(10)]
        return all(ask(server, context, "/api/v1/plans/echo", body) == body for body in bodies)

    with ThreadPoolExecutor(16) as clients:
        assert all(clients.map(talk, range(16)))


def test_a_client_that_reads_slowly_gets_all_of_a_big_answer(server: Server, made: Made) -> None:
    with _greeted(server, made) as client:
        client.sendall(b"GET /big HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n")
        heard = 0
        while piece := client.recv(65_536):
            heard += len(piece)
            time.sleep(0.005)
    assert heard > BIG


def test_requests_that_come_in_crumbs_and_in_one_piece_are_answered_in_order(server: Server, made: Made) -> None:
    with _greeted(server, made) as client:
        text = b"POST /api/v1/plans/echo HTTP/1.1\r\nHost: localhost\r\nContent-Length: 3\r\n\r\n"
        for byte in text + b"one":
            client.sendall(bytes([byte]))
        client.sendall(text + b"two" + text.replace(b"Host", b"Connection: close\r\nHost") + b"six")
        answers = b"".join(iter(lambda: client.recv(65_536), b""))
    assert [part[:3] for part in answers.split(b"\r\n\r\n")[1:]] == [b"one", b"two", b"six"]


def test_an_end_is_told_and_not_a_cut(server: Server, made: Made) -> None:
    # Without TLS's own goodbye (RFC 8446, 6.1) ssl would raise here: it is told not to overlook its absence.
    context = trusting(made)
    with socket.create_connection(("127.0.0.1", port_of(server)), timeout=WAIT_S) as plain:
        client = context.wrap_socket(plain, server_hostname="localhost", suppress_ragged_eofs=False)
        client.sendall(b"GET / HTTP/1.0\r\n\r\n")
        assert b"".join(iter(lambda: client.recv(65_536), b"")).startswith(b"HTTP/1.0 200")
        client.close()


@contextmanager
def _greeted(server: Server, made: Made) -> Iterator[ssl.SSLSocket]:
    with (
        socket.create_connection(("127.0.0.1", port_of(server)), timeout=WAIT_S) as plain,
        trusting(made).wrap_socket(plain, server_hostname="localhost") as client,
    ):
        yield client


# Who wastes the service's time


@pytest.mark.parametrize("said", [b"", b"\x16\x03\x01", b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03" + bytes(200)])
def test_clients_that_fall_silent_in_mid_greeting_hold_up_nobody(server: Server, made: Made, said: bytes) -> None:
    with contextlib.ExitStack() as silent:
        for _number in range(50):
            client = silent.enter_context(socket.create_connection(("127.0.0.1", port_of(server)), timeout=WAIT_S))
            client.sendall(said)
        assert ask(server, trusting(made))  # while all of them are still silent


def test_what_is_no_tls_is_cut_off_and_the_next_is_served(server: Server, made: Made) -> None:
    for said in (b"\x16\x03\x01\x00\x05hello", b"\x16" * 20_000, b"\x00" * 20, b"\x80\x2e\x01\x00\x02"):
        with socket.create_connection(("127.0.0.1", port_of(server)), timeout=WAIT_S) as client:
            client.sendall(said)
            with contextlib.suppress(OSError):  # the service may have cut it off already
                client.shutdown(socket.SHUT_WR)
            with contextlib.suppress(ConnectionResetError):
                while client.recv(65_536):
                    pass
    with _greeted(server, made) as client:
        client.sendall(b"GET / HTTP/1.1\r\n")  # and goes away in mid-request
    assert ask(server, trusting(made))


# Plain http on the same port


def plain(server: Server, verb: str, path: str, **headers: str) -> tuple[int, str, bytes]:
    connection = http.client.HTTPConnection("127.0.0.1", port_of(server), timeout=WAIT_S)
    connection.request(verb, path, b"{}" if verb == "POST" else None, headers)
    response = connection.getresponse()
    heard = response.status, response.headers.get("Location", ""), response.read()
    connection.close()
    return heard


def test_a_browser_that_comes_by_plain_http_is_led_to_https(server: Server) -> None:
    host = f"shop-server:{port_of(server)}"
    assert plain(server, "GET", "/jobs/J%2F1?a=b", Host=host)[:2] == (307, f"https://{host}/jobs/J%2F1?a=b")
    assert plain(server, "HEAD", "/", Host=host)[0] == 307


def test_the_page_of_trust_is_served_by_plain_http(server: Server) -> None:
    assert plain(server, "GET", "/trust") == (200, "", b"trust page")


@pytest.mark.parametrize(
    ("verb", "path"), [("POST", "/api/v1/plans/echo"), ("POST", "/trust"), ("GET", "/api/v1/jobs")]
)
def test_nothing_that_came_by_plain_http_is_acted_upon_and_a_call_is_told_where_to_ask(
    server: Server, verb: str, path: str
) -> None:
    status, where, body = plain(server, verb, path)
    assert (status, where) == (400, "")
    assert json.loads(body)["detail"].endswith(f"Use https://127.0.0.1:{port_of(server)}{path} instead.")


# Renewal


def test_a_renewed_certificate_is_taken_without_a_stop_and_half_of_one_is_not(
    server: Server, made: Made, tmp_path: Path
) -> None:
    first = _shown(server, made)
    connection = http.client.HTTPSConnection("127.0.0.1", port_of(server), context=trusting(made), timeout=WAIT_S)
    connection.request("GET", "/")
    connection.getresponse().read()
    key = made.key.read_bytes()
    made.key.write_bytes(b"half of a k")
    time.sleep(1.1)
    assert _shown(server, made) == first
    made.key.write_bytes(key)
    certified(tmp_path, "127.0.0.1", "localhost", "10.0.0.7")
    until(lambda: _shown(server, made) != first)
    connection.request("GET", "/")  # a connection from before goes on
    assert connection.getresponse().status == 200
    connection.close()


def _shown(server: Server, made: Made) -> bytes | None:
    with _greeted(server, made) as client:
        return client.getpeercert(binary_form=True)


def test_files_that_are_no_certificate_and_key_are_an_answer(tmp_path: Path, made: Made) -> None:
    (tmp_path / "spoilt").write_text("no certificate")
    (tmp_path / "other").mkdir()
    other = certified(tmp_path / "other")
    locked = tmp_path / "locked.key"
    key_of = load_pem_private_key(made.key.read_bytes(), password=None)
    locked.write_bytes(key_of.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, BestAvailableEncryption(b"secret")))
    for key in (tmp_path / "spoilt", tmp_path / "absent", other.key, locked):
        with pytest.raises(InvalidInputError, match="cannot be used"):
            Certificate(made.certificate, key)
    with pytest.raises(InvalidInputError, match="--key FILE"):
        certificate_of(made.certificate, None)
    assert certificate_of(None, None) is None


# The commands


def test_the_command_makes_a_certificate_says_what_to_do_next_and_renews(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TRACKER_DATA_DIR", str(tmp_path))
    run = CliRunner().invoke
    assert run(main, ["tls"]).exit_code == 1
    first = run(main, ["tls", "shop-server", "192.168.1.20"])
    assert first.exit_code == 0
    assert "https://shop-server:8443/trust" in first.output
    assert f'--certificate "{tmp_path / "tls" / "server.crt"}"' in first.output
    again = json.loads(run(main, ["tls", "--json"]).stdout)
    assert (again["names"], again["authority_is_new"]) == (["shop-server", "192.168.1.20"], False)
    assert again["fingerprint"] in first.output
    told = run(main, ["tls", "office.example"])
    assert (told.exit_code, "name office.example" in told.output) == (1, True)


@contextmanager
def command(folder: Path, *arguments: str, **environment: str) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """Run ``tracker serve`` and yield it with the address that it says."""
    serve = [sys.executable, "-c", "from tracker.cli import main; main()", "serve", "--port", "0", *arguments]
    known = {**os.environ, "TRACKER_DATA_DIR": str(folder), "TRACKER_DATABASE_URL": "", **environment}
    with subprocess.Popen(serve, env=known, stderr=subprocess.PIPE, text=True) as process:
        assert process.stderr is not None
        told = next(line for line in process.stderr if line.startswith("Serving on"))
        drained = threading.Thread(target=process.stderr.read)
        drained.start()
        try:
            yield process, told.split()[2]
        finally:
            process.kill()
            process.wait()
            drained.join()


@pytest.mark.skipif(sys.platform == "win32", reason="Windows ends a process without a word")
def test_a_sigterm_in_mid_request_finishes_it(tmp_path: Path) -> None:
    made = certified(tmp_path)
    given = {"TRACKER_CERTIFICATE": str(made.certificate), "TRACKER_KEY": str(made.key)}
    with command(tmp_path, **given) as (process, address):
        port = int(address.rpartition(":")[2])
        raw = socket.create_connection(("127.0.0.1", port), timeout=WAIT_S)
        client = trusting(made).wrap_socket(raw, server_hostname="localhost")
        client.sendall(b"GET /sign-in HTTP/1.1\r\nHost: localhost\r\n\r\n" * 50)
        client.recv(1)  # of the first answer; the others are made one after the other
        process.send_signal(signal.SIGTERM)
        heard = b"H" + b"".join(iter(lambda: client.recv(65_536), b""))
        client.close()
        assert heard.count(b"HTTP/1.1 200 OK") == 50
        assert process.wait(WAIT_S) == 0


def test_a_station_program_reaches_it_by_the_authority_and_learns_that_plain_http_is_not_taken(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = certified(tmp_path)
    given = {"TRACKER_CERTIFICATE": str(made.certificate), "TRACKER_KEY": str(made.key)}
    with command(tmp_path, **given) as (_process, address):
        strange = scanner_client.sender.Server(address, "token").send([])
        assert (strange.heard, "CERTIFICATE_VERIFY_FAILED" in strange.why) == (Heard.AWAY, True)
        plain_http = scanner_client.sender.Server(address.replace("https", "http"), "token").send([])
        assert (plain_http.heard, "Use https://" in plain_http.why) == (Heard.AWAY, True)
        monkeypatch.setenv("SSL_CERT_FILE", str(made.authority))
        assert scanner_client.sender.Server(address, "token").send([]).heard is Heard.TOKEN_NOT_ACCEPTED


def test_serve_takes_a_certificate_and_marks_the_session_s_cookie_secure_without_hsts(tmp_path: Path) -> None:
    made = certified(tmp_path)
    given = ["--certificate", str(made.certificate), "--key", str(made.key)]
    with command(tmp_path, *given) as (_process, address):
        with urllib.request.urlopen(f"{address}/sign-in", context=trusting(made), timeout=WAIT_S) as page:
            cookie = page.headers["Set-Cookie"]
            assert "Strict-Transport-Security" not in page.headers
        assert "Secure;" in cookie
        with urllib.request.urlopen(address.replace("https", "http") + "/trust", timeout=WAIT_S) as page:
            assert made.fingerprint.split(":")[0] in page.read().decode()
