"""The station's own list: kept on disk, refreshed, and never in the way."""

import sqlite3
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from scanner_client.provisional import NO_GUESS, Expected, Look
from scanner_client.station_list import MOST_ROWS, WHOLE_AFTER_S, Page, StationList
from tracker.shop.codes import Code, Kind, box_code, part_code

CODES = [part_code(number) for number in range(1, 9)]
SSCC = "106141412345678908"  # GS1 General Specifications, an example of an SSCC (with its check digit)
UNDO = str(Code(Kind.COMMAND, 1))


def _row(code: str, *, box: int = 1) -> Expected:
    return Expected(code=code, name="End", cabinet="1", job="J-1", box=box_code(box), box_name=str(box), next="pack")


class Giver:
    """Gives the pages that the test wants; what was asked for is kept."""

    def __init__(self) -> None:
        self.pages: list[Page | None] = []
        self.asked: list[tuple[int, str]] = []

    def whole(self, items: Sequence[Expected], *, at: int = 1, next_: str = "", step: str = "pack") -> None:
        self.pages.append(
            Page(station="PACK-1", step=step, strict=False, at=at, whole=True, items=items, gone=[], next=next_)
        )

    def change(self, items: Sequence[Expected] = (), gone: Sequence[str] = (), *, at: int) -> None:
        self.pages.append(
            Page(station="PACK-1", step="pack", strict=False, at=at, whole=False, items=items, gone=gone, next="")
        )

    def expected(self, station: str, since: int, after: str = "") -> Page | None:
        self.asked.append((since, after))
        return self.pages.pop(0) if self.pages else None


class Kept:
    """A list, who gives it, and a clock that goes on by hand."""

    def __init__(self, path: Path) -> None:
        self.path, self.giver, self.now = path, Giver(), 1_000_000.0
        self.list = self.opened()

    def opened(self, of: str = "shop PACK-1") -> StationList:
        return StationList(self.path, of=of, clock=lambda: self.now)

    def refresh(self) -> bool:
        return self.list.refresh(self.giver, "PACK-1")

    def looks(self, *codes: str) -> list[str]:
        return [self.list.look(code).word for code in codes]

    def reads(self, *codes: str) -> list[str]:
        said = []
        for code in codes:
            guess = self.list.look(code)
            self.list.note(code, guess)
            said.append(guess.word)
        return said


@pytest.fixture
def kept(tmp_path: Path) -> Iterator[Kept]:
    made = Kept(tmp_path / "queue.list.db")
    yield made
    made.list.close()


def test_without_a_list_nothing_is_said(kept: Kept) -> None:
    assert kept.list.look(CODES[0]) == NO_GUESS
    assert kept.list.look("hello") == NO_GUESS
    assert not kept.refresh()
    assert kept.list.age_s() is None


def test_it_is_fetched_whole_in_pages_and_then_by_what_changed(kept: Kept) -> None:
    kept.giver.whole([_row(CODES[0])], at=5, next_="1")
    kept.giver.whole([_row(CODES[1])], at=6)
    assert kept.refresh()
    kept.giver.change([_row(CODES[2])], [CODES[0]], at=7)
    assert kept.refresh()
    kept.giver.change(at=7)
    assert kept.refresh()
    assert kept.giver.asked == [(0, ""), (0, "1"), (5, ""), (7, "")]
    assert kept.looks(*CODES[:3]) == ["NOT EXPECTED", "LOOKS RIGHT", "LOOKS RIGHT"]
    assert kept.list.count() == 2


def test_the_sscc_of_a_box_stands_for_the_box(kept: Kept) -> None:
    load = str(Code(Kind.LOAD, 3))
    loaded = [
        Expected(code=box_code(number), name=str(number), load=load, next="ship", sscc=sscc)
        for number, sscc in ((1, SSCC), (2, ""))
    ]
    kept.giver.whole(loaded, step="ship")
    kept.refresh()
    assert kept.reads(SSCC, SSCC, box_code(1)) == ["LOOKS RIGHT", "ALREADY COUNTED", "ALREADY COUNTED"]
    kept.list.not_passed(SSCC)
    assert kept.reads("376104250021234569", SSCC, box_code(2)) == ["KEPT", "LOOKS RIGHT", "LOOKS RIGHT"]


def test_at_the_bench_the_sscc_opens_the_box_whose_parts_are_expected(kept: Kept) -> None:
    first, second = replace(_row(CODES[0]), sscc=SSCC), _row(CODES[1], box=2)
    kept.giver.whole([first, second])
    kept.refresh()
    assert kept.reads(SSCC, CODES[1], CODES[0]) == ["LOOKS RIGHT", "WRONG BOX", "LOOKS RIGHT"]


