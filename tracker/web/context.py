"""The shop behind a request: its database, the time, who asks, and what an act is signed with."""

from datetime import UTC, datetime
from typing import Any

from flask import current_app, g

from tracker.records.database import Database
from tracker.records.people import has_badges
from tracker.settings import Settings
from tracker.shop.lifting import LiftingMarks
from tracker.work.access import Bearer
from tracker.work.group_commit import GroupCommit
from tracker.work.lists import lifting_marks
from tracker.work.print_queue import PrintQueue


def database() -> Database:
    """The shop's database."""
    found: Database = current_app.extensions["shop_database"]
    return found


def settings() -> Settings:
    """The settings of this service."""
    found: Settings = current_app.extensions["shop_settings"]
    return found


def scan_counter() -> GroupCommit:
    """Where scans are taken."""
    found: GroupCommit = current_app.extensions["shop_scans"]
    return found


def print_queue() -> PrintQueue:
    """Who sends prints."""
    found: PrintQueue = current_app.extensions["shop_prints"]
    return found


def bearer() -> Bearer:
    """Who asks: by a session or by a token."""
    found: Bearer = g.bearer
    return found


def now() -> datetime:
    """The server's time."""
    return datetime.now(UTC)


def act() -> dict[str, Any]:
    """Who acts, and when: what the acts in ``tracker.work`` take."""
    return {"who": bearer().name, "now": now()}


def marks() -> LiftingMarks:
    """The shop's marks for two people and for a trolley, looked up once a request."""
    if "lifting_marks" not in g:
        g.lifting_marks = lifting_marks(database())
    found: LiftingMarks = g.lifting_marks
    return found


def is_nobody() -> bool:
    """Whether a badge should be scanned first: at a tablet by itself, in a shop that has badges."""
    if bearer().station is None or bearer().worker_id is not None:
        return False
    with database().read() as connection:
        return has_badges(connection)
