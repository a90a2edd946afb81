"""Times as RFC 3339 writes them."""

import re
from datetime import datetime, timedelta

_RFC3339 = re.compile(r"(\d{4}-\d{2}-\d{2})[Tt](\d{2}:\d{2}:)(\d{2})(\.\d{1,9})?([Zz]|[+-]\d{2}:\d{2})", re.ASCII)


def read_time(text: str) -> datetime:
    """Return the moment that an RFC 3339 date-time names, to the microsecond.

    ``datetime.fromisoformat`` alone takes forms that the RFC forbids (no offset, week dates, a comma). A leap second
    becomes the first moment of the next minute. Raises ValueError for anything else.
    """
    match = _RFC3339.fullmatch(text)
    if match is None:
        raise ValueError("not an RFC 3339 time with an offset, such as 2027-03-05T09:30:00+01:00")
    day, hour_minute, second, fraction, offset = match.groups()
    leap = second == "60"
    zone = "+00:00" if offset in "Zz" else offset
    moment = datetime.fromisoformat(f"{day}T{hour_minute}{'59' if leap else second}{(fraction or '')[:7]}{zone}")
    if not leap:
        return moment
    try:
        return moment.replace(microsecond=0) + timedelta(seconds=1)
    except OverflowError:
        raise ValueError("the last second that a calendar holds is 9999-12-31T23:59:59") from None
