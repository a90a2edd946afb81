"""A small real HTTP service for the station program: stores scans by id, and can be told to misbehave."""

import json
import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any


class Service:
    """``trouble`` is one of: none, away (503), lost (stores, then hangs up), token (401), nonsense."""

    def __init__(self) -> None:
        self.stored: dict[str, dict[str, Any]] = {}
        self.trouble = "none"
        self.poison = ""
        self.requests = 0
        service = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                service.answer(self)

            def log_message(self, *_args: Any) -> None:
                pass

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self._thread = threading.Thread(target=self._server.serve_forever, kwargs={"poll_interval": 0.02})
        self._thread.start()
        self.address = f"http://127.0.0.1:{self._server.server_port}"

    @property
    def codes(self) -> list[str]:
        return [scan["code"] for scan in self.stored.values()]

    def answer(self, handler: BaseHTTPRequestHandler) -> None:
        self.requests += 1
        body = json.loads(handler.rfile.read(int(handler.headers["Content-Length"])))
        if self.trouble in ("away", "token"):
            handler.send_error(503 if self.trouble == "away" else 401)
            return
        if self.poison and any(scan["code"] == self.poison for scan in body["scans"]):
            handler.send_error(422)
            return
        for scan in body["scans"]:
            self.stored.setdefault(scan["id"], scan)
        if self.trouble == "lost":
            handler.close_connection = True
            return
        results = [{"id": s["id"], "outcome": "done", "ok": True, "message": "Done."} for s in body["scans"]]
        content = b"{}" if self.trouble == "nonsense" else json.dumps({"results": results}).encode()
        handler.send_response(200)
        handler.send_header("Content-Length", str(len(content)))
        handler.end_headers()
        handler.wfile.write(content)

    def close(self) -> None:
        self._server.shutdown()
        self._server.server_close()
        self._thread.join()
