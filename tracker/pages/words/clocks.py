"""A clock that is wrong, in the reader's language: whose it is, by how much, and what is done about it."""

from datetime import datetime, timedelta
from typing import Final

from sqlalchemy import Connection

from tracker.pages.words.names import gettext as _
from tracker.pages.words.names import ngettext
from tracker.records.clocks import WrongClock, wrong_clocks
from tracker.shop.clocks import GOOD_FOR

CLOCKS_OF: Final = timedelta(hours=12)  # a device that sent nothing for longer may be switched off
_MINUTE, _HOUR, _DAY = 60, 3_600, 86_400  # in seconds


def clock_says(wrong: WrongClock) -> str:
    """Say of a device whose clock is wrong by how much it is, and that it wants to be set."""
    span = span_words(abs(wrong.ahead_s))
    if wrong.ahead_s < 0 and not wrong.told:
        return _(
            "The clock of %(device)s is slow by %(span)s. What it scans counts from when it arrives; set the clock.",
            device=wrong.device,
            span=span,
        )
    if wrong.ahead_s < 0:
        return _(
            "The clock of %(device)s is slow by %(span)s. Its scans are placed by the right time; set the clock.",
            device=wrong.device,
            span=span,
        )
    if wrong.told:
        return _(
            "The clock of %(device)s is fast by %(span)s. Its scans are placed by the right time; set the clock.",
            device=wrong.device,
            span=span,
        )
    return _(
        "The clock of %(device)s is fast by %(span)s. What it scans counts from when it arrives; set the clock.",
        device=wrong.device,
        span=span,
    )


def own_clock_says(wrong: WrongClock) -> str:
    """Say the same to whoever stands at the device."""
    span = span_words(abs(wrong.ahead_s))
    if wrong.ahead_s < 0:
        return _("This device's clock is slow by %(span)s. Scans count by the right time; set the clock.", span=span)
    return _("This device's clock is fast by %(span)s. Scans count by the right time; set the clock.", span=span)


def own_clock(connection: Connection, device: str, at: datetime) -> str:
    """Say to whoever stands at a device that its clock was wrong a moment ago; empty while it is right."""
    wrong = wrong_clocks(connection, since=at - GOOD_FOR, device=device)
    return own_clock_says(wrong[0]) if wrong else ""


def span_words(seconds: float) -> str:
    """Return a span of time in words, as exactly as anybody who sets a clock needs it."""
    if seconds < 2 * _MINUTE:
        return ngettext("%(num)d second", "%(num)d seconds", round(seconds))
    if seconds < 2 * _HOUR:
        return ngettext("%(num)d minute", "%(num)d minutes", round(seconds / _MINUTE))
    if seconds < 2 * _DAY:
        return ngettext("%(num)d hour", "%(num)d hours", round(seconds / _HOUR))
    return ngettext("%(num)d day", "%(num)d days", round(seconds / _DAY))
