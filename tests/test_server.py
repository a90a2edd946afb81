"""The server: it stops cleanly, its logs are lines of JSON, a port that is taken is said so."""

import json
import logging
import socket
import threading
import time
import urllib.request
from contextlib import ExitStack
from http.client import HTTPConnection

import pytest
from flask import Flask, request

from tests.waiting import HANGS_AFTER_S, until
from tracker.server import JsonLines, Server, TextLines
from tracker.shop.errors import ConflictError

HANGS = 120  # seconds: only a hang reaches it


def test_a_stop_finishes_what_was_accepted() -> None:
    app = Flask("slow")
    entered, go_on = threading.Event(), threading.Event()

    @app.get("/")
    def slow() -> str:
        entered.set()
        assert go_on.wait(HANGS_AFTER_S)
        return "finished"

    server = Server(app, host="127.0.0.1", port=0)
    serving = threading.Thread(target=server.run)
    serving.start()
    heard: list[bytes] = []

    def ask() -> None:
        with urllib.request.urlopen(server.address, timeout=HANGS_AFTER_S) as response:
            heard.append(response.read())

    asking = threading.Thread(target=ask)
    asking.start()
    assert entered.wait(HANGS_AFTER_S)
    stopping = threading.Thread(target=server.stop)
    stopping.start()
    until(lambda: _refuses(server.address))
    go_on.set()
    for thread in (stopping, serving, asking):
        thread.join(HANGS_AFTER_S)
        assert not thread.is_alive()
    assert heard == [b"finished"]


def _refuses(address: str) -> bool:
    host, _, port = address.removeprefix("http://").rpartition(":")
    try:
        socket.create_connection((host, int(port)), timeout=HANGS_AFTER_S).close()
    except ConnectionRefusedError:
        return True
    return False


def test_a_stop_is_safe_when_the_loop_is_quicker_than_whoever_wakes_it() -> None:
    server = Server(Flask("quick"), host="127.0.0.1", port=0)
    trigger = server._server.trigger  # waitress's own
    pull = trigger._physical_pull

    def slowly() -> None:
        pull()  # somebody else wakes the loop
        time.sleep(0.2)
        pull()

    trigger._physical_pull = slowly
    serving = threading.Thread(target=server.run)
    serving.start()
    server.stop()
    serving.join(HANGS_AFTER_S)
    assert not serving.is_alive()
    assert trigger._fds == []


def test_a_port_that_is_taken_is_an_answer() -> None:
    server = Server(Flask("one"), host="127.0.0.1", port=0)
    port = int(server.address.rsplit(":", 1)[1])
    with pytest.raises(ConflictError, match="Choose another"):
        Server(Flask("two"), host="127.0.0.1", port=port)
    serving = threading.Thread(target=server.run)
    serving.start()
    server.stop()
    serving.join()


def test_connections_that_were_idle_longest_make_room_when_connections_run_short() -> None:
    app = Flask("crowded")
    app.add_url_rule("/", "here", lambda: "here")
    server = Server(app, host="127.0.0.1", port=0, connections=30)
    serving = threading.Thread(target=server.run)
    serving.start()
    place = ("127.0.0.1", int(server.address.rsplit(":", 1)[1]))
    with ExitStack() as stack:
        idle = [stack.enter_context(socket.create_connection(place, timeout=HANGS)) for _ in range(60)]
        working = HTTPConnection(*place, timeout=HANGS)
        stack.callback(working.close)
        for _ in range(3):
            working.request("GET", "/")
            assert working.getresponse().read() == b"here"
        assert idle[0].recv(1) == b""  # closed by the server
        assert idle[29].recv(1) == b""
    server.stop()
    serving.join(HANGS)
    assert not serving.is_alive()


def test_a_log_line_is_json_with_what_the_call_added() -> None:
    said = {"name": "x", "levelname": "INFO", "msg": "request %s", "args": ("a",), "request_id": "r1"}
    record = logging.makeLogRecord(said)
    line = json.loads(JsonLines().format(record))
    assert (line["message"], line["request_id"], line["level"]) == ("request a", "r1", "info")


def test_a_log_line_for_people_has_the_same() -> None:
    said = {"name": "x", "levelname": "INFO", "msg": "request %s", "args": ("a",), "request_id": "r1", "created": 0}
    line = TextLines().format(logging.makeLogRecord(said))
    assert line == "1970-01-01T00:00:00+00:00 info x: request a request_id=r1"


@pytest.mark.parametrize("trusted", ["", "127.0.0.1", "192.0.2.7"])
def test_only_a_trusted_proxy_says_who_asked_and_whether_by_https(trusted: str) -> None:
    app = Flask("behind a proxy")

    @app.get("/")
    def who() -> dict[str, object]:
        return {"address": request.remote_addr, "secure": request.is_secure}

    server = Server(app, host="127.0.0.1", port=0, trusted_proxy=trusted)
    serving = threading.Thread(target=server.run)
    serving.start()
    told = {"X-Forwarded-For": "198.51.100.4", "X-Forwarded-Proto": "https"}  # RFC 5737: an address for examples
    asked = urllib.request.Request(server.address, headers=told)
    with urllib.request.urlopen(asked, timeout=HANGS_AFTER_S) as response:
        heard = json.load(response)
    server.stop()
    serving.join()
    is_proxy = trusted == "127.0.0.1"
    assert heard == {"address": "198.51.100.4" if is_proxy else "127.0.0.1", "secure": is_proxy}
