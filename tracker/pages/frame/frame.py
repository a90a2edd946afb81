"""What stands round every page: who is signed in, the ways to the other pages, the language."""

from dataclasses import dataclass
from typing import Any, Final

from flask import Flask, g, request, url_for
from flask_babel import get_locale
from flask_babel import lazy_gettext as _l

from tracker.pages.frame.csrf import add_csrf
from tracker.pages.words.days import day, moment, short_day
from tracker.pages.words.happened import said_of
from tracker.pages.words.languages import add_languages
from tracker.pages.words.measures import add_filters, units
from tracker.pages.words.names import (
    box_name,
    box_state_word,
    job_status_word,
    part_status_word,
    role_word,
    step_word,
    who_word,
)
from tracker.pages.words.spoken import add_spoken
from tracker.shop.completeness import lack_in_words
from tracker.shop.leaving import why_it_stays
from tracker.shop.roles import Role
from tracker.shop.steps import Step
from tracker.translations.catalogues import LANGUAGES
from tracker.work.access import Bearer


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """A link to another page."""

    href: str
    name: Any
    often: bool
    here: bool


# Endpoint, name, from which role on it is offered (None: to everybody, signed in or not), and whether it always stands
# at the top rather than in the menu.
_WAYS: Final = (
    ("jobs_board.board", _l("Jobs"), Role.STATION, True),
    ("missing.missing", _l("Missing"), Role.STATION, True),
    ("station.choose", _l("Station"), Role.STATION, True),
    ("pack.choose", _l("Pack"), Role.PACKER, True),
    ("load_pages.loads", _l("Loads"), Role.PACKER, True),
    ("search.search", _l("Search"), Role.STATION, True),
    ("orders.new", _l("New order"), Role.OFFICE, False),
    ("label_pages.labels", _l("Labels"), Role.STATION, False),
    ("print_pages.prints", _l("Prints"), Role.STATION, False),
    ("print_pages.printers", _l("Printers"), Role.STATION, False),
    ("site_reports.reports", _l("Reports from site"), Role.FOREMAN, False),
    ("flagged_page.flagged", _l("Scans that contradict"), Role.FOREMAN, False),
    ("station_pages.stations", _l("Stations and tablets"), Role.FOREMAN, False),
    ("people.people", _l("People"), Role.ADMIN, False),
    ("token_pages.tokens", _l("Tokens"), Role.ADMIN, False),
    ("lists_page.settings", _l("Settings"), Role.OFFICE, False),
    ("me.me", _l("My language, units and password"), Role.STATION, False),
    ("manual.index", _l("Manual"), None, False),
)


def ways_for(app: Flask, bearer: Bearer | None) -> list[Way]:
    """Return the links that whoever is signed in, or nobody, may follow."""
    return [
        Way(href=url_for(endpoint), name=name, often=often, here=request.endpoint == endpoint)
        for endpoint, name, role, often in _WAYS
        if endpoint in app.view_functions and (role is None or (bearer is not None and bearer.role.includes(role)))
    ]


def add_frame(app: Flask) -> None:
    """Give every template what the frame shows, and what it reads texts and measures with."""
    add_languages(app)
    add_filters(app)
    add_spoken(app)
    add_csrf(app)
    app.jinja_env.filters["box_name"] = box_name
    app.jinja_env.filters["who_word"] = who_word
    app.jinja_env.globals.update(
        lack_in_words=lack_in_words,
        why_it_stays=why_it_stays,
        steps=list(Step),
        day=day,
        short_day=short_day,
        moment=moment,
        step_word=step_word,
        box_state_word=box_state_word,
        part_status_word=part_status_word,
        job_status_word=job_status_word,
        role_word=role_word,
        said_of=said_of,
    )

    @app.context_processor
    def shown() -> dict[str, Any]:
        bearer = g.get("bearer")
        return {
            "bearer": bearer,
            "may_act": bearer is not None and bearer.role.includes(Role.FOREMAN),
            "ways": ways_for(app, bearer),
            "change_tag": g.get("change_tag", ""),
            "language": str(get_locale() or "en"),
            "here": request.full_path.rstrip("?") if request.method == "GET" else "/",
            "languages": LANGUAGES,
            "chosen_units": units(),
        }
