"""Times against the examples of RFC 3339 section 5.8 and its neighbours (data/web.json)."""

import json
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.shop.times import read_time

DATA = json.loads((Path(__file__).parent / "data" / "web.json").read_text())


@pytest.mark.parametrize("text", DATA["rfc3339_valid"] + DATA["rfc3339_valid_but_leap_second"])
def test_valid_times_are_read(text: str) -> None:
    assert read_time(text).tzinfo is not None


@pytest.mark.parametrize("text", DATA["rfc3339_invalid"])
def test_forms_that_the_rfc_forbids_are_refused(text: str) -> None:
    with pytest.raises(ValueError):  # noqa: PT011 - the day may be impossible, or the form
        read_time(text)


@pytest.mark.parametrize(("one", "other"), DATA["equal_instants"])
def test_the_same_instant_in_two_zones_is_equal(one: str, other: str) -> None:
    assert read_time(one) == read_time(other)


def test_a_leap_second_is_the_start_of_the_next_minute() -> None:
    assert read_time("1990-12-31T23:59:60Z") == datetime(1991, 1, 1, tzinfo=UTC)


@given(
    st.datetimes(datetime(1900, 1, 1), datetime(2200, 1, 1)),  # noqa: DTZ001 - the zone comes beside
    st.integers(-23 * 60, 23 * 60).map(lambda minutes: timezone(timedelta(minutes=minutes))),
)
def test_whatever_python_writes_is_read_back(naive: datetime, zone: timezone) -> None:
    moment = naive.replace(tzinfo=zone)
    assert read_time(moment.isoformat()) == moment
