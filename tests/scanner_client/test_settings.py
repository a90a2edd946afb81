"""The file of settings."""

from pathlib import Path

import pytest

from scanner_client.main import read_token
from scanner_client.settings import Settings, SettingsError, Show, read_settings

WHOLE = """
server = "http://shop:8000"
token_file = "saw.token"
source = "serial:/dev/ttyACM0"
station = "SAW-1"
queue = "/var/lib/saw-1/queue.db"
show = "lines"
bell = false
drain_seconds = 5
timeout_seconds = 2.5
longest_pause_seconds = 30

[commands]
right = ["/usr/local/bin/lamp", "green"]
wrong_box = ["/usr/local/bin/lamp", "red", "blink"]
"""


def _written(folder: Path, text: str) -> Path:
    path = folder / "saw.toml"
    path.write_text(text)
    return path


def test_a_file_sets_everything_and_its_paths_start_where_it_lies(tmp_path: Path) -> None:
    settings = read_settings(_written(tmp_path, WHOLE), {})
    assert settings == Settings(
        server="http://shop:8000",
        token_file=tmp_path / "saw.token",
        source="serial:/dev/ttyACM0",
        station="SAW-1",
        queue=tmp_path / "/var/lib/saw-1/queue.db",
        show=Show.LINES,
        bell=False,
        drain_seconds=5,
        timeout_seconds=2.5,
        longest_pause_seconds=30,
        commands={
            "right": ["/usr/local/bin/lamp", "green"],
            "wrong_box": ["/usr/local/bin/lamp", "red", "blink"],
        },
    )
    assert settings.list_file == Path("/var/lib/saw-1/queue.list.db")


def test_a_flag_goes_before_the_file_and_one_that_is_not_given_does_not(tmp_path: Path) -> None:
    settings = read_settings(_written(tmp_path, WHOLE), {"station": "SAW-2", "server": None})
    assert (settings.station, settings.server) == ("SAW-2", "http://shop:8000")


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("server = ", "are no TOML"),
        ("sever = 'x'", "hold sever, which there is not: use server,"),
        ("server = 7", "server is 7: wanted is a text"),
        ("show = 'all'", "show is 'all': wanted is auto or wall or lines"),
        ("bell = 1", "bell is 1: wanted is true or false"),
        ("timeout_seconds = true", "timeout_seconds is True: wanted is a number"),
        ("timeout_seconds = 0", "timeout_seconds is out of bounds"),
        ("longest_pause_seconds = 1e9", "longest_pause_seconds is out of bounds"),
        ("drain_seconds = -1", "drain_seconds is less than nothing"),
        ("[commands]\nright = 'lamp green'", "wanted is a list of words"),
        ("[commands]\nright = []", "wanted is a list of words"),
        ("commands = 3", "a table of commands"),
    ],
)
def test_what_cannot_be_used_is_said_with_what_is_wanted(tmp_path: Path, text: str, why: str) -> None:
    with pytest.raises(SettingsError, match=r"saw\.toml") as told:
        read_settings(_written(tmp_path, text), {})
    assert why in str(told.value)


def test_a_file_that_is_not_there_and_a_setting_that_is_missing_are_said(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match="cannot be read"):
        read_settings(tmp_path / "none.toml", {})
    for text, missing in (("", "no server"), ("server = 'http://shop'", "no token-file")):
        with pytest.raises(SettingsError, match=missing):
            _ = read_settings(_written(tmp_path, text), {}).checked_token_file


def test_a_file_without_an_end_is_left() -> None:
    endless = Path("/dev/zero")
    with pytest.raises(SettingsError, match="more than 200,000 characters"):
        read_settings(endless, {})
    with pytest.raises(ValueError, match="more than 200,000 characters"):
        read_token(endless)
