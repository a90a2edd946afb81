"""What the README and the manual tell people to do works as it is written."""

import re
import socket
import subprocess
import sys
from collections.abc import Iterator
from html import unescape
from pathlib import Path
from textwrap import dedent
from typing import Any

import pytest
from flask.testing import FlaskClient

from tests.pages.test_manual import bold_names, said_on_screens
from tests.shops import app_of
from tests.waiting import HANGS_AFTER_S
from tracker.records.database import Database
from tracker.settings import read_settings

ROOT = Path(__file__).parent.parent
MANUAL = ROOT / "tracker/pages/help"
PASSWORD = "ten letters and more"  # noqa: S105
LONGEST = {"README.md": (150, 120), "DEVELOPERS.md": (200, 120)}  # lines, characters in a line


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def _commands(text: str) -> list[str]:
    """What is to be typed into a shell."""
    return [dedent(block) for block in re.findall(r" *```sh\n(.*?)```", text, re.DOTALL)]


def _typed(blocks: list[str], folder: Path, *, answers: str = "") -> str:
    """Type blocks into a shell and return what it says; ``tracker serve`` is stopped when it has served."""
    port = str(_free_port())
    script = "\n".join(["set -eu", *blocks, "kill %1", "wait"])
    script = script.replace("$PWD/.venv/bin", str(Path(sys.executable).parent))
    script = script.replace("seed_data/", f"{ROOT}/seed_data/").replace("127.0.0.1:8000", f"127.0.0.1:{port}")
    ready = f"until curl -sf http://127.0.0.1:{port}/readyz; do sleep 0.1; done"
    script = re.sub("tracker serve( &)?$", f"tracker serve --port {port} &\n{ready}", script, flags=re.MULTILINE)
    done = subprocess.run(
        ["bash", "-c", script],
        cwd=folder,
        input=answers,
        capture_output=True,
        text=True,
        timeout=2 * HANGS_AFTER_S,
        check=False,
        start_new_session=True,  # without a terminal a password is read from the input
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def test_the_tour_of_ten_minutes_works_as_it_is_written(tmp_path: Path) -> None:
    blocks = _commands((MANUAL / "commands.en.md").read_text())
    assert len(blocks) == 6
    said = _typed([*blocks, "tracker verify"], tmp_path)
    assert "made 139 parts of 10 cabinets in 12 boxes" in said
    assert "151 labels in labels.pdf" in said
    assert "10 sheets in sheets" in said
    assert "Job J-2: made" in said
    assert "+ DONE" in said
    assert re.search(r"\d+ boards \(no plan needs fewer than \d+\)", said)
    assert '"last_seen":{"at":' in said or '"station":"cut-1"' in said


def test_the_two_commands_do_all_the_set_up() -> None:
    text = (ROOT / "README.md").read_text()
    for line in re.findall(r"^python3 -m venv.*$", text, re.MULTILINE):
        assert re.search(r"pip install -q -r requirements(-dev)?\.lock", line)
    assert text.count("python3 -m venv .venv &&") == 2


@pytest.mark.parametrize("name", LONGEST)
def test_what_people_read_first_stays_short(name: str) -> None:
    most, widest = LONGEST[name]
    lines = (ROOT / name).read_text().splitlines()
    assert len(lines) <= most
    assert [line for line in lines if len(line) > widest] == []


@pytest.mark.parametrize("name", LONGEST)
def test_every_file_that_they_name_is_there(name: str) -> None:
    text = (ROOT / name).read_text()
    for target in re.findall(r"\]\(([^)#]+)", text):
        assert (ROOT / target).exists(), target
    for path in re.findall(r"`(\w+/[\w/]+\.(?:py|js))`", text):
        assert any((ROOT / floor / path).exists() for floor in (".", "tracker", "tracker/pages")), path


def _steps() -> str:
    text = (ROOT / "README.md").read_text()
    return text[text.index("## A shop in ten steps") : text.index("## Where to go on")]


def test_what_the_ten_steps_name_stands_on_the_screens() -> None:
    names = bold_names(_steps())
    assert len(names) > 10
    for name in names:
        assert said_on_screens("en").fullmatch(name), name


def test_the_readme_and_the_manual_begin_a_shop_alike() -> None:
    assert _commands((MANUAL / "first-day.en.md").read_text()) == _commands(_steps())


@pytest.fixture
def set_up(tmp_path: Path) -> Iterator[FlaskClient]:
    """A visitor of the shop that the typed step has made."""
    (typed,) = _commands(_steps())
    _typed([typed], tmp_path, answers=f"{PASSWORD}\n{PASSWORD}\n")
    settings = read_settings({"TRACKER_DATA_DIR": str(tmp_path / "my-shop")})
    database = Database(settings.database_url)
    yield app_of(settings, database).test_client()
    database.close()


def _send(client: FlaskClient, page: str, path: str, **fields: Any) -> str:
    """Send a form as it stands on a page, and return the page that comes of it."""
    found = re.search(r'name="csrf_token" value="([^"]+)"', client.get(page).text)
    assert found is not None
    answer = client.post(path, data={"csrf_token": found[1], **fields}, follow_redirects=True)
    assert answer.status_code == 200, answer.text
    return answer.text


def test_a_shop_is_set_up_by_the_ten_steps(set_up: FlaskClient) -> None:
    _send(set_up, "/sign-in", "/sign-in", name="Ida Holm", password=PASSWORD)
    assert "Sol is added." in _send(set_up, "/people", "/people", name="Sol", role="packer", password="")
    _send(set_up, "/stations", "/stations", name="SAW-1", step="cut")
    for kind in ("cartons", "boards"):
        text = (ROOT / "seed_data" / f"{kind}.toml").read_text()
        assert "Kept." in _send(set_up, "/settings", f"/settings/{kind}", text=text, do="keep")
    with (ROOT / "seed_data/mill-lane.csv").open("rb") as table:
        head = {"by": "file", "code": "J-1", "customer": "Mill Lane", "due": "2027-03-05", "units": "in"}
        looked = _send(set_up, "/orders/new", "/orders/preview", file=(table, "mill-lane.csv"), **head)
    sent = dict(re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', looked[: looked.index("Take the order")]))
    del sent["csrf_token"]
    taken = _send(set_up, "/orders/new", "/orders/take", **sent)
    assert "139 parts, 12 boxes" in " ".join(taken.split())
    assert "boards are planned" in _send(set_up, "/orders/new", "/orders/J-1/boards")
    pairing = re.search(r'class="once">([^<]+)<', _send(set_up, "/stations", "/stations/pair", station="SAW-1"))
    assert pairing is not None
    tablet = set_up.application.test_client()
    screen = _send(tablet, "/sign-in", "/sign-in", pairing=unescape(pairing[1]))
    assert "SAW-1" in screen
