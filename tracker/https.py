"""HTTPS for waitress, which does not speak it: its connections, with TLS between the socket and the requests.

A connection stays waitress's own: read and written by its one loop, never waited for, so a client that says half a
greeting and falls silent holds up nobody. A stop finishes what was accepted as it does without TLS.

By memory BIOs nothing in it waits: a silent client costs a socket and no thread. What is encrypted counts as sent only
when the socket took it.

Measured, one scan a request by 16 clients: 1.8 to 2.5 ms of processor time a request without TLS, 1.8 to 2.1 with it;
cheroot 1.4 to 2.0 either way, but it greets in the thread that accepts: three clients that fall silent in mid-greeting
kept the next waiting for 30 s (here 0.01 s). Rates in wall clock told nothing on a machine that others used; granian
and hypercorn lay among the rest.

No HSTS, and the way to https is a 307: neither may outlast a shop that gives HTTPS up.
"""

import contextlib
import copy
import json
import logging
import ssl
import threading
import time
from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, Final

from tracker.channel import Channel
from tracker.shop.errors import InvalidInputError

logger = logging.getLogger("tracker.https")

LOOK_AGAIN_S: Final = 1.0
WARN_BEFORE: Final = timedelta(days=30)
_GREETING: Final = 0x16  # the first byte of a TLS record that carries a handshake, RFC 8446, 5.1
_PLAINTEXT_BYTES: Final = 65536


class Certificate:
    """The server's certificate and key, read from two files, and again when they are renewed.

    Raises InvalidInputError when made of files that cannot be read or that do not belong together. A renewal that
    cannot be used (half of it is written yet, or it is spoilt) is told in the log, and the former one serves on.
    """

    def __init__(self, certificate: Path, key: Path) -> None:
        self._certificate, self._key = certificate, key
        self._lock = threading.Lock()
        self._stamp = self._stamp_now()
        try:
            self._context = _context(certificate, key)
            self.ends = _end_of(certificate)
        except (OSError, ValueError) as error:
            raise InvalidInputError(
                f"HTTPS needs a certificate and its key, as PEM: {certificate} and {key} cannot be used ({error})."
            ) from error
        self._looked = time.monotonic()
        self._warn_of_the_end()

    def context(self) -> ssl.SSLContext:
        """Return what the next connection is greeted with; looks for a renewal at most once a second."""
        with self._lock:
            if time.monotonic() - self._looked >= LOOK_AGAIN_S:
                self._looked = time.monotonic()
                self._take_renewal()
            return self._context

    def _take_renewal(self) -> None:
        stamp = self._stamp_now()
        if stamp == self._stamp:
            return
        self._stamp = stamp  # taken before the reading: what changes meanwhile is read again
        try:
            self._context = _context(self._certificate, self._key)
            self.ends = _end_of(self._certificate)
        except (OSError, ValueError) as error:
            logger.warning("the renewed certificate cannot be used yet; the former one serves on: %s", error)
            return
        logger.info("the renewed certificate is in use, until %s", self.ends.date())
        self._warn_of_the_end()

    def _warn_of_the_end(self) -> None:
        if self.ends - datetime.now(UTC) < WARN_BEFORE:
            logger.warning("the certificate ends on %s: renew it, or browsers refuse this service", self.ends.date())

    def _stamp_now(self) -> tuple[object, ...]:
        try:
            states = [path.stat() for path in (self._certificate, self._key)]
        except OSError:
            return ()
        return tuple((state.st_mtime_ns, state.st_size, state.st_ino) for state in states)


def certificate_of(certificate: Path | None, key: Path | None) -> Certificate | None:
    """Return the certificate of two files; None where there are none. Raises InvalidInputError for half a pair."""
    if certificate is None and key is None:
        return None
    if certificate is None or key is None:
        told = "HTTPS needs both: --certificate FILE and --key FILE, or TRACKER_CERTIFICATE and TRACKER_KEY."
        raise InvalidInputError(told)
    return Certificate(certificate, key)


def _context(certificate: Path, key: Path) -> ssl.SSLContext:
    for each in (certificate, key):
        if each.exists() and not each.is_file():  # a device may have no end
            raise ValueError(f"{each} is no file")
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.minimum_version = ssl.TLSVersion.TLSv1_2  # RFC 8996 ends the older ones
    context.options |= ssl.OP_NO_RENEGOTIATION
    context.set_alpn_protocols(["http/1.1"])
    # An empty password makes a key that is locked an error rather than a question on the terminal.
    context.load_cert_chain(certificate, key, password="")
    return context


def _end_of(certificate: Path) -> datetime:
    from cryptography.x509 import load_pem_x509_certificate

    return load_pem_x509_certificate(certificate.read_bytes()).not_valid_after_utc


