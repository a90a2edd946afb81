"""The people of the shop: who they are, what they may do, and the badges that they work by."""

import secrets
from datetime import datetime
from functools import cache
from threading import BoundedSemaphore
from typing import Final
from unicodedata import normalize

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError
from sqlalchemy import Connection

from tracker.records import people as kept
from tracker.records.database import Database
from tracker.records.people import PersonRow
from tracker.records.writing import take_numbers
from tracker.shop.codes import HIGHEST_NUMBER, Code, Kind
from tracker.shop.errors import ConflictError, InvalidInputError, NotFoundError, fault_at
from tracker.shop.lengths import Units
from tracker.shop.roles import Role
from tracker.shop.saying import join, say
from tracker.work.access import Named, check_name

SHORTEST_PASSWORD: Final = 10
LONGEST_PASSWORD: Final = 200
LANGUAGES: Final = ("en", "es")
_HASHER: Final = PasswordHasher()  # Argon2id with the parameters of RFC 9106, section 4, for little memory
_AT_ONCE: Final = BoundedSemaphore(2)  # each takes 64 MiB and a core: a flood of guesses must not take them all


_NAME: Final = Named(inside=say("a person's name"), first=say("A person's name"))


def add_person(database: Database, name: str, role: Role, *, password: str | None, now: datetime) -> int:
    """Add a person; without a password they work by badge alone. Return their number."""
    check_name(name, _NAME)
    hashed = None if password is None else _hashed(password)
    with database.write() as connection:
        if kept.person_by_name(connection, name) is not None:
            raise ConflictError(say("There is a person %(name)s already. A name is never given twice.", name=name))
        number = take_numbers(connection, "person", 1)[0]
        kept.insert_person(connection, number, name=name, role=role, password=hashed, at=now)
    return number


def list_people(database: Database) -> list[PersonRow]:
    """Return all people, those who left last."""
    with database.read() as connection:
        return kept.list_people(connection)


def set_password(database: Database, person_id: int, password: str, *, keep: bytes = b"") -> None:
    """Give a person a password; their sessions end, but for the one whose digest is kept."""
    hashed = _hashed(password)
    with database.write() as connection:
        _person(kept.person_by_id(connection, person_id))
        kept.change_person(connection, person_id, password=hashed)
        kept.end_sessions_of(connection, person_id, keep=keep)


def set_role(database: Database, person_id: int, role: Role) -> None:
    """Change what a person may do. Raises ConflictError for the last administrator."""
    with database.write() as connection:
        found = _person(kept.person_by_id(connection, person_id))
        if role is not Role.ADMIN:
            _refuse_last_admin(kept.list_people(connection), found)
        kept.change_person(connection, person_id, role=role)


def set_choices(database: Database, person_id: int, *, language: str | None, units: Units | None) -> None:
    """Keep the language and the units that a person reads in; None is what the browser asks for."""
    if language is not None and language not in LANGUAGES:
        wanted = say("wanted: %(languages)s", languages=join(LANGUAGES, between=" or "))
        fault = fault_at("language", wanted)
        raise InvalidInputError(say("This language is not spoken here."), [fault])
    with database.write() as connection:
        _person(kept.person_by_id(connection, person_id))
        kept.change_person(connection, person_id, language=language, units=None if units is None else units.value)


def withdraw_person(database: Database, person_id: int, *, now: datetime) -> None:
    """Let a person in no more: sessions and badges end. Raises ConflictError for the last administrator."""
    with database.write() as connection:
        found = _person(kept.person_by_id(connection, person_id))
        _refuse_last_admin(kept.list_people(connection), found)
        kept.change_person(connection, person_id, withdrawn_at=now)
        kept.withdraw_badges(connection, person_id, now)
        kept.end_sessions_of(connection, person_id)


def make_badge(database: Database, person_id: int, *, now: datetime) -> str:
    """Give a person a new badge; the old ones open nothing any more. Return its code."""
    with database.write() as connection:
        _person(kept.person_by_id(connection, person_id))
        kept.withdraw_badges(connection, person_id, now)
        number = _unused_number(connection)
        kept.insert_badge(connection, number, person_id, now)
    return str(Code(Kind.WORKER, number))


def _unused_number(connection: Connection) -> int:
    """Return a number that no badge has had: by chance, so that nobody makes up another's from their own."""
    while True:
        number = 1 + secrets.randbelow(HIGHEST_NUMBER)
        if not kept.is_badge(connection, number):
            return number


def password_is_right(person: PersonRow | None, password: str) -> bool:
    """Whether this is the person's password. It takes as long for an unknown person as for a known one."""
    known = person.password if person is not None and not person.withdrawn else None
    nobodys = _nobodys()
    try:
        with _AT_ONCE:
            _HASHER.verify(known or nobodys, _spelled(password[: 4 * LONGEST_PASSWORD]))
    except (VerificationError, InvalidHashError):
        return False
    return known is not None


@cache
def _nobodys() -> str:
    """What an unknown name is checked against, so that it takes as long as a known one."""
    return _HASHER.hash("nobody has this password")


def _spelled(password: str) -> str:
    """Return the password in one spelling: keyboards write an accented letter as one sign or as two.

    NIST SP 800-63B (2017), 5.1.1.2, from memory: NFKC before it is hashed.
    """
    return normalize("NFKC", password)


def _hashed(password: str) -> str:
    spelled = _spelled(password[: 4 * LONGEST_PASSWORD])
    if not SHORTEST_PASSWORD <= len(spelled) <= LONGEST_PASSWORD:
        what = say("wanted: %(least)s to %(most)s characters", least=SHORTEST_PASSWORD, most=LONGEST_PASSWORD)
        raise InvalidInputError(say("This password cannot be used."), [fault_at("password", what)])
    with _AT_ONCE:
        return _HASHER.hash(spelled)


def _person(found: PersonRow | None) -> PersonRow:
    if found is None or found.withdrawn:
        raise NotFoundError(say("There is no such person."))
    return found


def _refuse_last_admin(people: list[PersonRow], leaving: PersonRow) -> None:
    others = [each for each in people if each.role is Role.ADMIN and not each.withdrawn and each.id != leaving.id]
    if leaving.role is Role.ADMIN and not others:
        raise ConflictError(say("%(name)s is the last administrator. Name another one first.", name=leaving.name))
