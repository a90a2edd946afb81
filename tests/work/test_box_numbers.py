"""SSCCs of boxes: given once, at the first label, never twice; read like the box's own code."""

import threading
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import pytest
from sqlalchemy import select

from tests.conftest import Cluster
from tests.floor import TOE_KICK, Floor, scan_of, statements
from tracker.records.copies import copy_to, restore_from
from tracker.records.database import Database
from tracker.records.tables import box, log
from tracker.settings import Settings
from tracker.shop.codes import Code, Kind, MisreadError, box_code, read_code
from tracker.shop.errors import ConflictError, InvalidInputError, NotFoundError
from tracker.shop.outcomes import Outcome
from tracker.shop.sscc import Series, leap
from tracker.work.box_numbers import code_read, number_boxes, numbering, set_numbering, stop_numbering
from tracker.work.jobs import cancel_job
from tracker.work.label_choice import Choice, What, print_labels
from tracker.work.labels import label_png

SERIES = Series(prefix="4012345", extension=3)
SMALL = Series(prefix="401234567890")  # 9,999 numbers


def use(floor: Floor, series: Series = SERIES, *, next_serial: int | None = None) -> None:
    set_numbering(floor.database, series, who="admin", now=floor.tick(), next_serial=next_serial)


SETTINGS = Settings(data_dir=Path(), database_url="", secret_key="")


def label(floor: Floor, *codes: str) -> list[str | None]:
    for code in codes:
        label_png(floor.database, SETTINGS, read_code(code), dpi=203)
    return [floor.box(code).sscc for code in codes]


def job_of_boxes(floor: Floor, job: str, count: int) -> list[int]:
    """Take a job of ``count`` boxes; return their numbers."""
    before = _boxes(floor.database)
    parts = [replace(TOE_KICK, cabinet=str(number)) for number in range(count)]
    floor.take(job, parts=parts, items=())
    return sorted(_boxes(floor.database) - before)


def _boxes(database: Database) -> set[int]:
    with database.read() as connection:
        return set(connection.execute(select(box.c.id)).scalars())


def all_ssccs(database: Database) -> list[str]:
    with database.read() as connection:
        return list(connection.execute(select(box.c.sscc).where(box.c.sscc.is_not(None))).scalars())


# Giving


def test_without_a_prefix_boxes_have_no_number(floor: Floor) -> None:
    assert label(floor, floor.box_101) == [None]
    assert numbering(floor.database) is None


def test_a_box_gets_its_number_with_its_first_label_and_keeps_it(floor: Floor) -> None:
    use(floor)
    assert floor.box(floor.box_101).sscc is None
    first = label(floor, floor.box_101)
    assert first == [SERIES.sscc(1)]
    assert label(floor, floor.box_102, floor.box_101) == [SERIES.sscc(2), *first]
    now = numbering(floor.database)
    assert now is not None
    assert (now.last, now.next_serial, now.left) == (2, 3, SERIES.highest - 2)


def test_boxes_from_before_the_prefix_was_set_get_theirs_when_next_labelled(floor: Floor) -> None:
    floor.seal_both()
    print_labels(floor.database, SETTINGS, Choice(job="J-1"), dpi=203)
    use(floor)
    print_labels(floor.database, SETTINGS, Choice(job="J-1"), dpi=203)
    assert floor.box(floor.box_101).sscc == SERIES.sscc(1)
    assert floor.box(floor.box_102).sscc == SERIES.sscc(2)


def test_only_boxes_whose_own_label_is_printed_get_a_number(floor: Floor) -> None:
    use(floor)
    print_labels(floor.database, SETTINGS, Choice(job="J-1", what=What.PARTS), dpi=203)
    assert all_ssccs(floor.database) == []
    print_labels(floor.database, SETTINGS, Choice(job="J-1", what=What.BOXES, cabinet="102"), dpi=203)
    assert (floor.box(floor.box_101).sscc, floor.box(floor.box_102).sscc) == (None, SERIES.sscc(1))


def test_a_follow_up_box_gets_its_own_and_a_cancelled_one_keeps_its_own(floor: Floor) -> None:
    use(floor)
    floor.scan(floor.deck, "PACK-1")
    label(floor, floor.box_101)
    follow_up = floor.seal(floor.box_101, {"spring pin 8 mm": 2}, override="it cannot wait").follow_up
    assert follow_up is not None
    cancel_job(floor.database, "J-1", **floor.act())
    assert label(floor, floor.box_101, follow_up) == [SERIES.sscc(1), SERIES.sscc(2)]


