"""What the environment decides, and what it may not."""

from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from tracker.settings import machine_timezone, read_settings, with_files
from tracker.shop.errors import InvalidInputError


def test_without_a_time_zone_the_shop_has_that_of_its_machine(tmp_path: Path) -> None:
    assert read_settings({"TRACKER_DATA_DIR": str(tmp_path)}).timezone == machine_timezone()


def test_an_address_of_the_site_is_taken_without_its_last_slash(tmp_path: Path) -> None:
    found = read_settings(
        {"TRACKER_DATA_DIR": str(tmp_path), "TRACKER_SITE_URL": " https://shop.example:8443/tracker/ "}
    )
    assert found.site_url == "https://shop.example:8443/tracker"


def test_the_day_turns_at_the_shops_own_midnight(tmp_path: Path) -> None:
    found = read_settings({"TRACKER_DATA_DIR": str(tmp_path), "TRACKER_TIMEZONE": "Asia/Tokyo"})
    assert found.day_of(datetime(2027, 3, 4, 15, 30, tzinfo=UTC)) == date(2027, 3, 5)


def test_a_time_zone_and_a_proxy_are_taken_as_they_are_named(tmp_path: Path) -> None:
    named = {"TRACKER_TIMEZONE": "America/New_York", "TRACKER_TRUSTED_PROXY": "127.0.0.1"}
    found = read_settings({"TRACKER_DATA_DIR": str(tmp_path), **named})
    assert (found.timezone, found.trusted_proxy) == ("America/New_York", "127.0.0.1")


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("TRACKER_TIMEZONE", "Mars/Olympus"),
        ("TRACKER_TRUSTED_PROXY", "the proxy"),
        *(
            ("TRACKER_SITE_URL", each)
            for each in ("shop", "shop:8000", "ftp://shop", "http://", "http://sh op", "http://shop:x", "http://[1")
        ),
        *(("TRACKER_SITE_URL", each) for each in ("http://shop?x=1", "http://shop#x", "http://tällä")),
    ],
)
def test_what_is_no_time_zone_or_no_address_is_refused_by_its_name(tmp_path: Path, name: str, value: str) -> None:
    with pytest.raises(InvalidInputError, match=name) as refused:
        read_settings({"TRACKER_DATA_DIR": str(tmp_path), name: value})
    assert refused.value.faults[0].where == {"field": name}


def test_the_secret_key_is_made_once_whole_and_for_its_owner_alone_however_many_start_at_once(tmp_path: Path) -> None:
    with ThreadPoolExecutor(8) as many:
        keys = set(many.map(lambda _each: read_settings({"TRACKER_DATA_DIR": str(tmp_path)}).secret_key, range(8)))
    assert len(keys) == 1
    assert {len(key) for key in keys} == {64}
    assert (tmp_path / "secret_key").stat().st_mode & 0o777 == 0o600
    assert [path.name for path in tmp_path.iterdir()] == ["secret_key"]


@pytest.mark.parametrize("content", ["", " \n"])
def test_a_secret_key_that_a_crash_left_empty_is_refused_with_what_to_do(tmp_path: Path, content: str) -> None:
    (tmp_path / "secret_key").write_text(content)
    with pytest.raises(InvalidInputError, match="Delete the file and restore a backup"):
        read_settings({"TRACKER_DATA_DIR": str(tmp_path)})
    assert (tmp_path / "secret_key").read_text() == content


def test_a_secret_key_that_others_could_read_is_taken_from_them(tmp_path: Path) -> None:
    (tmp_path / "secret_key").write_text("the key")
    (tmp_path / "secret_key").chmod(0o644)
    read = read_settings({"TRACKER_DATA_DIR": str(tmp_path), "TRACKER_SECRET_KEY": "  "})
    assert read.secret_key == (tmp_path / "secret_key").read_text()
    assert (tmp_path / "secret_key").stat().st_mode & 0o777 == 0o600


def test_a_secret_may_stand_in_a_file_of_its_own(tmp_path: Path) -> None:
    kept = "a key of the shop"
    (tmp_path / "key").write_text(f"{kept}\n")
    found = with_files({"TRACKER_DATA_DIR": "/shop", "TRACKER_SECRET_KEY_FILE": str(tmp_path / "key"), "FILE": "x"})
    assert found["TRACKER_SECRET_KEY"] == kept
    assert found["TRACKER_DATA_DIR"] == "/shop"


@pytest.mark.parametrize("content", [b"", b" \n", b"\xff\xfe"])
def test_a_secrets_file_that_is_empty_or_no_text_is_refused(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "key").write_bytes(content)
    with pytest.raises(InvalidInputError, match="TRACKER_SECRET_KEY_FILE"):
        with_files({"TRACKER_SECRET_KEY_FILE": str(tmp_path / "key")})


def test_a_setting_that_is_given_twice_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InvalidInputError, match="both set"):
        with_files({"TRACKER_SECRET_KEY": "a key", "TRACKER_SECRET_KEY_FILE": str(tmp_path)})


def test_a_file_that_a_setting_names_and_that_is_not_there_is_named() -> None:
    with pytest.raises(FileNotFoundError, match="nowhere"):
        with_files({"TRACKER_DATABASE_URL_FILE": "/nowhere/url"})


@pytest.mark.parametrize(("name", "word"), [("TRACKER_LOG_LEVEL", "loud"), ("TRACKER_LOG_FORMAT", "xml")])
def test_a_word_of_the_log_that_is_not_known_is_refused(tmp_path: Path, name: str, word: str) -> None:
    with pytest.raises(InvalidInputError, match=name):
        read_settings({"TRACKER_DATA_DIR": str(tmp_path), name: word})


def test_lines_of_the_log_are_chosen_by_words(tmp_path: Path) -> None:
    words = {"TRACKER_LOG_LEVEL": "Warning", "TRACKER_LOG_FORMAT": "text"}
    found = read_settings({"TRACKER_DATA_DIR": str(tmp_path), **words})
    assert (found.log_level, found.log_format) == ("warning", "text")
    usual = read_settings({"TRACKER_DATA_DIR": str(tmp_path)})
    assert (usual.log_level, usual.log_format) == ("info", "json")
