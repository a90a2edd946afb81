"""What an error of the database driver means: the one place that reads the drivers' own codes."""

from typing import Any, Final

from sqlalchemy.exc import DBAPIError, OperationalError

from tracker.shop.failures import Failure

# SQLite's primary result codes (sqlite.org/rescode.html).
_SQLITE: Final = {11: Failure.DAMAGED, 26: Failure.DAMAGED, 13: Failure.DISK_FULL}
# SQLSTATE (PostgreSQL's manual, appendix A): disk_full, data_corrupted, index_corrupted.
_SQLSTATE: Final = {"53100": Failure.DISK_FULL, "XX001": Failure.DAMAGED, "XX002": Failure.DAMAGED}


def failure_of(error: BaseException | None) -> Failure | None:
    """Return what is wrong with the database, or None for an error of another kind."""
    if not isinstance(error, DBAPIError):
        return None
    known = failure_in(error.orig)
    if known is None and (isinstance(error, OperationalError) or error.connection_invalidated):
        return Failure.AWAY
    return known


def failure_in(driver: Any) -> Failure | None:
    """Return what a driver's own error says is wrong with the database, if its code is a known one."""
    known = _SQLITE.get(getattr(driver, "sqlite_errorcode", 0) & 0xFF)
    return known or _SQLSTATE.get(getattr(driver, "sqlstate", None) or "")
