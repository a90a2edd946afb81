"""A small real HTTP service for the station program: stores scans by id, and can be told to misbehave."""

import json
import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs, urlsplit

from tests.waiting import HANGS_AFTER_S


class Service:
    """Answers POST /api/v1/scans.

    ``trouble`` is "" or: ``lost`` (stores, then hangs up), ``stalled`` (does not answer until ``go_on``), a status
    that it answers with, or a body that it answers with. ``poison`` is a code that it refuses (422), ``most`` the
    number of scans that it takes at once (413 above). ``no_station`` is the name that it does not know.
    ``expected`` is what it answers to GET /api/v1/expected,
    ``ahead_s`` by how much it finds the sender's clock ahead, ``date`` the Date that it gives; with ``healthy`` its
    health is well in any trouble.
    """

    def __init__(self) -> None:
        self.stored: dict[str, dict[str, Any]] = {}
        self.batches: list[list[str]] = []
        self.visits: list[str | None] = []
        self.tokens: set[str] = set()
        self.trouble: str | int | bytes = ""
        self.poison: set[str] = set()
        self.most = 500
        self.no_station = "SAW-9"
        self.expected: dict[str, Any] | None = None
        self.ahead_s = 0.0
        self.sent_at: list[str] = []
        self.date = ""
        self.healthy = False
        self.go_on = threading.Event()
        service = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                service.answer(self)

            def do_GET(self) -> None:
                service.visits.append(self.path)
                service.answer_get(self)

            def date_time_string(self, timestamp: float | None = None) -> str:
                return service.date or super().date_time_string(timestamp)

            def log_message(self, *_args: Any) -> None:
                pass

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self._thread = threading.Thread(target=self._server.serve_forever, kwargs={"poll_interval": 0.02})
        self._thread.start()
        self.address = f"http://127.0.0.1:{self._server.server_port}"

    @property
    def codes(self) -> list[str]:
        """The codes of the scans that are stored, in the order of their arrival."""
        return [scan["code"] for scan in self.stored.values()]

    def answer_get(self, handler: BaseHTTPRequestHandler) -> None:
        status, body = 404, b"{}"
        if isinstance(self.trouble, int) and not (self.healthy and handler.path == "/healthz"):
            status, body = self.trouble, json.dumps({"detail": f"Trouble {self.trouble}."}).encode()
        elif handler.path == "/healthz":
            status, body = 200, b"{}"
        elif handler.path.startswith("/api/v1/expected"):
            asked = parse_qs(urlsplit(handler.path).query).get("station", [""])[0]
            wrong = {"detail": f"There is no station {asked}."} if asked == self.no_station else {}
            status = 200 if self.expected and not wrong else 404
            body = json.dumps(wrong or self.expected or {}).encode()
        handler.send_response(status)
        handler.send_header("Content-Length", str(len(body)))
        handler.end_headers()
        handler.wfile.write(body)

    def answer(self, handler: BaseHTTPRequestHandler) -> None:
        sent = json.loads(handler.rfile.read(int(handler.headers["Content-Length"])))
        scans = sent["scans"]
        self.sent_at.append(sent["sent_at"])
        self.batches.append([scan["code"] for scan in scans])
        self.tokens.add(handler.headers["Authorization"])
        if self.trouble == "stalled":
            self.go_on.wait(HANGS_AFTER_S)
        status, body = self._judge(handler.path, scans)
        if self.trouble == "lost":
            handler.close_connection = True
            return
        handler.send_response(status)
        handler.send_header("Content-Length", str(len(body)))
        if status == 302:
            handler.send_header("Location", f"{self.address}/elsewhere")
        handler.end_headers()
        handler.wfile.write(body)

    def _judge(self, path: str, scans: list[dict[str, Any]]) -> tuple[int, bytes]:
        if isinstance(self.trouble, int):
            return self.trouble, json.dumps({"detail": f"Trouble {self.trouble}."}).encode()
        if isinstance(self.trouble, bytes):
            return 200, self.trouble
        if path != "/api/v1/scans":
            return 404, b"{}"
        if len(scans) > self.most:
            return 413, b'{"detail": "Too many at once."}'
        if any(scan["code"] in self.poison for scan in scans):
            return 422, b'{"detail": "This code spoils it."}'
        for scan in scans:
            self.stored.setdefault(scan["id"], scan)
        answer: dict[str, Any] = {"results": [_result(scan) for scan in scans]}
        if self.ahead_s:
            answer["clock_ahead_s"] = self.ahead_s
        return 200, json.dumps(answer).encode()

    def close(self) -> None:
        self.go_on.set()
        self._server.shutdown()
        self._server.server_close()
        self._thread.join()


def expected_page(*codes: str, step: str = "pack", **more: Any) -> dict[str, Any]:
    """What the service answers when these parts are expected, all in one box."""
    rows = [
        {
            "code": code,
            "name": "End",
            "cabinet": "101",
            "job": "J-1",
            "box": "B0000000141",
            "box_name": "1",
            "load": None,
            "next": step,
            "held": False,
        }
        for code in codes
    ]
    head = {"station": "SAW-1", "step": step, "strict": False, "at": 7, "whole": True, "gone": [], "next": None}
    return {**head, "items": rows, **more}


def _result(scan: dict[str, Any]) -> dict[str, Any]:
    """A box is refused, whatever is no code is a misread, everything else is done."""
    kind = scan["code"][0]
    outcome = {"P": "done", "B": "box_closed", "C": "undone"}.get(kind, "misread")
    ok = outcome in ("done", "undone")
    about = {"box": "B0000000141", "part": str(scan["code"])} if kind == "P" else {}
    return {**about, "id": scan["id"], "outcome": outcome, "ok": ok, "message": f"The service says {outcome}."}
