"""The program that keeps the pages on a device, as the server hands it out."""

import os
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from flask.testing import FlaskClient

from tests.shops import app_of, sqlite_shop
from tracker.pages.frame.files import PAGES
from tracker.pages.scanning.offline import files
from tracker.settings import Settings


@pytest.fixture
def client(tmp_path: Path) -> Iterator[FlaskClient]:
    database = sqlite_shop(tmp_path / "shop.db")
    settings = Settings(data_dir=tmp_path, database_url=str(database.url), secret_key="for tests")  # noqa: S106
    yield app_of(settings, database).test_client()
    database.close()


def test_it_is_a_script_at_the_top_that_is_asked_for_anew_each_time(client: FlaskClient) -> None:
    answer = client.get("/service-worker.js")
    assert answer.status_code == 200
    # Service Workers, section "Register": the type is checked; a script serves its own folder at most.
    assert answer.mimetype == "text/javascript"
    assert answer.headers["Cache-Control"] == "no-cache"
    assert answer.text.startswith('const VERSION = "')


def test_the_policy_that_all_answers_carry_allows_it_and_no_script_of_others(client: FlaskClient) -> None:
    policy = client.get("/service-worker.js").headers["Content-Security-Policy"]
    assert "default-src 'self'" in policy  # what a worker falls back to (Content Security Policy Level 3, worker-src)


_REFERS = re.compile(r'(?:from|import|src=|href=) ?"([^"]+[.](?:js|css|svg))"')


@pytest.mark.parametrize("page", ["station/station.html", "bench/pack.html", "frame/frame.html"])
def test_each_file_that_the_two_pages_load_is_named_to_it(page: str) -> None:
    waiting, loaded = [PAGES / page], set[Path]()
    while waiting:
        path = waiting.pop()
        text = path.read_text().replace("{{ url_for('static', filename='", f"{PAGES}/").replace("') }}", "")
        found = {Path(os.path.normpath(path.parent / each)) for each in _REFERS.findall(text)} - loaded
        loaded |= found
        waiting += found
    assert len(loaded) > 1
    assert {f"/static/{path.relative_to(PAGES)}" for path in loaded} <= set(files())


def test_its_version_is_the_same_as_long_as_the_pages_are_made_of_the_same(client: FlaskClient) -> None:
    first, second = (client.get("/service-worker.js").text for _time in range(2))
    assert first == second
