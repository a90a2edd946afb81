"""A connection of waitress that keeps no body over its limit, and stays open after an answer without a body."""

from io import BytesIO
from typing import Any

from waitress.channel import HTTPChannel
from waitress.parser import HTTPRequestParser, ParsingError
from waitress.task import WSGITask

from tracker.web.bodies import most_bytes


class Unkept:
    """A body that is let go by as it comes: its end is waited for, so that the client hears the answer."""

    error = None

    def __init__(self, length: int) -> None:
        self._left = length

    @property
    def completed(self) -> bool:
        """Whether all of it has passed."""
        return self._left == 0

    def received(self, data: bytes) -> int:
        """Return how much of ``data`` belonged to it."""
        passed = min(len(data), self._left)
        self._left -= passed
        return passed

    def getfile(self) -> BytesIO:
        """Return what was kept: nothing."""
        return BytesIO()

    getbuf = getfile


class BoundedParser(HTTPRequestParser):  # type: ignore[misc]  # waitress has no types
    """Reads a request. Of a body over the limit of its path only the length is kept, by which the app refuses it."""

    body_rcv: Any
    completed: bool
    expect_continue: bool
    _most = 0

    def parse_header(self, header_plus: bytes) -> None:
        """Take in the header, and see from it whether the body is kept."""
        try:
            super().parse_header(header_plus)
        except ValueError as error:  # the address of a host, which waitress reads without care
            raise ParsingError(f"Bad URI: {error}") from error
        self._most = most_bytes(self.path)
        if self.content_length > self._most:
            self.body_rcv.getbuf().close()
            waits = self.expect_continue  # then it has not been sent, and need not be
            self.body_rcv = None if waits else Unkept(self.content_length)
            self.expect_continue = False
            if waits:
                self.headers["CONNECTION"] = "close"

    def received(self, data: bytes) -> int:
        """Take in what came; return how much of it belonged to this request.

        A body that does not say how long it is ends where it is over the limit, and its connection with it.
        """
        consumed = int(super().received(data))
        if self.chunked and not self.completed and self.body_bytes_received > self._most:
            self.body_rcv.getbuf().close()
            self.body_rcv = None
            self.headers.update(CONTENT_LENGTH=str(self.body_bytes_received), CONNECTION="close")
            self.completed = True
            return len(data)
        return consumed


class LastingTask(WSGITask):  # type: ignore[misc]  # waitress has no types
    """Answers a request. waitress ends the connection after each answer without a Content-Length."""

    def set_close_on_finish(self) -> None:
        """End the connection after this answer, but where it has no body by its status: its header ends it.

        RFC 9112, 6.3, rule 1: such an answer is over with its header, and RFC 9110, 8.6 lets it have no length.
        """
        asked_to = self.request.headers.get("CONNECTION", "").lower() == "close"
        if self.has_body or asked_to or self.version != "1.1":
            super().set_close_on_finish()


class Channel(HTTPChannel):  # type: ignore[misc]  # waitress has no types
    """One connection."""

    parser_class = BoundedParser
    task_class = LastingTask
