"""The shop's own clock: what is written, and when a day begins."""

from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from flask import Flask

from tests.floor import Floor
from tests.shops import app_of
from tracker.pages.words.days import day, moment, time_of_day, today
from tracker.records import history
from tracker.records.database import Database
from tracker.settings import Settings


def app_in(timezone: str, database: Database, folder: Path) -> Flask:
    key = "for tests"
    settings = Settings(data_dir=folder, database_url=str(database.url), secret_key=key, timezone=timezone)
    return app_of(settings, database)


# The offsets are those of the time zone database of IANA: New York -05:00 in winter, Kiritimati +14:00 all the year.
@pytest.mark.parametrize(
    ("timezone", "says", "hour"),
    [
        ("UTC", "Sun, Mar 1, 2020, 17:30", "17:30"),
        ("America/New_York", "Sun, Mar 1, 2020, 12:30", "12:30"),
        ("Pacific/Kiritimati", "Mon, Mar 2, 2020, 07:30", "07:30"),
    ],
)
def test_moments_are_written_by_the_shops_clock(
    database: Database, tmp_path: Path, timezone: str, says: str, hour: str
) -> None:
    when = datetime(2020, 3, 1, 17, 30, tzinfo=UTC)
    with app_in(timezone, database, tmp_path).test_request_context(headers={"Accept-Language": "en"}):
        assert (moment(when), time_of_day(when)) == (says, hour)


def test_the_day_of_a_moment_is_the_one_that_it_was_in_the_shop(database: Database, tmp_path: Path) -> None:
    when = datetime(2020, 3, 1, 17, 30, tzinfo=UTC)
    app = app_in("Pacific/Kiritimati", database, tmp_path)
    with app.test_request_context(headers={"Accept-Language": "en"}):
        assert day(when) == day(date(2020, 3, 2)) == "Mon, Mar 2, 2020"


def test_a_day_that_is_far_away_is_told_with_its_year(database: Database, tmp_path: Path) -> None:
    with app_in("UTC", database, tmp_path).test_request_context(headers={"Accept-Language": "es"}):
        assert day(date(2020, 1, 2)) == "jue, 2 ene 2020"
        assert str(today().year) not in day(today())


def test_a_day_begins_at_the_shops_midnight(database: Database, tmp_path: Path) -> None:
    found = set()
    for timezone in ("Pacific/Kiritimati", "Pacific/Pago_Pago"):  # 25 hours apart: never the same day
        with app_in(timezone, database, tmp_path).test_request_context():
            found.add(today())
    assert len(found) == 2


def test_what_was_packed_in_the_evening_counts_to_the_shops_own_day(floor: Floor) -> None:
    evening = datetime(2027, 3, 2, 3, 0, tzinfo=UTC)  # still the first of March five hours to the west
    floor.clock = evening + timedelta(hours=20)
    floor.scan(floor.toe_kick, "PACK-1", at=evening)
    from_west = (evening + timedelta(days=1)).astimezone(datetime.fromisoformat("2027-03-01T00:00-05:00").tzinfo)
    with floor.database.read() as connection:
        (day,) = history.packed_by_day(connection, now=from_west)
    assert day.isoformat() == "2027-03-01"
