"""Signing in at a screen: by name and password, by a token, or by a code that pairs a tablet with a station.

A browser holds a random secret, the shop only its hash. A person's session ends after IDLE without a request; a paired
tablet stays until its token is withdrawn. Wrong guesses make everybody wait who guesses on, whatever process answers.

Guesses are counted in the database before they are judged, by name and by address, so all processes and many at once
count as one.
"""

import hashlib
import logging
import secrets
import threading
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Final

from sqlalchemy import Connection
from sqlalchemy.exc import SQLAlchemyError

from tracker.records import people as kept
from tracker.records.access import token_by_hash, token_by_id
from tracker.records.database import Database
from tracker.records.people import FailedSignIns, PersonRow, SessionRow
from tracker.shop.codes import Kind, MisreadError, read_code
from tracker.shop.errors import BusyError, NotSignedInError, ThrottledError
from tracker.shop.roles import Role
from tracker.shop.saying import say
from tracker.work.access import Bearer, check_station, digest_of, make_token_in
from tracker.work.people import password_is_right

logger = logging.getLogger("tracker.sessions")

IDLE: Final = timedelta(hours=12)
BADGE_IDLE: Final = timedelta(hours=4)
NOTED_EVERY: Final = timedelta(minutes=5)  # how exactly it is kept when a session was used last
KEPT: Final = timedelta(days=400)  # a paired tablet that nobody has used for so long is forgotten
PAIRING_LASTS: Final = timedelta(minutes=10)
_LETTERS: Final = "ABCDEFGHJKLMNPQRSTUVWXYZ23456789"  # without I, O, 0 and 1, which look alike
_PAIRING_LENGTH: Final = 8

GUESSES_BY_NAME: Final = 5
GUESSES_BY_ADDRESS: Final = 30
ADDRESS_SPAN: Final = timedelta(minutes=10)
FIRST_WAIT: Final = timedelta(seconds=10)
LONGEST_WAIT: Final = timedelta(minutes=15)
REMEMBERED: Final = timedelta(days=1)  # how long a failed sign-in counts
_NAME: Final = "name:"


@dataclass(frozen=True, slots=True, kw_only=True)
class Attempt:
    """From where somebody tries to sign in."""

    address: str
    now: datetime


def sign_in(database: Database, name: str, password: str, attempt: Attempt) -> str:
    """Open a session by name and password; return its secret. Raises NotSignedInError, or ThrottledError to wait."""
    person = check_password(database, name, password, attempt)
    return _open(database, attempt.now, person_id=person.id)


def sign_in_by_token(database: Database, plain: str, attempt: Attempt) -> str:
    """Open a session with a token; return its secret. Raises NotSignedInError, or ThrottledError to wait."""
    keys = _count_attempt(database, attempt)
    with database.read() as connection:
        token = token_by_hash(connection, digest_of(plain.strip()))
    if token is None:
        raise NotSignedInError(say("This token is not known or was withdrawn. Ask the office for a new one."))
    _forgive(database, keys)
    return _open(database, attempt.now, token_id=token.id)


def sign_in_by_badge(database: Database, code: str, attempt: Attempt) -> PersonRow:
    """Return who holds a badge, for an act that a badge may allow. Raises NotSignedInError, or ThrottledError."""
    keys = _count_attempt(database, attempt)
    with database.read() as connection:
        person = _holder(connection, code)
    if person is None:
        raise NotSignedInError(say("Nobody is known by this badge."))
    _forgive(database, keys)
    return person


def check_password(database: Database, name: str, password: str, attempt: Attempt) -> PersonRow:
    """Return the person of this name if the password is theirs, opening no session. Raises as ``sign_in`` does."""
    keys = _count_attempt(database, attempt, _about_name(name))
    with database.read() as connection:
        # A sign that cannot be shown is in nobody's name, and a NUL no PostgreSQL takes.
        person = kept.person_by_name(connection, name.strip()) if name.strip().isprintable() else None
    if not password_is_right(person, password) or person is None:
        raise NotSignedInError(say("This name and password do not belong together."))
    _forgive(database, keys)
    return person


def make_pairing(database: Database, station: str, *, now: datetime) -> str:
    """Return a code that signs one tablet in as a station, once, within PAIRING_LASTS."""
    code = "".join(secrets.choice(_LETTERS) for _ in range(_PAIRING_LENGTH))
    with database.write() as connection:
        kept.insert_pairing(connection, digest_of(code), check_station(connection, station), now)
    return code


