"""Scans whose time cannot be are taken, and every surface and check that shows them answers afterwards."""

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from click.testing import CliRunner
from flask import Flask

from tests.api.conftest import Caller
from tests.pages.callers import signed_in
from tracker.cli import main
from tracker.records.database import Database
from tracker.shop.codes import box_code, part_code
from tracker.shop.roles import Role
from tracker.shop.steps import Step
from tracker.shop.times import read_time
from tracker.work.access import add_station

PART, BOX = part_code(1), box_code(1)
SIZE = {"length": 564, "width": 560, "thickness": 18}
ORDER = {
    "code": "J-1",
    "customer": "Invented",
    "due": "2027-03-05",
    "parts": [{"cabinet": "101", "part": name, **SIZE} for name in ("Deck", "Toe kick")],
}
API = ["/missing", "/jobs", "/jobs/J-1", "/jobs/J-1/parts", f"/parts/{PART}", f"/boxes/{BOX}", "/changes?since=0"]
STATIONS = ("/station/CUT-1", "/pack/PACK-1")
PAGES = [
    *(*STATIONS, "/station/CUT-1/now", "/pack/PACK-1/bench", "/pack/PACK-1/next"),
    *("/", "/stations", "/missing", "/jobs/J-1", "/jobs/J-1/now", f"/boxes/{BOX}", "/flagged", f"/find?code={PART}"),
]
TIMES = ("0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-14:00", "1970-01-01T00:05:00Z", "0001-01-01T00:00:00Z")


def scans(time: str) -> list[dict[str, Any]]:
    """A part that is passed, then marked as damaged, and an undo."""
    acts = ({"code": PART}, {"code": PART, "action": "damaged"}, {"code": "", "action": "undo"})
    return [{"id": str(uuid4()), "at": time, **act} for act in acts]


@pytest.mark.parametrize("sent", [None, "0001-01-01T00:00:00+14:00", "9999-12-31T23:00:00-14:00", "now"])
def test_whatever_time_a_scan_says_every_surface_answers_afterwards(
    app: Flask, admin: Caller, sqlite: Database, tmp_path: Path, sent: str | None
) -> None:
    for name, step in (("CUT-1", Step.CUT), ("PACK-1", Step.PACK)):
        add_station(sqlite, name, step)
    assert admin.post("/jobs", ORDER).status_code == 201
    before = datetime.now(UTC)
    told = {} if sent is None else {"sent_at": before.isoformat() if sent == "now" else sent}
    rows = [{**row, "station": station} for time in TIMES for station in ("CUT-1", "PACK-1") for row in scans(time)]
    outcomes = [each["outcome"] for each in admin.post("/scans", {"scans": rows, **told}).json["results"]]
    foreman = signed_in(app, f"secret {Role.FOREMAN}")
    for page in STATIONS:
        sent_late = json.dumps({"scans": [row | told for time in TIMES for row in scans(time)]})
        told_back: Any = foreman.post(f"{page}/scan", sent_late).json
        outcomes += [each["outcome"] for each in told_back["answers"]]
    assert len(outcomes) == 48
    assert "misread" not in outcomes
    for path in API:
        assert admin.get(path).status_code == 200, path
    for path in PAGES:
        assert foreman.get(path).status_code == 200, path
    kept = [read_time(each["at"]) for each in admin.get(f"/parts/{PART}").json["history"]]
    assert len(kept) == len(outcomes)
    assert all(before <= at <= datetime.now(UTC) for at in kept), "each counts from when it arrived"
    verified = CliRunner(env={"TRACKER_DATABASE_URL": str(sqlite.url), "TRACKER_DATA_DIR": str(tmp_path)}).invoke(
        main, ["verify"]
    )
    assert verified.exit_code == 0, verified.output
