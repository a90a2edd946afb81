"""The languages of the screens: English and Spanish, as chosen or as the browser asks."""

from flask import Flask, g, request
from flask_babel import Babel

LANGUAGES = {"en": "English", "es": "Español"}
COOKIE = "language"


def choose_language() -> str:
    """Return the language of whoever is signed in, else that of the cookie, else the best that the browser takes."""
    own = getattr(g.get("bearer"), "language", None)
    for given in (own, request.cookies.get(COOKIE)):
        if given in LANGUAGES:
            return str(given)
    return request.accept_languages.best_match(list(LANGUAGES)) or "en"


def add_languages(app: Flask) -> None:
    """Let templates and views speak the chosen language; dates are written by its rules."""
    app.config.update(BABEL_DEFAULT_LOCALE="en", BABEL_TRANSLATION_DIRECTORIES="translations")
    Babel(app, locale_selector=choose_language)