def pair(database: Database, code: str, attempt: Attempt) -> str:
    """Use a pairing code; return the secret of the tablet's session. Raises NotSignedInError, or ThrottledError."""
    keys = _count_attempt(database, attempt)
    spelled = "".join(code.upper().split()).replace("-", "")
    with database.write() as connection:
        station = kept.take_pairing(connection, digest_of(spelled), attempt.now - PAIRING_LASTS)
        if station is not None:
            token_id = make_token_in(
                connection, f"tablet at {station}"[:80], Role.STATION, station, secrets.token_urlsafe(32), attempt.now
            )
    if station is None:
        raise NotSignedInError(
            say("This code is not known, was used, or is older than ten minutes. Ask for a new one.")
        )
    _forgive(database, keys)
    return _open(database, attempt.now, token_id=token_id)


Note = Callable[[Database, bytes, Mapping[str, datetime]], None]


def note_use(database: Database, digest: bytes, noted: Mapping[str, datetime]) -> None:
    """Write down when a session was used."""
    with database.write() as connection:
        kept.change_session(connection, digest, **noted)


class LaterNotes:
    """Writes down when sessions were used, beside the requests: a page that only reads waits for no writer.

    What is noted within one writing goes into the next; a note that is lost is made again at the session's next use.
    """

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._noted: dict[bytes, dict[str, datetime]] = {}
        self._is_writing = False

    def note(self, database: Database, digest: bytes, noted: Mapping[str, datetime]) -> None:
        """Note a use; it is written soon, by a thread of its own."""
        with self._lock:
            self._noted.setdefault(digest, {}).update(noted)
            if self._is_writing:
                return
            self._is_writing = True
        threading.Thread(target=self._write, args=(database,), name="noting sessions", daemon=True).start()

    def _write(self, database: Database) -> None:
        while True:
            with self._lock:
                noted, self._noted = self._noted, {}
                if not noted:
                    self._is_writing = False
                    return
            try:
                for digest, fields in noted.items():
                    note_use(database, digest, fields)
            except (SQLAlchemyError, BusyError) as error:
                logger.warning("the use of a session could not be noted: %s", error)


def bearer_of(
    database: Database,
    secret: str,
    now: datetime,
    *,
    acts: bool = False,
    polls: bool = False,
    note: Note = note_use,
) -> Bearer:
    """Return who is signed in by a session's secret. Raises NotSignedInError when the session has ended.

    A page that only polls does not keep a person's session from ending; it keeps that of a token, as of a wall. Whose
    badge was scanned at a tablet stays there as long as they act: a screen that only asks for news is idle. ``note``
    is told when it was used.
    """
    digest = _digest(secret)
    with database.read() as connection:
        session = kept.session_by_hash(connection, digest)
        bearer = None if session is None else _bearer(connection, session, now)
    if session is None or bearer is None:
        raise NotSignedInError(say("Your session has ended. Sign in again."))
    noted: dict[str, datetime] = {}
    set_back = session.seen_at - now > NOTED_EVERY  # the service's clock: an age is counted from now on
    if set_back or (now - session.seen_at > NOTED_EVERY and not (polls and session.person_id is not None)):
        noted["seen_at"] = now
    worker_at = session.worker_at if bearer.worker_id is not None else None
    if worker_at is not None and (worker_at - now > NOTED_EVERY or (acts and now - worker_at > NOTED_EVERY)):
        noted["worker_at"] = now
    if noted:
        note(database, digest, noted)
    return bearer


def in_force(database: Database, person_id: int | None, token_id: int) -> bool:
    """Say whether a person, or else a token, may still sign in."""
    with database.read() as connection:
        if person_id is None:
            return token_by_id(connection, token_id) is not None
        person = kept.person_by_id(connection, person_id)
    return person is not None and not person.withdrawn


def note_badge(database: Database, secret: str, code: str, attempt: Attempt) -> str:
    """Let the following scans of a paired tablet be those of a badge's holder; return their name.

    It holds until another badge or until nobody acts for BADGE_IDLE. Raises NotSignedInError for a badge that nobody
    holds, or ThrottledError.
    """
    person, now = sign_in_by_badge(database, code, attempt), attempt.now
    with database.write() as connection:
        kept.change_session(connection, _digest(secret), worker_id=person.id, worker_at=now, seen_at=now)
    return person.name


def sign_out(database: Database, secret: str) -> None:
    """End a session."""
    with database.write() as connection:
        kept.end_session(connection, _digest(secret))


def digest_of_session(secret: str) -> bytes:
    """Return what is kept of a session's secret."""
    return _digest(secret)


def _digest(secret: str) -> bytes:
    return hashlib.sha256(secret.encode()).digest()


def _holder(connection: Connection, code: str) -> PersonRow | None:
    try:
        read = read_code(code)
    except MisreadError:
        return None
    return kept.holder_of(connection, read.number) if read.kind is Kind.WORKER else None


