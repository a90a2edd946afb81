"""The languages of the screens: English and Spanish, as chosen or as the browser asks."""

from typing import Final

from flask import Flask, g, request
from flask_babel import Babel

from tracker.settings import Settings
from tracker.translations.catalogues import CATALOGUES, LANGUAGES

COOKIE: Final = "language"
PAGE: Final = "X-Page-Language"  # the header with which a page's script says in which language its page stands


def choose_language() -> str:
    """Return the language of the page that calls, else of whoever is signed in, of the cookie, or of the browser."""
    own = getattr(g.get("bearer"), "language", None)
    for given in (request.headers.get(PAGE), own, request.cookies.get(COOKIE)):
        if given in LANGUAGES:
            return str(given)
    return request.accept_languages.best_match(list(LANGUAGES)) or "en"


def add_languages(app: Flask) -> None:
    """Let templates and views speak the chosen language; dates are written by its rules."""
    shop: Settings = app.extensions["shop_settings"]
    app.config.update(
        BABEL_DEFAULT_LOCALE="en",
        BABEL_TRANSLATION_DIRECTORIES=str(CATALOGUES),
        BABEL_DEFAULT_TIMEZONE=shop.timezone,
    )
    Babel(app, locale_selector=choose_language)
