"""The people of the shop, their badges, the sessions of their browsers, and failed sign-ins."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, bindparam, delete, insert, select, update

from tracker.records.tables import badge, failed_sign_in, pairing, person, session, station, token
from tracker.shop.codes import Code, Kind
from tracker.shop.roles import Role

# Asked with each request of each screen, so it is built once.
_SESSION = select(
    session.c.person_id, session.c.token_id, session.c.worker_id, session.c.worker_at, session.c.seen_at
).where(session.c.hash == bindparam("digest"))


@dataclass(frozen=True, slots=True, kw_only=True)
class PersonRow:
    """A person; ``password`` is the hash of theirs, None for one who works by badge alone."""

    id: int
    name: str
    role: Role
    password: str | None
    language: str | None
    units: str | None
    withdrawn: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionRow:
    """A browser's session: of a person, or of a token, with the person whose badge was scanned there last."""

    person_id: int | None
    token_id: int | None
    worker_id: int | None
    worker_at: datetime | None
    seen_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class FailedSignIns:
    """How often somebody failed to sign in, and when last."""

    failed: int
    last_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class TokenView:
    """A token as the office sees it."""

    id: int
    name: str
    role: Role
    station: str | None
    made_at: datetime
    withdrawn_at: datetime | None


# People


def insert_person(
    connection: Connection, person_id: int, *, name: str, role: Role, password: str | None, at: datetime
) -> None:
    """Add a person."""
    row = {"id": person_id, "name": name, "role": role, "password": password, "made_at": at}
    connection.execute(insert(person).values(row))


def person_by_name(connection: Connection, name: str) -> PersonRow | None:
    """Return the person of this name, withdrawn or not, or None."""
    return _person(connection.execute(select(person).where(person.c.name == name)).first())


def person_by_id(connection: Connection, person_id: int) -> PersonRow | None:
    """Return the person of this number, withdrawn or not, or None."""
    return _person(connection.execute(select(person).where(person.c.id == person_id)).first())


def list_people(connection: Connection) -> list[PersonRow]:
    """Return all people by name, those who left last."""
    rows = connection.execute(select(person).order_by(person.c.withdrawn_at.is_not(None), person.c.name))
    return [found for row in rows if (found := _person(row)) is not None]


def _person(row: Any) -> PersonRow | None:
    if row is None:
        return None
    return PersonRow(
        id=row.id,
        name=row.name,
        role=Role(row.role),
        password=row.password,
        language=row.language,
        units=row.units,
        withdrawn=row.withdrawn_at is not None,
    )


def change_person(connection: Connection, person_id: int, **values: Any) -> None:
    """Change columns of a person."""
    connection.execute(update(person).where(person.c.id == person_id).values(**values))


# Badges


def insert_badge(connection: Connection, badge_id: int, person_id: int, at: datetime) -> None:
    """Give a person a badge."""
    connection.execute(insert(badge).values(id=badge_id, person_id=person_id, made_at=at))


def is_badge(connection: Connection, badge_id: int) -> bool:
    """Whether a badge has had this number, in force or not."""
    return connection.execute(select(badge.c.id).where(badge.c.id == badge_id)).first() is not None


def holder_of(connection: Connection, badge_id: int) -> PersonRow | None:
    """Return who holds a badge that is in force, if they are still there."""
    query = select(person).join(badge, badge.c.person_id == person.c.id)
    query = query.where(badge.c.id == badge_id, badge.c.withdrawn_at.is_(None), person.c.withdrawn_at.is_(None))
    return _person(connection.execute(query).first())


def badges_in_force(connection: Connection) -> dict[int, list[str]]:
    """Return the codes of the badges in force, by person."""
    found: dict[int, list[str]] = {}
    query = select(badge.c.id, badge.c.person_id).where(badge.c.withdrawn_at.is_(None)).order_by(badge.c.id)
    for row in connection.execute(query):
        found.setdefault(row.person_id, []).append(str(Code(Kind.WORKER, row.id)))
    return found


def has_badges(connection: Connection) -> bool:
    """Whether anybody in the shop has a badge in force."""
    return connection.execute(select(badge.c.id).where(badge.c.withdrawn_at.is_(None)).limit(1)).first() is not None


