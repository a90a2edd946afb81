"""The queue on disk."""

import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from scanner_client.queue import Queue, QueueDiskError, QueueOpenError, Reading


def _reading(number: int) -> Reading:
    return Reading(id=f"id {number}", code=f"P{number}", at="2027-03-01T08:00:00+00:00", station="SAW-1")


def test_readings_come_back_in_the_order_in_which_they_were_made_also_after_a_restart(tmp_path: Path) -> None:
    queue = Queue(tmp_path / "deep" / "queue.db")
    for number in (3, 1, 2):
        queue.add(_reading(number))
    queue.close()
    again = Queue(tmp_path / "deep" / "queue.db")
    assert again.first(2) == [_reading(3), _reading(1)]
    assert again.waiting() == 3
    again.close()


def test_only_what_was_answered_for_leaves(tmp_path: Path) -> None:
    queue = Queue(tmp_path / "queue.db")
    for number in range(4):
        queue.add(_reading(number))
    queue.answered(["id 0", "id 2", "id 9"])
    assert queue.first(10) == [_reading(1), _reading(3)]
    queue.close()


def test_a_reading_that_is_set_aside_waits_no_more_and_is_kept_with_the_reason(tmp_path: Path) -> None:
    queue = Queue(tmp_path / "queue.db")
    queue.add(_reading(1))
    queue.set_aside(_reading(1), "refused")
    assert (queue.waiting(), queue.aside()) == (0, [(_reading(1), "refused")])
    queue.close()


def test_writes_are_full_so_that_a_power_cut_loses_nothing(tmp_path: Path) -> None:
    queue = Queue(tmp_path / "queue.db")
    asked = [queue._connection.execute(f"PRAGMA {name}").fetchone()[0] for name in ("journal_mode", "synchronous")]
    assert asked == ["wal", 2]  # 2 is FULL: https://www.sqlite.org/pragma.html#pragma_synchronous
    queue.close()


def test_a_queue_is_held_by_one_program_at_a_time(tmp_path: Path) -> None:
    path = tmp_path / "queue.db"
    program = f"from pathlib import Path; from scanner_client.queue import Queue; Queue(Path({str(path)!r}))"
    queue = Queue(path)
    other = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=False)
    assert other.returncode != 0
    assert "is in use by another scanner-client" in other.stderr
    queue.close()
    assert subprocess.run([sys.executable, "-c", program], check=False).returncode == 0


def test_a_file_that_is_no_queue_or_a_newer_one_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "queue.db"
    path.write_text("a letter to the foreman, longer than the header of a database would be " * 3)
    before = path.read_bytes()
    with pytest.raises(QueueOpenError, match="is no queue"):
        Queue(path)
    assert path.read_bytes() == before
    path.unlink()
    newer = sqlite3.connect(path)
    newer.execute("PRAGMA user_version=99")
    newer.close()
    with pytest.raises(QueueOpenError, match="newer"):
        Queue(path)
    with pytest.raises(QueueOpenError, match="cannot be opened"):
        Queue(tmp_path / "queue.db" / "below a file")


def test_a_queue_of_the_first_version_is_read_on(tmp_path: Path) -> None:
    path = tmp_path / "queue.db"
    first = sqlite3.connect(path)
    first.executescript(
        """
        CREATE TABLE waiting (
            number INTEGER PRIMARY KEY AUTOINCREMENT, id TEXT NOT NULL UNIQUE, code TEXT NOT NULL, at TEXT NOT NULL
        );
        CREATE TABLE aside (id TEXT PRIMARY KEY, code TEXT NOT NULL, at TEXT NOT NULL, why TEXT NOT NULL);
        INSERT INTO waiting (id, code, at) VALUES ('i', 'P1', 't');
        INSERT INTO aside VALUES ('j', 'P2', 't', 'refused');
        """
    )
    first.close()
    queue = Queue(path)
    assert queue.first(2) == [Reading(id="i", code="P1", at="t")]
    assert queue.aside() == [(Reading(id="j", code="P2", at="t"), "refused")]
    queue.close()


def test_a_change_that_fails_is_told_and_changes_nothing(tmp_path: Path) -> None:
    queue = Queue(tmp_path / "queue.db")
    queue.add(_reading(1))
    with pytest.raises(QueueDiskError, match="cannot be written"):
        queue.add(_reading(1))
    queue.add(_reading(2))
    assert queue.first(9) == [_reading(1), _reading(2)]
    queue.close()
    with pytest.raises(QueueDiskError, match="cannot be read"):
        queue.waiting()
