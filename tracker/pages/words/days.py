"""Days and moments as people say them, in the reader's language and on the shop's clock."""

from datetime import date, datetime
from typing import Final

from babel.dates import format_skeleton
from flask_babel import format_datetime, get_locale, to_user_timezone

from tracker.web.context import now

_SAME_WEEKS_DAYS: Final = 20  # within them no two days have the same weekday and number
_SAME_YEARS_DAYS: Final = 300  # within them nobody takes a day for that of another year


def day(when: date) -> str:
    """Say a day: Fri, Mar 5, in the order of the reader's language; of a moment, the day that it was in the shop.

    A day that is far away is told with its year.
    """
    when = to_user_timezone(when) if isinstance(when, datetime) else when
    local = when.date() if isinstance(when, datetime) else when
    near = abs((local - today()).days) <= _SAME_YEARS_DAYS
    return str(format_skeleton("MMMEd" if near else "yMMMEd", when, locale=get_locale()))


def short_day(when: date) -> str:
    """Say a day as shortly as it is clear: Fri 5 in these weeks, Mar 5 in others."""
    near = abs((when - today()).days) <= _SAME_WEEKS_DAYS
    return str(format_skeleton("Ed" if near else "MMMd", when, locale=get_locale()))


def moment(when: datetime) -> str:
    """Say a day and a time of it: Fri, Mar 5, 14:05, on the shop's clock."""
    return f"{day(when)}, {time_of_day(when)}"


def time_of_day(when: datetime) -> str:
    """Say a time of day: 14:05, on the shop's clock."""
    return str(format_datetime(when, "HH:mm"))


def shop_now() -> datetime:
    """Return the time as the shop's clock shows it."""
    local: datetime = to_user_timezone(now())
    return local


def today() -> date:
    """Return the day that it is in the shop: what is late or due turns at its own midnight."""
    return shop_now().date()
