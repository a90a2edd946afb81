"""Says once more that nothing is new, to screens that ask while nobody has written to the database.

Screens ask every few seconds, and almost always nothing is new. Who asks, what they may see and whether anything is new
follow from the request, the database and the time: as long as the request, the database's version and the minute are
the same, the answer is, too. The minute, because sessions and days end.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime
from time import perf_counter
from typing import TYPE_CHECKING, Any, Final

from tracker.records.database import Database
from tracker.web.context import now

if TYPE_CHECKING:
    from _typeshed.wsgi import StartResponse, WSGIApplication, WSGIEnvironment

_MOST_KNOWN: Final = 1000  # requests; then all are judged anew
_BESIDE_HEADERS: Final = frozenset(
    ("REQUEST_METHOD", "PATH_INFO", "QUERY_STRING", "SCRIPT_NAME", "REMOTE_ADDR", "wsgi.url_scheme")
)
_TOLD: Final = "tracker.told"
REQUEST_ID: Final = "X-Request-Id"


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What the service notes of a request: which call it was, for which path, and who asked."""

    call: str
    method: str
    path: str
    who: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Known:
    moment: tuple[tuple[int, int], datetime]
    headers: list[tuple[str, str]]
    told: Told


class Unchanged:
    """Which requests of one shop are known to have nothing new."""

    def __init__(self, database: Database, *, clock: Callable[[], datetime] = now) -> None:
        self._database = database
        self._clock = clock
        self._known: dict[frozenset[tuple[str, Any]], _Known] = {}

    def answer(
        self,
        environ: "WSGIEnvironment",
        start_response: "StartResponse",
        judge: "WSGIApplication",
        note: Callable[[Told, float], str],
    ) -> Iterable[bytes]:
        """Answer a request by what is known of it, or else by ``judge``.

        ``note`` writes down what was answered in how many seconds, and returns the request's number.
        """
        started = perf_counter()
        version = self._database.version() if "HTTP_IF_NONE_MATCH" in environ else None
        if version is None:
            return judge(environ, start_response)
        moment = (version, self._clock().replace(second=0, microsecond=0))
        asked = frozenset(each for each in environ.items() if each[0] in _BESIDE_HEADERS or each[0].startswith("HTTP_"))
        known = self._known.get(asked)
        if known is not None and known.moment == moment:
            number = note(known.told, perf_counter() - started)
            start_response("304 NOT MODIFIED", [*known.headers, (REQUEST_ID, number)])
            return ()

        def keep(status: str, headers: list[tuple[str, str]], *error: Any) -> Any:
            told = environ.get(_TOLD)
            if told is not None and status.startswith("304") and all(name != "Set-Cookie" for name, _ in headers):
                if len(self._known) >= _MOST_KNOWN:
                    self._known.clear()
                kept = [(name, value) for name, value in headers if name != REQUEST_ID]
                self._known[asked] = _Known(moment=moment, headers=kept, told=told)
            return start_response(status, headers, *error)

        return judge(environ, keep)


def keep_unchanged(environ: "WSGIEnvironment", told: Told) -> None:
    """Say of a request's answer that it follows from the request, the database and the time alone."""
    environ[_TOLD] = told
