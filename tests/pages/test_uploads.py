"""Files of an order between preview and taking."""

import os
from datetime import UTC, datetime, timedelta
from io import BytesIO
from pathlib import Path

import pytest

from tracker.pages.office.orders import uploads
from tracker.pages.office.orders.uploads import Uploads
from tracker.shop.errors import NotFoundError, TooLargeError

NOW = datetime.now(UTC)  # files are as old as their file system says


class Endless(BytesIO):
    """A file without an end."""

    def read(self, size: int | None = -1, /) -> bytes:
        return b"x" * (1 << 20)


def age(path: Path, since: datetime) -> None:
    os.utime(path, (since.timestamp(), since.timestamp()))


def test_a_kept_file_is_read_again_until_it_is_dropped(tmp_path: Path) -> None:
    kept = Uploads(tmp_path / "uploads")
    name = kept.keep(BytesIO(b"table"), BytesIO(b"items"), now=NOW)
    with kept.open(name, "table") as file:
        assert file.read() == b"table"
    assert kept.has(name, "items")
    kept.drop(name)
    assert not kept.has(name, "items")
    with pytest.raises(NotFoundError):
        kept.open(name, "table")


def test_a_file_is_put_in_the_place_of_the_one_before(tmp_path: Path) -> None:
    kept = Uploads(tmp_path)
    name = kept.keep(BytesIO(b"table"), None, now=NOW)
    kept.put(name, "table", BytesIO(b"mended"))
    with kept.open(name, "table") as file:
        assert file.read() == b"mended"
    assert len(list(tmp_path.iterdir())) == 1


def test_files_kept_for_an_hour_go_with_the_next(tmp_path: Path) -> None:
    kept = Uploads(tmp_path)
    old, young = kept.keep(BytesIO(b"a"), None, now=NOW), kept.keep(BytesIO(b"b"), None, now=NOW)
    age(tmp_path / f"{old}.table", NOW - timedelta(minutes=61))
    age(tmp_path / f"{young}.table", NOW - timedelta(minutes=59))
    kept.keep(BytesIO(b"c"), None, now=NOW)
    assert not kept.has(old, "table")
    assert kept.has(young, "table")


def test_the_oldest_go_where_room_is_short(tmp_path: Path) -> None:
    kept = Uploads(tmp_path)
    names = []
    for minute in range(18):
        names.append(kept.keep(BytesIO(b""), None, now=NOW))
        path = tmp_path / f"{names[-1]}.table"
        os.truncate(path, uploads.LARGEST_FILE)  # takes no room on the disk
        age(path, NOW - timedelta(minutes=30 - minute))
    left = [name for name in names if kept.has(name, "table")]
    assert left == names[-len(left) :]
    assert len(left) <= uploads.LARGEST_FOLDER // uploads.LARGEST_FILE


def test_a_file_over_the_limit_is_refused_and_leaves_nothing(tmp_path: Path) -> None:
    with pytest.raises(TooLargeError):
        Uploads(tmp_path).keep(Endless(), None, now=NOW)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("name", ["", "../../etc/passwd", "a" * 31, "A" * 32, "0" * 32 + "\n"])
def test_a_name_that_was_never_given_opens_nothing(tmp_path: Path, name: str) -> None:
    kept = Uploads(tmp_path)
    with pytest.raises(NotFoundError):
        kept.open(name, "table")
    with pytest.raises(NotFoundError):
        kept.has(name, "table")