def _open(
    database: Database,
    now: datetime,
    *,
    person_id: int | None = None,
    token_id: int | None = None,
) -> str:
    secret = secrets.token_urlsafe(32)
    with database.write() as connection:
        kept.forget_sessions(connection, now - KEPT)
        kept.insert_session(connection, _digest(secret), person_id=person_id, token_id=token_id, at=now)
    return secret


def _bearer(connection: Connection, session: SessionRow, now: datetime) -> Bearer | None:
    if session.person_id is not None:
        person = kept.person_by_id(connection, session.person_id)
        if person is None or person.withdrawn or now - session.seen_at > IDLE:
            return None
        return _of_person(person)
    token = None if session.token_id is None else token_by_id(connection, session.token_id)
    if token is None or (token.station is None and now - session.seen_at > IDLE):
        return None
    bearer = Bearer(token_id=token.id, name=token.name, role=token.role, station=token.station)
    worker = _worker(connection, session, now) if token.station is not None else None
    if worker is None:
        return bearer
    # At a station's tablet a badge lets its holder do what packers do; more needs a sign-in of their own.
    role = min((worker.role, Role.PACKER), key=list(Role).index)
    role = max((role, bearer.role), key=list(Role).index)
    return replace(
        bearer, name=worker.name, role=role, worker_id=worker.id, language=worker.language, units=worker.units
    )


def _worker(connection: Connection, session: SessionRow, now: datetime) -> PersonRow | None:
    if session.worker_id is None or session.worker_at is None or now - session.worker_at > BADGE_IDLE:
        return None
    person = kept.person_by_id(connection, session.worker_id)
    return None if person is None or person.withdrawn else person


def _of_person(person: PersonRow) -> Bearer:
    return Bearer(
        token_id=0,
        name=person.name,
        role=person.role,
        station=None,
        person_id=person.id,
        language=person.language,
        units=person.units,
    )


# Failed sign-ins


def _about_name(name: str) -> str:
    shown = "".join(sign if sign.isprintable() else "?" for sign in name.strip().casefold()[:80])
    return f"{_NAME}{shown}"


def _about_address(attempt: Attempt) -> str:
    return f"from:{attempt.address[:80]}"


def _count_attempt(database: Database, attempt: Attempt, *keys: str) -> list[str]:
    """Count an attempt before it is judged, so that many at once are not more guesses; return what was counted.

    Raises ThrottledError while it is too early for another one.
    """
    counted = [*keys, _about_address(attempt)]
    with database.write() as connection:
        kept.forget_older_failed_sign_ins(connection, attempt.now - REMEMBERED)
        known = {key: kept.failed_sign_ins(connection, key) for key in counted}
        for key, before in known.items():
            _check_wait(key, before, attempt.now)
        for key, before in known.items():
            kept.note_failed_sign_in(connection, key, _failed(key, before, attempt.now) + 1, attempt.now)
    return counted


def _check_wait(key: str, known: FailedSignIns | None, now: datetime) -> None:
    if known is None or known.last_at > now:  # the service's clock was set back: nobody knows how long ago that was
        return
    left = known.last_at + _wait(key, known) - now
    if left > timedelta(0):
        seconds = int(left.total_seconds()) + 1
        told = say("Too many wrong guesses. Wait %(seconds)s seconds, then try again.", seconds=seconds)
        raise ThrottledError(told, seconds)


def _wait(key: str, known: FailedSignIns) -> timedelta:
    """Return how long after so many failures nobody may guess: doubling from FIRST_WAIT."""
    over = known.failed - (GUESSES_BY_NAME if key.startswith(_NAME) else GUESSES_BY_ADDRESS)
    return timedelta(0) if over < 0 else min(FIRST_WAIT * 2 ** min(over, 10), LONGEST_WAIT)


def _failed(key: str, known: FailedSignIns | None, now: datetime) -> int:
    """Return how many failures still count: by name all in a row, by address GUESSES_BY_ADDRESS in ADDRESS_SPAN.

    A whole shop may sit behind one address: what a day brings in slips of the finger must not shut it out.
    """
    if known is None or key.startswith(_NAME):
        return 0 if known is None else known.failed
    passed = (now - known.last_at) * GUESSES_BY_ADDRESS // ADDRESS_SPAN
    return max(0, known.failed - max(0, passed))


def _forgive(database: Database, keys: Iterable[str]) -> None:
    """Take back what was counted before it was found right; a name's failures are forgotten."""
    with database.write() as connection:
        for key in keys:
            known = kept.failed_sign_ins(connection, key)
            kept.forget_failed_sign_ins(connection, key)
            if known is not None and known.failed > 1 and not key.startswith(_NAME):
                kept.note_failed_sign_in(connection, key, known.failed - 1, known.last_at)
