"""Lengths and masses on the screens, in the units that whoever looks has chosen."""

from babel.numbers import get_decimal_symbol
from flask import Flask, g, request
from flask_babel import get_locale

from tracker.shop.lengths import Units
from tracker.shop.written import length_number, length_text, mass_text, size_text

COOKIE = "units"


def units() -> Units:
    """Return the units in which this page speaks, else those of who is signed in, of the cookie, or millimetres."""
    of_page: Units | None = g.get("units_of_page")
    if of_page is not None:
        return of_page
    own = getattr(g.get("bearer"), "units", None)
    if own is not None:
        return Units(own)
    given = request.cookies.get(COOKIE, "")
    return Units(given) if given in {each.value for each in Units} else Units.MM


def speak_in(chosen: Units) -> None:
    """Let this page speak in these units whoever looks: an order is told in those in which it was written."""
    g.units_of_page = chosen


def add_filters(app: Flask) -> None:
    """Give the templates ``mm|mm`` for a length, ``sizes|size`` and ``kg|mass``."""
    app.jinja_env.filters["mm"] = length_as_read
    app.jinja_env.filters["size"] = lambda sizes: spelled(size_text(tuple(sizes), units()))
    app.jinja_env.filters["mass"] = lambda kg: spelled(mass_text(kg, units(), digits=1))


def length_as_read(mm: float) -> str:
    """Return a length in the reader's units and spelling."""
    return spelled(length_text(mm, units()))


def bare_length_as_read(mm: float) -> str:
    """Return a length in the reader's units and spelling, without the unit."""
    return spelled(length_number(mm, units()))


def spelled(measure: str) -> str:
    """Write decimals as the reader's language does."""
    return measure.replace(".", get_decimal_symbol(get_locale()))
