"""A connection: bodies are bounded before the app is asked, and an answer without a body ends no connection."""

import http.client
import json
import socket
import ssl
import threading
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from flask import Flask, Response, request

from tracker.app import create_app
from tracker.https import Certificate
from tracker.records.database import Database
from tracker.server import Server
from tracker.settings import Settings
from tracker.web.bodies import SMALL
from tracker.work.certificates import make_certificate

WAIT_S = 20
Connect = Callable[[], socket.socket]


def bare_app() -> Flask:
    app = Flask("bare")

    @app.get("/304")
    @app.get("/204")
    def without_a_body() -> Response:
        return Response(status=int(request.path[1:]))

    @app.route("/read", methods=["GET", "POST"])
    def read() -> dict[str, Any]:
        return {"said": request.content_length, "kept": len(request.stream.read())}

    return app


@contextmanager
def serving(app: Flask, certificate: Certificate | None = None) -> Iterator[tuple[str, int]]:
    server = Server(app, host="127.0.0.1", port=0, threads=2, certificate=certificate)
    thread = threading.Thread(target=server.run)
    thread.start()
    try:
        yield "127.0.0.1", int(server.address.rsplit(":", 1)[1])
    finally:
        server.stop()
        thread.join(timeout=WAIT_S)


@pytest.fixture(params=["http", "https"])
def connect(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Connect]:
    if request.param == "http":
        with serving(bare_app()) as address:
            yield lambda: socket.create_connection(address, timeout=WAIT_S)
        return
    made = make_certificate(tmp_path / "tls", ("127.0.0.1", "localhost"), now=datetime.now(UTC))
    trusting = ssl.create_default_context(cafile=made.authority)
    with serving(bare_app(), Certificate(made.certificate, made.key)) as address:
        yield lambda: trusting.wrap_socket(
            socket.create_connection(address, timeout=WAIT_S), server_hostname="localhost"
        )


def ask(client: socket.socket, path: str, *, verb: str = "GET", version: str = "1.1", more: str = "") -> bytes:
    """Send a request and return the header of its answer; what is on the socket after it stays there."""
    client.sendall(f"{verb} {path} HTTP/{version}\r\nHost: localhost\r\n{more}\r\n".encode())
    return header(client)


def header(client: socket.socket) -> bytes:
    heard = b""
    while not heard.endswith(b"\r\n\r\n"):
        piece = client.recv(1)
        assert piece, f"closed after {heard!r}"
        heard += piece
    return heard


def body(client: socket.socket, told: bytes) -> bytes:
    length = next(int(line.split(b":")[1]) for line in told.lower().split(b"\r\n") if b"content-length" in line)
    heard = b""
    while len(heard) < length:
        heard += client.recv(length - len(heard))
    return heard


@pytest.mark.parametrize("status", ["304", "204"])
def test_an_answer_without_a_body_ends_no_connection(connect: Connect, status: str) -> None:
    with connect() as client:
        for _ in range(3):
            told = ask(client, f"/{status}")
            assert told.startswith(f"HTTP/1.1 {status}".encode())
            assert b"connection:" not in told.lower()
            assert b"content-length" not in told.lower()
            assert b"transfer-encoding" not in told.lower()
        told = ask(client, "/read")
        assert told.startswith(b"HTTP/1.1 200"), "nothing of the answers before it was a body"
        assert b'"said"' in body(client, told)


@pytest.mark.parametrize(("version", "more"), [("1.0", ""), ("1.1", "Connection: close\r\n")])
def test_whoever_asks_for_the_end_of_a_connection_gets_it(connect: Connect, version: str, more: str) -> None:
    with connect() as client:
        told = ask(client, "/304", version=version, more=more)
        assert b"connection: close" in told.lower()
        assert client.recv(1) == b""


def test_an_address_that_is_none_is_a_bad_request(connect: Connect) -> None:
    with connect() as client:
        client.sendall(b"GET http://[ HTTP/1.1\r\nHost: localhost\r\n\r\n")
        assert client.recv(64).startswith(b"HTTP/1.1 400")


def test_a_body_over_the_limit_is_not_kept_and_the_connection_goes_on(connect: Connect) -> None:
    with connect() as client:
        for sent, kept in ((SMALL, SMALL), (SMALL + 1, 0), (40 * SMALL, 0)):
            client.sendall(b"POST /read HTTP/1.1\r\nHost: localhost\r\nContent-Length: %d\r\n\r\n" % sent)
            client.sendall(b"x" * sent)
            assert json.loads(body(client, header(client))) == {"said": sent, "kept": kept}


def test_whoever_waits_to_be_asked_for_a_body_over_the_limit_is_not_asked(connect: Connect) -> None:
    with connect() as client:
        more = f"Expect: 100-continue\r\nContent-Length: {SMALL + 1}\r\n"
        told = ask(client, "/read", verb="POST", more=more)
        assert told.startswith(b"HTTP/1.1 200"), "the app was asked, and no 100 came before"
        assert b"connection: close" in told.lower()
        assert b'"kept":0' in body(client, told)
        assert client.recv(1) == b""


def test_a_body_of_unknown_length_is_cut_off_at_the_limit(connect: Connect) -> None:
    with connect() as client:
        told = b""
        client.sendall(b"POST /read HTTP/1.1\r\nHost: localhost\r\nTransfer-Encoding: chunked\r\n\r\n")
        for _ in range(SMALL // 4096 + 2):
            client.sendall(b"1000\r\n" + b"x" * 4096 + b"\r\n")
        told = header(client)
        assert b"connection: close" in told.lower()
        assert b'"kept":0' in body(client, told)


def test_a_body_over_the_limit_is_answered_by_the_service_itself(sqlite: Database, tmp_path: Path) -> None:
    settings = Settings(data_dir=tmp_path, database_url=str(sqlite.url), secret_key="for tests")  # noqa: S106
    with (
        serving(create_app(settings, sqlite)) as address,
        closing(http.client.HTTPConnection(*address, timeout=WAIT_S)) as asking,
    ):
        for path, kind in (("/api/v1/slots", "application/problem+json"), ("/sign-in", "text/html")):
            asking.request("POST", path, body=b"x" * 3_000_000)
            answer = asking.getresponse()
            assert (answer.status, answer.headers.get_content_type()) == (413, kind)
            answer.read()
