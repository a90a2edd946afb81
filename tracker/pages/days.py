"""Days and moments as people say them, in the reader's language."""

from datetime import date, datetime

from babel.dates import format_skeleton
from flask_babel import format_datetime, get_locale, to_user_timezone


def day(when: date) -> str:
    """Say a day: Fri, Mar 5, in the order of the reader's language."""
    return str(format_skeleton("MMMEd", when, locale=get_locale()))


def moment(when: datetime) -> str:
    """Say a day and a time of it: Fri, Mar 5, 14:05, on the service's clock."""
    local = to_user_timezone(when)
    return f"{format_skeleton('MMMEd', local, locale=get_locale())}, {format_datetime(when, 'HH:mm')}"
