"""The shop's own sentences in the reader's language and units."""

from flask import Flask
from flask_babel import format_decimal, get_locale, get_translations

from tracker.pages.words.days import day, moment
from tracker.pages.words.measures import bare_length_as_read, length_as_read, spelled
from tracker.shop import saying


def spoken(text: str) -> str:
    """Return a sentence of the shop in the reader's language and units; any other text as it is."""
    return saying.spoken(text, tongue_of_reader())


def tongue_of_reader() -> saying.Tongue:
    """Return how whoever looks at the page is spoken to."""
    return saying.Tongue(
        pattern=_pattern,
        length=length_as_read,
        bare=bare_length_as_read,
        count=format_decimal,
        decimal=spelled,
        day=day,
        moment=moment,
        language=str(get_locale() or saying.ENGLISH),
    )


def _pattern(one: str, many: str, num: int) -> str:
    known = get_translations()
    found: str = known.gettext(one) if one == many else known.ngettext(one, many, num)
    return found


def add_spoken(app: Flask) -> None:
    """Give the templates ``sentence|spoken``."""
    app.jinja_env.filters["spoken"] = spoken