class TlsChannel(Channel):
    """One connection of waitress, encrypted; one that does not begin with TLS goes on as plain http.

    Its requests then say so in ``wsgi.url_scheme``: ``HttpsOnly`` answers them.
    """

    def __init__(self, server: Any, sock: Any, addr: Any, adj: Any, *, context: ssl.SSLContext, **more: Any) -> None:
        self._received, self._outgoing = ssl.MemoryBIO(), ssl.MemoryBIO()
        self._tls: ssl.SSLObject | None = context.wrap_bio(self._received, self._outgoing, server_side=True)
        self._tls_lock = threading.Lock()  # the loop reads while a worker writes; always taken after outbuf_lock
        self._begun = self._greeted = False
        self._unsent = b""  # encrypted, and not yet taken by the socket
        self._held = 0  # the bytes of the answer that ``_unsent`` stands for
        self.adj = adj
        super().__init__(server, sock, addr, adj, **more)

    def handle_read(self) -> None:
        """Take what came, decrypt it, and hand on what it says."""
        if self._tls is None:
            super().handle_read()
            return
        try:
            came = self.recv(self.adj.recv_bytes)
        except OSError:
            self.handle_close()
            return
        if not came:
            self.connected = False
            return
        self.last_activity = time.time()
        if not self._begun and came[0] != _GREETING:
            self._go_on_plainly(came)
            return
        self._begun = True
        said, ended = self._decrypt(came)
        self.received(said)
        if ended and not self.requests:
            self.will_close = True

    def _go_on_plainly(self, came: bytes) -> None:
        self._tls = None
        self.adj = copy.copy(self.adj)
        self.adj.url_scheme = "http"
        self.received(came)

    def _decrypt(self, came: bytes) -> tuple[bytes, bool]:
        """Return what was said, all of it, and whether nothing more will be (RFC 8446, 6.1).

        The loop hears of the socket alone: what TLS kept back would never be asked for.
        """
        said, ended = [], False
        with self._tls_lock:
            self._received.write(came)
            try:
                self._greet()
                while piece := self._tls.read(_PLAINTEXT_BYTES):  # type: ignore[union-attr]
                    said.append(piece)
                ended = True
            except ssl.SSLWantReadError:
                pass
            except ssl.SSLError as error:
                logger.info("a connection was not accepted: %s", error.reason or error, extra={"address": self.addr[0]})
                self.will_close = True
            self._push()
        return b"".join(said), ended

    def _greet(self) -> None:
        if not self._greeted:
            self._tls.do_handshake()  # type: ignore[union-attr]
            self._greeted = True

    def send(self, data: bytes, do_close: bool = True) -> int:
        """Encrypt and send, and return how much of ``data`` has left.

        What is encrypted but was not taken by the socket counts only when it was: waitress offers it again meanwhile.
        """
        if self._tls is None:
            return int(super().send(data, do_close))
        with self._tls_lock:
            if not self._held and not self.will_close:
                self._held = self._tls.write(data)
            if not self._push():
                return 0
            left, self._held = self._held, 0
            return left

    def _push(self) -> bool:
        """Give the socket what is encrypted; return whether it took all. A connection that is gone is to be closed."""
        while self._unsent or self._outgoing.pending:
            self._unsent = self._unsent or self._outgoing.read()
            try:
                self._unsent = self._unsent[self.socket.send(self._unsent) :]
            except (BlockingIOError, InterruptedError):
                return False
            except OSError:
                self.will_close = True
                return False
        return True

    def writable(self) -> bool:
        """Return whether something waits to be sent, be it an answer or a part of TLS's own talk."""
        return bool(super().writable() or self._unsent)

    def handle_write(self) -> None:
        """Send what waits."""
        if self._tls is not None:
            with self._tls_lock:
                self._push()
        super().handle_write()

    def handle_close(self) -> None:
        """Say that nothing more comes, so that a client can tell an end from a cut, and close."""
        with self._tls_lock:
            if self._tls is not None and self._greeted and not self._unsent:
                with contextlib.suppress(ssl.SSLError):  # the client's own word is not waited for
                    self._tls.unwrap()
                self._push()
        super().handle_close()


class HttpsOnly:
    """Lets plain http through to a few paths alone; elsewhere it leads a browser to https and refuses all else.

    Nothing that was sent by plain http is acted upon: it may have been read or changed on its way.
    """

    def __init__(self, app: Any, plain_paths: tuple[str, ...]) -> None:
        self._app, self._plain_paths = app, plain_paths

    def __call__(self, environ: dict[str, Any], start_response: Any) -> Iterable[bytes]:
        """Answer a request (PEP 3333)."""
        path = environ["PATH_INFO"]
        reading = environ["REQUEST_METHOD"] in ("GET", "HEAD")
        if environ["wsgi.url_scheme"] == "https" or (reading and path.startswith(self._plain_paths)):
            return self._app(environ, start_response)  # type: ignore[no-any-return]
        there = _same_by_https(environ)
        if reading and there and not path.startswith("/api/"):
            # 307, which no browser keeps: a shop that gives up HTTPS is reached again at once.
            start_response("307 Temporary Redirect", [("Location", there), ("Content-Length", "0")])
            return []
        told = f"This address is served by https alone, and nothing was taken. Use {there or 'https'} instead."
        body = json.dumps({"type": "about:blank", "title": "Bad Request", "status": 400, "detail": told}).encode()
        kind = [("Content-Type", "application/problem+json"), ("Content-Length", str(len(body)))]
        start_response("400 Bad Request", kind)
        return [body]


def _same_by_https(environ: dict[str, Any]) -> str:
    host, asked = environ.get("HTTP_HOST", ""), environ["REQUEST_URI"]
    return f"https://{host}{asked}" if host and asked.startswith("/") else ""
