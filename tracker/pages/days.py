"""Days and moments as people say them, in the reader's language and on the shop's clock."""

from datetime import date, datetime

from babel.dates import format_skeleton
from flask_babel import format_datetime, get_locale, to_user_timezone

from tracker.pages.context import now


def day(when: date) -> str:
    """Say a day: Fri, Mar 5, in the order of the reader's language."""
    return str(format_skeleton("MMMEd", when, locale=get_locale()))


def moment(when: datetime) -> str:
    """Say a day and a time of it: Fri, Mar 5, 14:05, on the shop's clock."""
    local = to_user_timezone(when)
    return f"{format_skeleton('MMMEd', local, locale=get_locale())}, {format_datetime(when, 'HH:mm')}"


def time_of_day(when: datetime) -> str:
    """Say a time of day: 14:05, on the shop's clock."""
    return str(format_datetime(when, "HH:mm"))


def shop_now() -> datetime:
    """Return the time as the shop's clock shows it."""
    return to_user_timezone(now())


def today() -> date:
    """Return the day that it is in the shop: what is late or due turns at its own midnight."""
    return shop_now().date()
