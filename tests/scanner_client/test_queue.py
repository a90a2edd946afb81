"""The queue on disk."""

import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from scanner_client.queue import Queue, QueueDiskError, QueueOpenError, Reading, Waiting


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


# Written by this program itself, the file of each version as it was then: the one of today is read by the next.
WRITTEN = Path(__file__).parent / "data"


CARD = [("C0000000286", "2027-03-01T08:00:04+00:00", "SAW-1", "", "P0000000328")]


@pytest.mark.parametrize(("version", "told", "last"), [(2, "", []), (3, "right", []), (4, "right", CARD)])
def test_a_queue_that_a_version_wrote_is_read_by_this_one(
    tmp_path: Path, version: int, told: str, last: list[tuple[str, ...]]
) -> None:
    shutil.copy(WRITTEN / f"queue_{version}.sqlite", tmp_path / "queue.db")
    queue = Queue(tmp_path / "queue.db")
    assert [(each.code, each.at, each.station, each.told, each.part) for each in queue.first(9)] == [
        ("P0000000231", "2027-03-01T08:00:02+00:00", "SAW-1", told, ""),
        ("P0000000328", "2027-03-01T08:00:03+00:00", "SAW-1", "", ""),
        *last,
    ]
    assert [(reading.code, why) for reading, why in queue.aside()] == [("P0000000134", "This code spoils it.")]
    queue.close()


def test_there_is_a_file_of_the_version_that_is_written_today(tmp_path: Path) -> None:
    Queue(tmp_path / "queue.db").close()
    versions = []
    for path in (tmp_path / "queue.db", *sorted(WRITTEN.glob("queue_*.sqlite"))):
        with closing(sqlite3.connect(path)) as file:
            versions.append(file.execute("PRAGMA user_version").fetchone()[0])
    assert max(versions[1:]) == versions[0]


def test_how_much_waits_and_since_when(tmp_path: Path) -> None:
    queue = Queue(tmp_path / "queue.db")
    assert queue.state() == Waiting(count=0, oldest=None, newest=None, aside=0)
    for number in (1, 2, 3):
        queue.add(replace(_reading(number), at=f"2027-03-01T08:00:0{number}+00:00"))
    queue.set_aside(queue.first(1)[0], "refused")
    assert queue.state() == Waiting(
        count=2, oldest="2027-03-01T08:00:02+00:00", newest="2027-03-01T08:00:03+00:00", aside=1
    )
    queue.close()


def test_what_the_worker_was_told_stays_with_the_reading(tmp_path: Path) -> None:
    queue = Queue(tmp_path / "queue.db")
    queue.add(_reading(1))
    queue.tell("id 1", "doubt")
    queue.tell("no such id", "right")
    queue.close()
    again = Queue(tmp_path / "queue.db")
    assert again.first(9) == [replace(_reading(1), told="doubt")]
    again.close()


def test_what_was_set_aside_can_wait_again(tmp_path: Path) -> None:
    queue = Queue(tmp_path / "queue.db")
    for number in (1, 2, 3):
        queue.add(_reading(number))
    card = replace(_reading(4), part="a part")
    queue.add(card)
    for reading in (*queue.first(2), card):
        queue.set_aside(reading, "refused")
    assert queue.take_up_again() == 3
    assert queue.first(9) == [_reading(3), _reading(1), _reading(2), card]
    assert queue.aside() == []
    queue.close()


def test_a_disk_that_can_only_be_read_is_told(tmp_path: Path) -> None:
    """The files of /proc are there to be read: nothing can be made beside them, not by root either."""
    with pytest.raises(QueueOpenError, match="cannot be opened"):
        Queue(Path("/proc/flatpack-scanner/queue.db"))


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
