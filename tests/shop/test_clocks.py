"""A clock that is wrong is told from a request that was slow and from scans that waited."""

from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.shop import clocks
from tracker.shop.clocks import CALENDAR, GOOD_FOR, Clock, after_placing, measured, noticed

NOON = datetime(2027, 3, 1, 12, tzinfo=UTC)
SECONDS = st.floats(0, 1.9).map(lambda seconds: timedelta(seconds=seconds))
WAYS = st.lists(st.floats(0, 59).map(lambda seconds: timedelta(seconds=seconds)), min_size=1, max_size=12)
OFF = st.integers(-400, 400).map(lambda hours: timedelta(hours=hours))


def seconds(number: float) -> timedelta:
    return timedelta(seconds=number)


def placed(clock: Clock | None, said_at: datetime, received: datetime) -> datetime | None:
    return clocks.placed(clock, said_at, received=received, began=NOON - timedelta(days=300))


@given(WAYS)
def test_a_right_clock_is_never_taken_for_a_wrong_one_however_slow_the_requests(ways: list[timedelta]) -> None:
    clock = None
    for number, way in enumerate(ways):
        sent = NOON + number * timedelta(minutes=2)
        clock = measured(clock, sent=sent, received=sent + way)
        assert not clock.wrong
        assert placed(clock, sent, sent + way) == sent


@given(OFF, st.lists(SECONDS, min_size=1, max_size=12))
def test_a_wrong_clock_is_known_by_how_much_from_the_first_request_on(off: timedelta, ways: list[timedelta]) -> None:
    clock = None
    for number, way in enumerate(ways):
        true = NOON + number * timedelta(seconds=20)
        clock = measured(clock, sent=true + off, received=true + way)
    assert clock is not None
    assert clock.wrong == (off != timedelta(0))
    assert abs(clock.ahead_s - off.total_seconds()) <= 1.9


@given(OFF, st.lists(st.tuples(SECONDS, SECONDS), min_size=2, max_size=12))
def test_what_a_device_scans_later_is_placed_later_and_nothing_in_the_future(
    off: timedelta, scans: list[tuple[timedelta, timedelta]]
) -> None:
    clock, true, last, received = None, NOON, NOON - timedelta(days=1000), NOON
    for gap, way in scans:
        true += gap
        sent = max(true, received)  # a device sends one request after the other
        received = sent + way
        clock = measured(clock, sent=sent + off, received=received)
        at = placed(clock, true + off, received)
        assert at is not None
        assert true <= at <= received
        if clock.wrong:
            assert at >= last
            clock = after_placing(clock, true + off, at)
            last = at


def test_scans_that_waited_for_hours_are_late_and_not_wrong() -> None:
    clock = measured(None, sent=NOON, received=NOON + seconds(0.1))
    assert placed(clock, NOON - timedelta(hours=3), NOON + seconds(0.1)) == NOON - timedelta(hours=3)


def test_a_clock_that_is_set_right_or_wrong_is_followed_at_once() -> None:
    clock = measured(None, sent=NOON + timedelta(hours=1), received=NOON)
    assert clock.wrong
    clock = measured(clock, sent=NOON + seconds(30), received=NOON + seconds(30.1))
    assert not clock.wrong, "it was set right"
    clock = measured(clock, sent=NOON - timedelta(hours=1), received=NOON + seconds(60))
    assert clock.ahead_s == -3660, "it was set back by an hour"


def test_the_request_that_travelled_least_tells_how_far_a_clock_is_off() -> None:
    ahead = timedelta(hours=1)
    clock = None
    for number, way in enumerate((20.0, 0.1, 45.0)):
        sent = NOON + timedelta(minutes=number)
        clock = measured(clock, sent=sent + ahead, received=sent + seconds(way))
    assert clock is not None
    assert clock.ahead_s == pytest.approx(3600 - 0.1)


def test_a_measurement_is_renewed_after_a_while() -> None:
    clock = measured(None, sent=NOON + seconds(10), received=NOON)
    later = NOON + GOOD_FOR + seconds(1)
    assert measured(clock, sent=later, received=later + seconds(0.2)).ahead_s == pytest.approx(-0.2)


def test_of_a_device_that_does_not_say_when_it_sends_only_a_clock_that_is_ahead_is_noticed() -> None:
    assert noticed(None, latest=NOON - timedelta(hours=5), received=NOON) is None
    clock = noticed(None, latest=NOON + timedelta(hours=1), received=NOON)
    assert clock is not None
    assert (clock.ahead_s, clock.wrong, clock.told) == (3600, True, False)
    assert placed(clock, NOON + timedelta(hours=1), NOON) == NOON, "never in the future"
    assert placed(clock, NOON - timedelta(hours=1), NOON) == NOON - timedelta(hours=1), "and nothing else is shifted"
    right = noticed(clock, latest=NOON + GOOD_FOR, received=NOON + GOOD_FOR + seconds(1))
    assert right is not None
    assert not right.wrong
    assert not measured(clock, sent=NOON, received=NOON + seconds(1)).wrong, "a device that says so is believed"


def test_a_clock_at_the_end_of_the_calendar_breaks_nothing() -> None:
    end = datetime.max.replace(tzinfo=UTC)
    clock = measured(None, sent=end, received=NOON)
    assert placed(clock, NOON, NOON) is None
    begin = datetime.min.replace(tzinfo=UTC)
    clock = measured(None, sent=begin, received=NOON)
    assert placed(clock, begin, NOON) == NOON
    assert placed(clock, NOON, NOON) is None


@pytest.mark.parametrize("clock", [None, measured(None, sent=NOON, received=NOON)])
@pytest.mark.parametrize(
    "said",
    [
        datetime(1, 1, 1, tzinfo=timezone(timedelta(hours=14))),
        datetime(9999, 12, 31, 23, tzinfo=timezone(timedelta(hours=-14))),
        datetime(1970, 1, 1, tzinfo=UTC),
        NOON - timedelta(days=301),
        NOON + timedelta(days=1, microseconds=1),
    ],
)
def test_a_time_that_cannot_be_decides_no_place(clock: Clock | None, said: datetime) -> None:
    assert placed(clock, said, NOON) is None


def test_a_day_before_the_log_begins_and_a_day_ahead_can_still_be() -> None:
    early = NOON - timedelta(days=301) + timedelta(microseconds=1)
    assert placed(None, early, NOON) == early
    assert placed(None, NOON + timedelta(days=1), NOON) == NOON


@given(st.datetimes(timezones=st.timezones()), st.none() | OFF)
def test_whatever_a_device_says_its_scan_takes_a_place_between_the_logs_beginning_and_now(
    said: datetime, off: timedelta | None
) -> None:
    clock = None if off is None else measured(None, sent=NOON + off, received=NOON)
    at = placed(clock, said, NOON)
    assert at is None or NOON - timedelta(days=301) < at <= NOON
    assert CALENDAR[0] <= clocks.in_calendar(said) <= CALENDAR[1]


def test_a_naive_time_is_refused() -> None:
    with pytest.raises(ValueError, match="offset"):
        Clock(offset=timedelta(0), at=datetime(2027, 3, 1))  # noqa: DTZ001 - that is what is refused