def test_a_changed_prefix_counts_for_new_boxes_and_the_first_goes_on_where_it_was(floor: Floor) -> None:
    other = Series(prefix="4054321")
    use(floor)
    label(floor, floor.box_101)
    use(floor, other)
    assert label(floor, floor.box_101, floor.box_102) == [SERIES.sscc(1), other.sscc(1)]
    stop_numbering(floor.database)
    third, fourth = job_of_boxes(floor, "J-2", 2)
    assert label(floor, box_code(third)) == [None]
    use(floor)
    assert label(floor, box_code(third)) == [SERIES.sscc(2)]
    use(floor, Series(prefix="4012345", extension=4))
    assert label(floor, box_code(fourth)) == [Series(prefix="4012345", extension=4).sscc(1)]


def test_the_next_serial_number_can_be_raised_and_never_lowered(floor: Floor) -> None:
    use(floor, next_serial=5_001)
    assert label(floor, floor.box_101) == [SERIES.sscc(5_001)]
    for wrong in (1, 5_001, SERIES.highest + 1):
        with pytest.raises(InvalidInputError, match="next serial"):
            use(floor, next_serial=wrong)
    assert label(floor, floor.box_102) == [SERIES.sscc(5_002)]


def test_a_prefix_that_would_give_the_numbers_of_another_again_is_refused(floor: Floor) -> None:
    use(floor)
    label(floor, floor.box_101)
    with pytest.raises(ConflictError, match="4012345"):
        use(floor, Series(prefix="4012", extension=3))
    assert label(floor, floor.box_102) == [SERIES.sscc(2)]


def test_a_prefix_typed_too_short_at_first_is_put_right(floor: Floor) -> None:
    use(floor, Series(prefix="4012", extension=3))
    label(floor, floor.box_101)
    use(floor)
    assert label(floor, floor.box_102) == [SERIES.sscc(1)]


def test_when_the_numbers_are_used_up_it_is_said_and_none_is_given_twice(floor: Floor) -> None:
    use(floor, SMALL, next_serial=9_998)
    numbers = job_of_boxes(floor, "J-2", 4)
    print_labels(floor.database, SETTINGS, Choice(job="J-2"), dpi=203)
    assert all_ssccs(floor.database) == [SMALL.sscc(9_998), SMALL.sscc(9_999)]
    now = numbering(floor.database)
    assert now is not None
    assert (now.left, now.next_serial) == (0, None)
    assert "All 9,999 SSCCs of prefix 401234567890 with extension digit 0 are used up" in now.sentence
    assert label(floor, box_code(numbers[3])) == [None]
    with pytest.raises(InvalidInputError) as refused:
        use(floor, SMALL, next_serial=1)
    assert "used up" in refused.value.faults[0].what
    use(floor, Series(prefix="401234567890", extension=1))
    assert label(floor, box_code(numbers[3])) != [None]


def test_labels_drawn_by_many_at_once_give_each_box_one_number_of_its_own(floor: Floor) -> None:
    use(floor)
    numbers = job_of_boxes(floor, "J-2", 40)
    others = [Database(floor.database.url.render_as_string(hide_password=False)) for _ in range(4)]  # as processes have
    start = threading.Barrier(len(others))

    def give(database: Database) -> None:
        start.wait()
        for number in numbers:
            number_boxes(database, [number])
        number_boxes(database, [1, 2])

    with ThreadPoolExecutor(len(others)) as pool:
        list(pool.map(give, others))
    for database in others:
        database.close()
    given = all_ssccs(floor.database)
    assert sorted(given) == [SERIES.sscc(serial) for serial in range(1, 43)]
    assert all(floor.box(box_code(number)).sscc for number in numbers)


# After a restore


def _settings(folder: Path) -> Settings:
    return Settings(data_dir=folder, database_url="", secret_key="for tests")  # noqa: S106


def test_after_a_restore_no_number_is_given_that_may_be_on_a_box_already(sqlite: Database, tmp_path: Path) -> None:
    floor = Floor(sqlite)
    use(floor)
    label(floor, floor.box_101)
    copy_to(sqlite, tmp_path / "copy.db", secret_key=_settings(tmp_path).secret_key)
    since = label(floor, floor.box_102)
    restore_from(sqlite, tmp_path / "copy.db", _settings(tmp_path))
    assert (floor.box(floor.box_101).sscc, floor.box(floor.box_102).sscc) == (SERIES.sscc(1), None)
    again = label(floor, floor.box_102)
    assert again == [SERIES.sscc(2 + leap(SERIES.name) + 1)]
    assert again != since


def test_a_restore_goes_on_after_what_the_replaced_database_had_given(sqlite: Database, tmp_path: Path) -> None:
    floor = Floor(sqlite)
    copy_to(sqlite, tmp_path / "copy.db", secret_key=_settings(tmp_path).secret_key)
    use(floor, SMALL, next_serial=5_000)
    label(floor, floor.box_101)
    restore_from(sqlite, tmp_path / "copy.db", _settings(tmp_path))
    assert numbering(sqlite) is None
    use(floor, SMALL)
    assert label(floor, floor.box_101) == [SMALL.sscc(6_001)]


