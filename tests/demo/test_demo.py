"""The demo: the honest loop once, and the shop that is open all day."""

import json
import os
import re
import signal
import subprocess
import sys
import urllib.parse
import urllib.request
from pathlib import Path
from typing import Any

import pytest
import zxingcpp
from PIL import Image

from tests.played_day import Day
from tests.waiting import HANGS_AFTER_S, until
from tracker.demo.shop import read_image

PROGRAM = [sys.executable, "-c", "from tracker.cli import main; main()", "demo"]


def test_the_main_job_runs_once_from_cabinets_to_a_shipped_load(day: Day) -> None:
    story = day.said
    assert story.count("labels drawn and read back") == 4
    labels = sum(int(count) for count in re.findall(r"(\d+) labels drawn", story))
    parts = sum(int(count) for count in re.findall(r"(\d+) parts of", story))
    cabinets = sum(int(count) for count in re.findall(r"of (\d+) cabinets", story))
    boxes = sum(int(count) for count in re.findall(r"(\d+) boxes\. ", story))
    assert (cabinets, labels) == (38, parts + boxes)
    assert max(map(int, re.findall(r"One absent box stops at most (\d) cabinets?\.", story))) <= 3
    assert parts > 480
    assert len(re.findall(r"boards \(no plan needs fewer than", story)) == 4
    assert "passed all their parts; 0 parts wait for it" in story
    assert re.search(r"left with all \d+ boxes", story)
    assert re.search(r"the sheet of cabinet 101: \d+ pages", story)
    assert re.search(r"Deck P\d{10} of cabinet 101 is damaged", story)
    assert "would not seal. It lacks: Door (waits for band)" in story
    assert re.search(r"are on it, and it stays: box \S+ would stay behind \(packing, parts missing: 1\)", story)
    assert "Marked damaged" in story
    assert "wrong_box" in story
    assert "now says: replaced" in story
    assert "0 differences" in story


def test_a_label_that_does_not_read_or_reads_as_something_else_stops_the_loop() -> None:
    blank = Image.new("1", (400, 200), 1)
    with pytest.raises(ValueError, match="read as"):
        read_image(blank)
    foreign = zxingcpp.create_barcode("HELLO", zxingcpp.BarcodeFormat.Code128)
    picture = Image.fromarray(foreign.to_image(scale=3)).convert("L")
    canvas = Image.new("L", (picture.width + 80, picture.height + 80), 255)
    canvas.paste(picture, (40, 40))
    with pytest.raises(ValueError, match="HELLO"):
        read_image(canvas)


def test_the_shop_is_open_with_a_sign_in_for_each_role_and_stations_that_scan(tmp_path: Path) -> None:
    told = tmp_path / "told"
    folder = str(tmp_path / "a shop")
    environment = {**os.environ, "TRACKER_DATA_DIR": folder, "PYTHONUNBUFFERED": "1"}
    environment.pop("TRACKER_DATABASE_URL", None)
    with told.open("wb") as stream:
        demo = subprocess.Popen([*PROGRAM, "--port", "0"], stdout=stream, stderr=subprocess.STDOUT, env=environment)
    try:
        address, tokens, people = _opened(told)
        assert set(people) == set(tokens)
        assert _signed_in(address, *people["foreman"]) == f"{address}/"
        assert set(tokens) == {"station", "packer", "foreman", "office", "admin"}
        first, more = 0, True
        while more:  # the day that was played before: what comes after it was scanned by the stations
            changes = _get(f"{address}/api/v1/changes?since={first}", tokens["station"])
            first, more = changes["now"], changes["more"]
        news = f"{address}/api/v1/changes?since={first}"
        scanned = until(lambda: _get(news, tokens["station"])["parts"], why=lambda: "no simulated station scanned")
        part = _get(f"{address}/api/v1/parts/{scanned[0]}", tokens["station"])
        assert part["last_seen"]["station"].endswith("-2"), "it scans beside the stations that are tried by hand"
        assert f"export TRACKER_DATA_DIR='{folder}'" in told.read_text()
        made = _in_another_terminal(environment, "token", "mine", "--role", "office")
        jobs = _get(f"{address}/api/v1/jobs", made.stdout.strip())["items"]
        assert sorted(job["status"] for job in jobs) == ["open", "open", "open", "shipped"]
    finally:
        demo.send_signal(signal.SIGTERM)
        ended = demo.wait(HANGS_AFTER_S)
    assert ended == 0
    again = _in_another_terminal(environment, "demo", "--port", "0")
    assert (again.returncode, "holds a shop already" in again.stderr) == (1, True)


def _in_another_terminal(environment: dict[str, str], *arguments: str) -> subprocess.CompletedProcess[str]:
    command = [*PROGRAM[:-1], *arguments]
    return subprocess.run(command, env=environment, capture_output=True, text=True, check=False, timeout=HANGS_AFTER_S)


def _signed_in(address: str, name: str, password: str) -> str:
    """Sign in as a browser does; return where it led."""
    opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())
    form = opener.open(f"{address}/sign-in", timeout=HANGS_AFTER_S).read().decode()
    proof = re.search(r'name="csrf_token" value="([^"]+)"', form)
    assert proof is not None
    given = urllib.parse.urlencode({"csrf_token": proof.group(1), "name": name, "password": password})
    with opener.open(f"{address}/sign-in", data=given.encode(), timeout=HANGS_AFTER_S) as answer:
        found: str = answer.url
    return found


def _opened(told: Path) -> tuple[str, dict[str, str], dict[str, tuple[str, str]]]:
    until(lambda: "Stop with Ctrl-C" in told.read_text(), why=told.read_text)
    text = told.read_text()
    tokens = dict(re.findall(r"^  (station|packer|foreman|office|admin) +(\S+)$", text, re.MULTILINE))
    rows = re.findall(r"^  (station|packer|foreman|office|admin) +(\w+ \w+) +(\S+)$", text, re.MULTILINE)
    found = re.search(r"http://\S+", text)
    assert found is not None
    return found.group(0), tokens, {role: (name, password) for role, name, password in rows}


def _get(url: str, token: str) -> Any:
    request = urllib.request.Request(url, headers={"Authorization": f"Bearer {token}"})
    with urllib.request.urlopen(request, timeout=HANGS_AFTER_S) as response:
        return json.load(response)
