"""When a job will be packed. The queue is checked against one that is worked off part by part, day by day."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.shop.errors import InvalidInputError
from tracker.shop.forecasting import (
    FARTHEST_DAYS,
    LEAST_DAYS,
    LOOK_BACK_DAYS,
    Forecast,
    OpenJob,
    Outlook,
    Pace,
    forecast,
    pace_of,
)

TODAY = date(2027, 3, 15)


def days_ago(days: int) -> date:
    return TODAY - timedelta(days=days)


def job(number: int, *, due: int, left: int, held: bool = False) -> OpenJob:
    return OpenJob(id=number, due=TODAY + timedelta(days=due), parts_left=left, held=held)


def only(each: OpenJob, pace: Pace | None) -> Forecast:
    (found,) = forecast([each], pace, today=TODAY)
    return found


def test_the_pace_is_what_was_packed_in_the_days_of_the_calendar_since_the_first_of_them() -> None:
    packed = {days_ago(7): 40, days_ago(6): 50, days_ago(3): 50}
    pace = pace_of(packed, today=TODAY)
    assert pace == Pace(parts=140, days=7)
    assert pace.per_day == 20


def test_today_and_what_is_longer_ago_than_two_weeks_do_not_count() -> None:
    packed = {TODAY: 1_000, days_ago(1): 10, days_ago(2): 10, days_ago(14): 10, days_ago(15): 1_000}
    assert pace_of(packed, today=TODAY) == Pace(parts=30, days=LOOK_BACK_DAYS)


def test_parts_that_were_taken_out_again_are_not_packed() -> None:
    assert pace_of({days_ago(3): 10, days_ago(2): -4, days_ago(1): 6, days_ago(4): 4}, today=TODAY) == Pace(
        parts=16, days=4
    )


def test_fewer_than_three_days_of_packing_say_nothing() -> None:
    packed = {days_ago(each + 1): 500 for each in range(LEAST_DAYS - 1)}
    assert pace_of(packed, today=TODAY) is None
    assert pace_of({}, today=TODAY) is None


def test_days_on_which_all_was_taken_out_again_say_nothing() -> None:
    assert pace_of({days_ago(1): 5, days_ago(2): 5, days_ago(3): 5, days_ago(4): -15}, today=TODAY) is None


def test_work_for_one_day_is_done_today() -> None:
    pace = Pace(parts=100, days=10)
    assert only(job(1, due=0, left=10), pace).ready_on == TODAY
    assert only(job(1, due=0, left=11), pace).ready_on == TODAY + timedelta(days=1)


def test_a_job_that_needs_more_days_than_it_has_will_be_late_by_the_rest() -> None:
    found = only(job(1, due=2, left=50), Pace(parts=100, days=10))
    assert (found.outlook, found.ready_on, found.days_late) == (Outlook.WILL_BE_LATE, TODAY + timedelta(days=4), 2)


def test_a_job_waits_for_all_that_is_due_before_it() -> None:
    first, second = forecast([job(1, due=1, left=20), job(2, due=2, left=20)], Pace(parts=10, days=1), today=TODAY)
    assert (first.outlook, first.ready_on) == (Outlook.IN_TIME, TODAY + timedelta(days=1))
    assert (second.outlook, second.ready_on) == (Outlook.WILL_BE_LATE, TODAY + timedelta(days=3))


def test_a_held_job_has_no_day_and_nobody_waits_for_it() -> None:
    held, next_one = forecast(
        [job(1, due=1, left=1_000, held=True), job(2, due=2, left=10)], Pace(parts=10, days=1), today=TODAY
    )
    assert (held.outlook, held.ready_on) == (Outlook.HELD, None)
    assert (next_one.outlook, next_one.ready_on) == (Outlook.IN_TIME, TODAY)


def test_a_job_that_was_due_before_today_is_late_whatever_it_lacks() -> None:
    for each in (job(1, due=-3, left=0), job(1, due=-3, left=5), job(1, due=-3, left=5, held=True)):
        found = only(each, Pace(parts=1, days=1))
        assert (found.outlook, found.days_late) == (Outlook.LATE, 3)


def test_on_its_due_day_a_job_is_not_late_yet() -> None:
    assert only(job(1, due=0, left=0), None).outlook is Outlook.READY


def test_without_a_pace_no_day_is_named() -> None:
    found = only(job(1, due=2, left=50), None)
    assert (found.outlook, found.ready_on) == (Outlook.NOT_KNOWN, None)


def test_a_day_farther_away_than_ten_years_is_no_estimate() -> None:
    slow = Pace(parts=1, days=LOOK_BACK_DAYS)
    assert only(job(1, due=2, left=10**9), slow).outlook is Outlook.NOT_KNOWN
    assert only(job(1, due=2, left=FARTHEST_DAYS // LOOK_BACK_DAYS), slow).outlook is Outlook.WILL_BE_LATE


@pytest.mark.parametrize(("parts", "days"), [(0, 1), (-1, 1), (1, 0), (1, -1)])
def test_a_pace_of_nothing_is_refused(parts: int, days: int) -> None:
    with pytest.raises(InvalidInputError, match="above 0"):
        Pace(parts=parts, days=days)


def test_a_job_cannot_lack_less_than_nothing() -> None:
    with pytest.raises(InvalidInputError, match="parts_left"):
        job(1, due=0, left=-1)


@given(
    st.lists(st.tuples(st.integers(0, 30), st.integers(0, 60), st.booleans()), max_size=8),
    st.integers(1, 40),
    st.integers(1, 14),
)
def test_the_days_are_those_of_a_shop_that_packs_part_after_part(
    jobs: list[tuple[int, int, bool]], parts: int, days: int
) -> None:
    listed = [job(number, due=due, left=left, held=held) for number, (due, left, held) in enumerate(sorted(jobs))]
    ready: dict[int, date] = {}
    packed, day = 0, 0
    queue = [each for each in listed if not each.held for _part in range(each.parts_left)]
    for place, each in enumerate(queue, start=1):
        while packed < place:  # by the evening of day n, (n + 1) * parts / days are packed, whole parts only
            packed = (day + 1) * parts // days
            day += packed < place
        ready[each.id] = TODAY + timedelta(days=day)
    for found in forecast(listed, Pace(parts=parts, days=days), today=TODAY):
        assert found.ready_on == ready.get(found.job_id)