def withdraw_badges(connection: Connection, person_id: int, at: datetime) -> int:
    """Withdraw all badges of a person; return how many were in force."""
    # A tablet where such a badge was scanned is nobody's from now on, too.
    theirs = update(session).where(session.c.worker_id == person_id)
    connection.execute(theirs.values(worker_id=None, worker_at=None))
    mine = update(badge).where(badge.c.person_id == person_id, badge.c.withdrawn_at.is_(None))
    return connection.execute(mine.values(withdrawn_at=at)).rowcount


# Sessions


def insert_session(
    connection: Connection, digest: bytes, *, person_id: int | None, token_id: int | None, at: datetime
) -> None:
    """Open a session."""
    row = {"hash": digest, "person_id": person_id, "token_id": token_id, "made_at": at, "seen_at": at}
    connection.execute(insert(session).values(row))


def session_by_hash(connection: Connection, digest: bytes) -> SessionRow | None:
    """Return a session, or None."""
    row = connection.execute(_SESSION, {"digest": digest}).first()
    return None if row is None else SessionRow(**row._mapping)


def change_session(connection: Connection, digest: bytes, **values: Any) -> None:
    """Change columns of a session."""
    connection.execute(update(session).where(session.c.hash == digest).values(**values))


def end_session(connection: Connection, digest: bytes) -> None:
    """End a session."""
    connection.execute(delete(session).where(session.c.hash == digest))


def end_sessions_of(connection: Connection, person_id: int, *, keep: bytes = b"") -> None:
    """End a person's sessions, but for one that may be kept."""
    connection.execute(delete(session).where(session.c.person_id == person_id, session.c.hash != keep))


def forget_sessions(connection: Connection, before: datetime) -> None:
    """Drop the sessions that nobody has used since."""
    connection.execute(delete(session).where(session.c.seen_at < before))


# Pairing


def insert_pairing(connection: Connection, digest: bytes, station_id: int, at: datetime) -> None:
    """Keep a code that pairs one tablet with a station."""
    connection.execute(insert(pairing).values(hash=digest, station_id=station_id, made_at=at))


def take_pairing(connection: Connection, digest: bytes, since: datetime) -> str | None:
    """Use a code up; return the name of its station, or None when there is no such code made since then."""
    connection.execute(delete(pairing).where(pairing.c.made_at < since))
    query = select(station.c.name).join(pairing, pairing.c.station_id == station.c.id).where(pairing.c.hash == digest)
    name: str | None = connection.execute(query).scalar()
    connection.execute(delete(pairing).where(pairing.c.hash == digest))
    return name


# Failed sign-ins


def failed_sign_ins(connection: Connection, about: str) -> FailedSignIns | None:
    """Return how often it failed, or None."""
    row = connection.execute(
        select(failed_sign_in.c.failed, failed_sign_in.c.last_at).where(failed_sign_in.c.about == about)
    ).first()
    return None if row is None else FailedSignIns(failed=row.failed, last_at=row.last_at)


def note_failed_sign_in(connection: Connection, about: str, failed: int, at: datetime) -> None:
    """Keep how often it has failed by now."""
    forget_failed_sign_ins(connection, about)
    connection.execute(insert(failed_sign_in).values(about=about, failed=failed, last_at=at))


def forget_failed_sign_ins(connection: Connection, about: str) -> None:
    """Forget the failures."""
    connection.execute(delete(failed_sign_in).where(failed_sign_in.c.about == about))


def forget_older_failed_sign_ins(connection: Connection, before: datetime) -> None:
    """Drop the failures that are older."""
    connection.execute(delete(failed_sign_in).where(failed_sign_in.c.last_at < before))


# Tokens


def list_tokens(connection: Connection) -> list[TokenView]:
    """Return all tokens, those in force first, by name."""
    columns = (token.c.id, token.c.name, token.c.role, station.c.name.label("station"))
    query = (
        select(*columns, token.c.made_at, token.c.withdrawn_at)
        .outerjoin(station, station.c.id == token.c.station_id)
        .order_by(token.c.withdrawn_at.is_not(None), token.c.name, token.c.id)
    )
    return [TokenView(**{**row._mapping, "role": Role(row.role)}) for row in connection.execute(query)]


def withdraw_token_numbered(connection: Connection, token_id: int, at: datetime) -> int:
    """Withdraw one token; return 1 when it was in force."""
    mine = update(token).where(token.c.id == token_id, token.c.withdrawn_at.is_(None))
    return connection.execute(mine.values(withdrawn_at=at)).rowcount