def test_a_copy_restored_into_another_database_leaves_numbers_out_too(
    sqlite: Database, cluster: Cluster, tmp_path: Path
) -> None:
    floor = Floor(sqlite)
    use(floor, SMALL, next_serial=9_500)
    label(floor, floor.box_101)
    copy_to(sqlite, tmp_path / "copy.db", secret_key=_settings(tmp_path).secret_key)
    target = Database(cluster.make("restored_numbers", None))
    restore_from(target, tmp_path / "copy.db", _settings(tmp_path))
    now = numbering(target)
    assert now is not None
    assert now.left == 0  # fewer were left than must be left out
    floor.database = target
    assert label(floor, floor.box_101, floor.box_102) == [SMALL.sscc(9_500), None]
    target.close()
    cluster.drop("restored_numbers")


# Reading


def read_as(sscc: str) -> list[str]:
    return [sscc, "00" + sscc, "]C100" + sscc, "]C1\x1d00" + sscc]


def kept_of(floor: Floor) -> tuple[str, int | None]:
    """What was read, and the box, of the last row of the log."""
    with floor.database.read() as connection:
        row = connection.execute(select(log.c.code, log.c.box_id).order_by(log.c.seq.desc()).limit(1)).one()
    return row.code, row.box_id


def test_an_sscc_means_the_box_at_every_station_and_the_log_keeps_both(floor: Floor) -> None:
    use(floor)
    (sscc,) = label(floor, floor.box_101)
    assert sscc is not None
    for reading in read_as(sscc):
        by_own, by_sscc = floor.scan(floor.box_101, "PACK-1"), floor.scan(reading, "PACK-1")
        assert (by_sscc.outcome, by_sscc.message, by_sscc.box) == (by_own.outcome, by_own.message, floor.box_101)
        assert kept_of(floor) == (reading, read_code(floor.box_101).number)
    assert floor.scan(floor.toe_kick, "PACK-1", box=sscc).ok
    assert floor.scan(floor.end, "PACK-1", box=sscc).outcome is Outcome.WRONG_BOX
    assert floor.scan(sscc, "CUT-1").outcome is Outcome.OFF_ROUTE
    floor.check()


def test_a_box_is_loaded_and_taken_back_by_its_sscc(floor: Floor) -> None:
    use(floor)
    floor.seal_both()
    (sscc,) = label(floor, floor.box_101)
    assert sscc is not None
    load = floor.plan(floor.box_101, floor.box_102)
    assert floor.scan(sscc, "SHIP-1", load=load).outcome is Outcome.DONE
    assert floor.box(floor.box_101).state == "loaded"
    assert floor.undo("SHIP-1").outcome is Outcome.UNDONE
    assert floor.box(floor.box_101).state == "sealed"
    floor.check()


def test_a_wrong_check_digit_is_a_misread_and_anothers_number_is_unknown(floor: Floor) -> None:
    use(floor)
    (sscc,) = label(floor, floor.box_101)
    assert sscc is not None
    wrong = sscc[:-1] + str((int(sscc[-1]) + 1) % 10)
    assert floor.scan(wrong, "PACK-1").outcome is Outcome.MISREAD
    answer = floor.scan("]C100106141412345678908", "PACK-1")
    assert (answer.outcome, answer.box) == (Outcome.UNKNOWN, None)
    assert "106141412345678908" in answer.message
    assert floor.scan(SERIES.sscc(2), "PACK-1").outcome is Outcome.UNKNOWN  # ours, but on no box yet
    assert floor.scan(floor.deck, "PACK-1", box=wrong).outcome is Outcome.MISREAD
    floor.check()


def test_an_sscc_costs_one_question_more_and_our_own_codes_none(floor: Floor) -> None:
    use(floor)
    (sscc,) = label(floor, floor.box_101)
    assert sscc is not None
    floor.scan(floor.box_101, "PACK-1")  # it is open there already, as each time after
    own, by_sscc = _statements(floor, [floor.box_101]), _statements(floor, [sscc])
    assert len(by_sscc) == len(own) + 1
    assert any("sscc IN" in statement for statement in by_sscc)
    assert not any("sscc IN" in statement for statement in [*own, *_statements(floor, [floor.deck])])


def _statements(floor: Floor, codes: list[str]) -> list[str]:
    with statements(floor.database) as asked:
        floor.send([scan_of(code, "PACK-1", floor.tick()) for code in codes])
    return asked


def test_a_reading_at_a_desk_names_the_box_or_says_why_not(floor: Floor) -> None:
    use(floor)
    (sscc,) = label(floor, floor.box_101)
    assert sscc is not None
    for reading in (floor.box_101, *read_as(sscc)):
        assert code_read(floor.database, reading) == Code(Kind.BOX, 1)
    with pytest.raises(NotFoundError, match="106141412345678908"):
        code_read(floor.database, "106141412345678908")
    for wrong in ("", "P123", "106141412345678907"):
        with pytest.raises(MisreadError):
            code_read(floor.database, wrong)
