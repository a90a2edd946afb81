"""A small real HTTP service for the station program: stores scans by id, and can be told to misbehave."""

import json
import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any


class Service:
    """Answers POST /api/v1/scans.

    ``trouble`` is "" or: ``lost`` (stores, then hangs up), ``stalled`` (does not answer until ``go_on``), a status
    that it answers with, or a body that it answers with. ``poison`` is a code that it refuses (422), ``most`` the
    number of scans that it takes at once (413 above).
    """

    def __init__(self) -> None:
        self.stored: dict[str, dict[str, Any]] = {}
        self.batches: list[list[str]] = []
        self.visits: list[str | None] = []
        self.tokens: set[str] = set()
        self.trouble: str | int | bytes = ""
        self.poison: set[str] = set()
        self.most = 500
        self.go_on = threading.Event()
        service = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                service.answer(self)

            def do_GET(self) -> None:
                service.visits.append(self.headers.get("Authorization"))
                self.send_error(404)

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

    def answer(self, handler: BaseHTTPRequestHandler) -> None:
        scans = json.loads(handler.rfile.read(int(handler.headers["Content-Length"])))["scans"]
        self.batches.append([scan["code"] for scan in scans])
        self.tokens.add(handler.headers["Authorization"])
        if self.trouble == "stalled":
            self.go_on.wait(20)
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
        return 200, json.dumps({"results": [_result(scan) for scan in scans]}).encode()

    def close(self) -> None:
        self.go_on.set()
        self._server.shutdown()
        self._server.server_close()
        self._thread.join()


def _result(scan: dict[str, Any]) -> dict[str, Any]:
    """A box is refused, whatever is no code is a misread, everything else is done."""
    kind = scan["code"][0]
    outcome = {"P": "done", "B": "box_closed", "C": "undone"}.get(kind, "misread")
    ok = outcome in ("done", "undone")
    return {"id": scan["id"], "outcome": outcome, "ok": ok, "message": f"The service says {outcome}."}
