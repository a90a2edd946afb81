"""The commands that ask say what the calls of the same name say."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from tests.floor import Floor
from tests.shops import app_of
from tracker.cli import main
from tracker.records.database import Database
from tracker.settings import Settings
from tracker.shop.codes import box_code
from tracker.shop.roles import Role
from tracker.shop.scans import Action
from tracker.work.access import make_token
from tracker.work.jobs import cancel_job, hold_job

Run = Callable[..., Result]


@pytest.fixture
def run(floor: Floor, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    monkeypatch.setenv("TRACKER_DATA_DIR", str(tmp_path / "data"))
    monkeypatch.setenv("TRACKER_DATABASE_URL", floor.database.url.render_as_string(hide_password=False))
    monkeypatch.setenv("TRACKER_TIMEZONE", "America/New_York")
    floor.scan(floor.deck, "CUT-1")
    floor.scan(floor.toe_kick, "CUT-1", action=Action.DAMAGED)
    runner = CliRunner()
    return lambda *arguments: runner.invoke(main, arguments)


def called(floor: Floor, database: Database, folder: Path, path: str) -> Any:
    make_token(database, "asks", Role.STATION, secret="a token that asks".strip, now=floor.tick())
    settings = Settings(data_dir=folder, database_url=str(database.url), secret_key="for tests")  # noqa: S106
    bearer = {"Authorization": "Bearer a token that asks"}
    return app_of(settings, database).test_client().get(f"/api/v1{path}", headers=bearer).json


@pytest.mark.parametrize("asked", ["jobs", "missing", "part", "box"])
def test_for_programs_a_command_answers_as_the_call_does(
    run: Run, floor: Floor, database: Database, tmp_path: Path, asked: str
) -> None:
    code = {"part": floor.deck, "box": floor.box_101}.get(asked)
    answer = json.loads(run(asked, *([code] if code else []), "--json").output)
    path = {"jobs": "/jobs", "missing": "/missing", "part": f"/parts/{code}", "box": f"/boxes/{code}"}[asked]
    said = called(floor, database, tmp_path, path)
    assert answer == ({"items": said["items"]} if "items" in said and code is None else said)


def test_a_job_is_told_with_what_its_boxes_lack(run: Run, floor: Floor, database: Database, tmp_path: Path) -> None:
    answer = json.loads(run("job", "J-1", "--json").output)
    missing = answer.pop("missing")
    assert answer == called(floor, database, tmp_path, "/jobs/J-1")
    assert missing == json.loads(run("missing", "--job", "J-1", "--json").output)["items"]


def test_people_read_where_each_part_was_last_seen_on_the_shops_clock(run: Run, floor: Floor) -> None:
    told = run("missing").output
    assert f"Box 101 of J-1 ({floor.box_101})" in told
    assert f"{floor.deck} Deck, cabinet 101: waits for machine, last seen " in told
    assert "damaged, waits for cut, last seen" in told
    assert "not scanned yet" in told
    assert "spring pin 8 mm: not counted" in told
    seen = floor.part(floor.deck).last_seen
    assert seen is not None
    hour = (seen.at.hour - 5) % 24  # in March before the second Sunday New York is five hours behind UTC
    assert f"{hour:02}:{seen.at:%M} at CUT-1" in told


def test_a_part_is_told_with_its_box_and_its_history(run: Run, floor: Floor) -> None:
    told = run("part", floor.deck).output.splitlines()
    assert told[0].startswith(f"{floor.deck} Deck, cabinet 101 of job J-1: waits for machine, last seen")
    assert told[1] == f"It belongs in box 101 of J-1 ({floor.box_101}), which is open."
    assert [line for line in told[2:] if "CUT-1" in line]


def test_a_box_is_told_with_its_parts_and_items(run: Run, floor: Floor) -> None:
    told = run("box", floor.box_101.lower()).output.splitlines()
    assert told[0].startswith(f"Box 101 of J-1 ({floor.box_101}): open, leaves on ")
    assert any(floor.deck in line for line in told)


def test_a_job_on_hold_says_so_and_a_cancelled_one_is_listed_only_when_asked_for(run: Run, floor: Floor) -> None:
    hold_job(floor.database, "J-1", **floor.act())
    assert "(on hold)" in run("jobs").output
    assert "on hold, leaves on" in run("missing").output
    cancel_job(floor.database, "J-1", **floor.act())
    assert run("jobs").output == "No job is unfinished. Use --all for the others.\n"
    assert run("missing").output == "Nothing is missing.\n"
    assert "J-1 for" in run("jobs", "--all").output
    assert "(cancelled)" in run("jobs", "--all").output


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("job", "J-9"), "There is no job J-9."),
        (("missing", "--job", "J-9"), "There is no job J-9."),
        (("part", "P0000999906"), "is no code"),
        (("part", box_code(1)), "is not the code of a part"),
        (("box", "nonsense"), "nonsense is no code"),
    ],
)
def test_what_is_not_there_is_refused_in_one_sentence(run: Run, arguments: tuple[str, ...], says: str) -> None:
    refused = run(*arguments)
    assert refused.exit_code == 1
    assert says in refused.output
    assert len(refused.output.splitlines()) == 1


def test_for_programs_a_refusal_is_what_the_call_would_answer(
    run: Run, floor: Floor, database: Database, tmp_path: Path
) -> None:
    refused = run("job", "J-9", "--json")
    assert refused.exit_code == 1
    said = called(floor, database, tmp_path, "/jobs/J-9")
    assert json.loads(refused.stdout) == {name: said[name] for name in ("type", "title", "detail")}
