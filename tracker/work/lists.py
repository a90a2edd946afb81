"""The shop's lists, given as TOML texts: cartons, boards, the limit on the scale, construction standards."""

from datetime import datetime
from importlib.resources import files
from typing import Final

from sqlalchemy import Connection

from tracker.records.database import Database
from tracker.records.settings import keep_setting, setting_names, setting_text
from tracker.shop.cabinets.standard import Standard
from tracker.shop.cabinets.standard_reading import read_standard, version_of
from tracker.shop.errors import InvalidInputError, NotFoundError, fault_at
from tracker.shop.job_boxes import Packing
from tracker.shop.lifting import LiftingMarks
from tracker.shop.saying import say
from tracker.shop.supplies import Boards, read_boards, read_packing, read_weight_limit
from tracker.shop.weighing import USUAL_LIMIT, Limit

CARTONS: Final = "cartons"
BOARDS: Final = "boards"
STANDARD: Final = "standard"
WEIGHING: Final = "weighing"
KINDS: Final = (CARTONS, BOARDS, WEIGHING, STANDARD)


def set_list(database: Database, kind: str, text: str, *, who: str, now: datetime) -> str:
    """Check a list and keep it; return the name under which it is kept.

    A standard is kept under its own name; giving the same name again needs a higher version, so that the number tells
    two texts apart. Raises InvalidInputError naming each fault.
    """
    name = kind
    match kind:
        case "cartons":
            read_packing(text)
        case "boards":
            read_boards(text)
        case "weighing":
            read_weight_limit(text)
        case "standard":
            standard = read_standard(text)
            name = f"{STANDARD}/{standard.name}"
            _check_version(database, name, text, standard)
        case _:
            told = say("There is no list %(name)s; there are: %(known)s.", name=repr(kind[:40]), known=", ".join(KINDS))
            raise InvalidInputError(told)
    with database.write() as connection:
        keep_setting(connection, name, text, who=who, now=now)
    return name


def _check_version(database: Database, name: str, text: str, standard: Standard) -> None:
    if len(name) > LONGEST_NAME:
        what = say("wanted: at most %(most)s characters", most=LONGEST_NAME - len(STANDARD) - 1)
        raise InvalidInputError(say("The standard's name is too long."), [fault_at("name", what)])
    with database.read() as connection:
        kept = setting_text(connection, name)
    if kept is not None and kept != text and version_of(kept) >= standard.version:
        what = say(
            "wanted: more than %(version)s, the version that is kept under this name",
            version=version_of(kept),
        )
        fault = fault_at("version", what)
        raise InvalidInputError(say("Another text has this name and version."), [fault])


LONGEST_NAME: Final = 80


def packing_of(database: Database) -> Packing | None:
    """Return the shop's cartons, or None when it has listed none: then a cabinet is a box."""
    with database.read() as connection:
        text = setting_text(connection, CARTONS)
    return None if text is None else read_packing(text)


def lifting_marks(database: Database) -> LiftingMarks:
    """Return above which mass a thing is for two people or a trolley, by the shop's list of cartons."""
    packing = packing_of(database)
    return LiftingMarks() if packing is None else packing.marks


def boards_of(database: Database) -> Boards:
    """Return the shop's boards, or the usual size for every material when it has listed none."""
    with database.read() as connection:
        text = setting_text(connection, BOARDS)
    return Boards() if text is None else read_boards(text)


def weight_limit(connection: Connection) -> Limit:
    """Return how far off a box may be when a packer alone seals it."""
    text = setting_text(connection, WEIGHING)
    return USUAL_LIMIT if text is None else read_weight_limit(text)


def shipped_standard() -> Standard:
    """Return the construction standard that comes with the program."""
    return read_standard(shipped_standard_text())


def shipped_standard_text() -> str:
    return files("tracker.shop.cabinets").joinpath("standard.toml").read_text(encoding="utf-8")


def standard_named(database: Database, name: str | None) -> Standard:
    """Return a standard of the shop by its name; without a name, the one that comes with the program.

    Raises InvalidInputError naming the standards that there are.
    """
    shipped = shipped_standard()
    with database.read() as connection:
        text = setting_text(connection, f"{STANDARD}/{name or shipped.name}")
        known = [kept.removeprefix(f"{STANDARD}/") for kept in setting_names(connection) if kept.startswith(STANDARD)]
    if text is not None:
        return read_standard(text)
    if name in (None, shipped.name):
        return shipped
    what = say(
        "%(name)s is not known; known: %(known)s",
        name=repr(str(name)[:80]),
        known=", ".join(sorted({shipped.name, *known})),
    )
    fault = fault_at("standard", what)
    raise InvalidInputError(say("There is no such construction standard."), [fault])


def list_text(database: Database, name: str) -> str:
    """Return a list as it was given. Raises NotFoundError when there is none of this name."""
    with database.read() as connection:
        text = setting_text(connection, name)
    if text is None and name in (STANDARD, f"{STANDARD}/{shipped_standard().name}"):
        text = shipped_standard_text()
    if text is None and name == WEIGHING:
        text = f"percent = {USUAL_LIMIT.percent:g}\nleast = {USUAL_LIMIT.least_kg:g}\n"
    if text is None:
        raise NotFoundError(say("No list %(name)s is kept.", name=name[:80]))
    return text