def test_a_page_that_does_not_come_leaves_the_list_as_it_was(kept: Kept) -> None:
    kept.giver.whole([_row(CODES[0])])
    kept.refresh()
    kept.now += WHOLE_AFTER_S
    kept.giver.whole([_row(CODES[1])], next_="1")
    assert not kept.refresh()
    assert kept.looks(CODES[0], CODES[1]) == ["LOOKS RIGHT", "NOT EXPECTED"]


def test_it_stays_over_a_restart_and_goes_with_another_station_or_server(kept: Kept) -> None:
    kept.giver.whole([_row(CODES[0])])
    kept.refresh()
    kept.now += 90
    kept.list.close()
    kept.list = kept.opened()
    assert kept.looks(CODES[0]) == ["LOOKS RIGHT"]
    assert kept.list.age_s() == 90
    kept.list.close()
    kept.list = kept.opened("shop PACK-2")
    assert kept.list.look(CODES[0]) == NO_GUESS
    assert kept.list.count() == 0


def test_a_very_long_list_is_cut_and_then_nothing_is_said_of_what_is_not_on_it(kept: Kept) -> None:
    for start in range(0, MOST_ROWS + 1, 2_000):
        kept.giver.whole([_row(part_code(number)) for number in range(start + 1, start + 2_001)], next_=str(start))
    assert kept.refresh()
    assert kept.list.count() == MOST_ROWS
    assert kept.list.look(part_code(9_999_999)) == NO_GUESS
    assert kept.looks(part_code(77)) == ["LOOKS RIGHT"]


def test_what_was_read_here_is_known_to_have_been_read_until_it_is_taken_back(kept: Kept) -> None:
    kept.giver.whole([_row(code) for code in CODES])
    kept.refresh()
    assert kept.reads(CODES[0], CODES[0], CODES[1], UNDO, CODES[1]) == [
        *("LOOKS RIGHT", "ALREADY COUNTED", "LOOKS RIGHT", "KEPT", "LOOKS RIGHT"),
    ]
    kept.list.not_passed(CODES[1])
    assert kept.looks(CODES[1], CODES[0].lower()) == ["LOOKS RIGHT", "ALREADY COUNTED"]


def test_the_box_on_the_bench_is_the_one_of_the_last_part_until_nothing_more_of_it_is_expected(kept: Kept) -> None:
    kept.giver.whole([_row(CODES[0]), _row(CODES[1]), _row(CODES[2], box=2), _row(CODES[3], box=2)])
    kept.refresh()
    assert kept.reads(CODES[0], CODES[2], CODES[1], CODES[2], box_code(2)) == [
        *("LOOKS RIGHT", "WRONG BOX", "LOOKS RIGHT", "LOOKS RIGHT", "LOOKS RIGHT"),
    ]
    assert kept.reads(box_code(1), CODES[3]) == ["LOOKS RIGHT", "WRONG BOX"]


def test_what_is_read_while_the_list_comes_stays_read(kept: Kept) -> None:
    kept.giver.whole([_row(code) for code in CODES[:2]])
    kept.refresh()
    kept.reads(CODES[0])

    class Slow(Giver):
        def expected(self, station: str, since: int, after: str = "") -> Page | None:
            kept.reads(CODES[1])
            return super().expected(station, since, after)

    slow = Slow()
    slow.change([_row(code) for code in CODES[:2]], at=2)
    assert kept.list.refresh(slow, "PACK-1")
    looks = kept.looks(*CODES[:2])
    assert looks == ["LOOKS RIGHT", "ALREADY COUNTED"], "the server has the first as not done, and knows of it"


def test_a_file_that_is_damaged_or_no_list_is_made_anew(tmp_path: Path) -> None:
    for content in (b"a letter to the foreman " * 90, None):
        path = tmp_path / "queue.list.db"
        path.unlink(missing_ok=True)
        if content is None:
            other = sqlite3.connect(path)
            other.execute("PRAGMA user_version=99")
            other.close()
        else:
            path.write_bytes(content)
        kept = Kept(path)
        kept.giver.whole([_row(CODES[0])])
        assert kept.refresh()
        assert kept.looks(CODES[0]) == ["LOOKS RIGHT"]
        kept.list.close()


def test_with_no_disk_for_it_it_is_kept_in_memory_and_says_so(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    kept = Kept(tmp_path / "file" / "queue.list.db")
    assert "cannot be kept" in kept.list.trouble
    kept.giver.whole([_row(CODES[0])])
    assert kept.refresh()
    assert kept.list.look(CODES[0]).look is Look.RIGHT
    kept.list.close()


def test_a_list_that_fails_says_nothing_and_stops_nothing(kept: Kept) -> None:
    kept.giver.whole([_row(CODES[0])])
    kept.refresh()
    kept.list.close()
    assert kept.reads(CODES[0]) == ["KEPT"]
    kept.giver.change(at=2)
    assert not kept.refresh()
    assert "station's list" in kept.list.trouble
