"""The demo's day, played once for all tests of a run, whichever worker asks first: it takes longer than any test."""

import fcntl
import os
from dataclasses import dataclass

import pytest


@dataclass(frozen=True, kw_only=True)
class Day:
    """The shop as it stands when its day is over: what was told of it, and its database, of which to take a copy."""

    said: str
    database: bytes


def played_day(factory: pytest.TempPathFactory) -> Day:
    """Return the day, which the workers of a run share by their common folder."""
    from tracker.demo.story import run_once  # not above: workers that do not ask for it need not wait for its modules

    own = factory.getbasetemp()
    folder = own.parent / "day" if "PYTEST_XDIST_WORKER" in os.environ else own / "day"
    folder.mkdir(exist_ok=True)
    told = folder / "told.txt"
    with (folder / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not told.exists():
            said: list[str] = []
            run_once(said.append, str(folder / "shop"))
            told.write_text("\n".join(said))
    return Day(said=told.read_text(), database=(folder / "shop" / "tracker.db").read_bytes())
