"""The manual: the same in both languages, open to everybody, and true of the screens and the commands."""

import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import click
import pytest
from babel.messages.pofile import read_po
from flask import Flask
from markdown_it.token import Token
from PIL import Image

import scanner_client.main
import tracker.cli
import tracker.settings
from tests.floor import Floor
from tests.pages.callers import callers_of, in_words
from tests.shops import app_of, sqlite_shop
from tracker.pages.help.manual import INDEX, PICTURES, ROOM, id_of, names, read_page
from tracker.records.database import Database
from tracker.settings import Settings
from tracker.shop.roles import Role
from tracker.translations.catalogues import CATALOGUES, LANGUAGES

PAGES = (INDEX, *names())
FILES = [(name, language) for name in PAGES for language in LANGUAGES]
PROGRAMS: dict[str, click.Command] = {"tracker": tracker.cli.main, "scanner-client": scanner_client.main.main}
LARGEST_PICTURE = 60_000  # bytes
LEAST_SAID = 6  # letters beside what is filled in: a text of fewer is like too many others


def tokens_of(name: str, language: str) -> list[Token]:
    """All of a page, what stands within its lines, too."""
    return [each for token in read_page(name, language).tokens for each in (token, *(token.children or ()))]


def headings_of(name: str, language: str) -> list[tuple[str, str]]:
    """Each heading's level and text."""
    tokens = read_page(name, language).tokens
    return [(each.tag, tokens[at + 1].content) for at, each in enumerate(tokens) if each.type == "heading_open"]


def code_of(name: str, language: str) -> list[str]:
    return [token.content for token in tokens_of(name, language) if token.type in ("fence", "code_inline")]


def bold_names(text: str) -> list[str]:
    """What stands in bold: the names of screens and buttons."""
    return [" ".join(name.split()) for name in re.findall(r"\*\*(.+?)\*\*", text, re.DOTALL)]


@pytest.fixture
def app(tmp_path: Path) -> Iterator[Flask]:
    database = sqlite_shop(tmp_path / "shop.db")
    settings = Settings(data_dir=tmp_path, database_url=str(database.url), secret_key="for tests")  # noqa: S106
    yield app_of(settings, database)
    database.close()


def test_every_file_is_a_page_that_the_index_links() -> None:
    assert {path.name for path in ROOM.glob("*.md")} == {f"{name}.{language}.md" for name, language in FILES}
    assert read_page(INDEX, "es").links == read_page(INDEX, "en").links


@pytest.mark.parametrize("name", PAGES)
def test_a_page_says_the_same_in_both_languages(name: str) -> None:
    levels = {tuple(level for level, _text in headings_of(name, language)) for language in LANGUAGES}
    parts = {
        tuple(token.type for token in read_page(name, language).tokens if token.level == 0) for language in LANGUAGES
    }
    examples = {
        tuple(token.content for token in tokens_of(name, language) if token.type == "fence") for language in LANGUAGES
    }
    links = {read_page(name, language).links for language in LANGUAGES}
    assert [len(each) for each in (levels, parts, examples, links)] == [1, 1, 1, 1]


@pytest.mark.parametrize(("name", "language"), FILES)
def test_every_link_of_a_page_leads_somewhere(name: str, language: str) -> None:
    for token in tokens_of(name, language):
        if token.type == "link_open" and not str(token.attrGet("href")).startswith("http://127.0.0.1:8000"):
            found = re.fullmatch(rf"([a-z-]+)\.{language}\.md(?:#(.+))?", str(token.attrGet("href")))
            assert found, f"{token.attrGet('href')} is no page in this language"
            assert found[1] in PAGES
            if found[2]:
                assert found[2] in {id_of(text) for _level, text in headings_of(found[1], language)}


@pytest.mark.parametrize("name", PAGES)
def test_every_picture_is_there_in_the_language_of_its_page_and_small(name: str) -> None:
    for language in LANGUAGES:
        for token in tokens_of(name, language):
            if token.type == "image":
                path = ROOM / str(token.attrGet("src"))
                assert path.name.endswith(f".{language}.png")
                assert path.stat().st_size < LARGEST_PICTURE
                with Image.open(path) as picture:
                    assert picture.width <= 1024
                assert token.content, "a picture says what it shows"


def test_every_picture_is_shown() -> None:
    shown = {str(token.attrGet("src")) for page in FILES for token in tokens_of(*page) if token.type == "image"}
    assert {f"{PICTURES.name}/{path.name}" for path in PICTURES.iterdir()} == shown


@pytest.mark.parametrize(("name", "language"), FILES)
def test_every_command_that_a_page_shows_exists_with_its_options(name: str, language: str) -> None:
    for code in code_of(name, language):
        for program, rest in re.findall(r"\b(tracker|scanner-client)( [^;|)\n]*|$)", code.replace("\\\n", "")):
            command, known = PROGRAMS[program], {"--help"}
            words = rest.split()
            while isinstance(command, click.Group) and words and not words[0].startswith("-"):
                assert words[0] in command.commands, f"{program} {rest}"
                known |= {option for each in command.params for option in each.opts}
                command = command.commands[words.pop(0)]
            known |= {option for each in command.params for option in each.opts}
            assert {word for word in words if word.startswith("--")} <= known, f"{program} {rest}"


@pytest.mark.parametrize(("name", "language"), FILES)
def test_every_setting_of_the_environment_that_a_page_names_is_read(name: str, language: str) -> None:
    read = Path(tracker.settings.__file__).read_text()
    for code in code_of(name, language):
        for setting in re.findall(r"TRACKER_[A-Z_]+", code):
            assert f'"{setting.removesuffix("_FILE")}"' in read


@cache
def said_on_screens(language: str) -> re.Pattern[str]:
    """What stands on the screens in a language, whatever is filled in."""
    with (CATALOGUES / "es" / "LC_MESSAGES" / "messages.po").open("rb") as file:
        texts = [
            text
            for message in read_po(file)
            for text in ([message.id] if language == "en" else [message.string])
            if isinstance(text, str) and ("%(" not in text or len(re.sub(r"%\(\w+\)s", "", text)) > LEAST_SAID)
        ]
    return re.compile("|".join(re.sub(r"%\\\(\w+\\\)s", ".+", re.escape(text)) for text in texts))


@pytest.mark.parametrize(("name", "language"), FILES)
def test_every_name_in_bold_stands_on_a_screen(name: str, language: str) -> None:
    for bold in bold_names((ROOM / f"{name}.{language}.md").read_text()):
        assert said_on_screens(language).fullmatch(bold), bold


@pytest.mark.parametrize(("name", "language"), FILES)
def test_a_page_is_open_to_somebody_who_is_not_signed_in(app: Flask, name: str, language: str) -> None:
    path = "/help" if name == INDEX else f"/help/{name}"
    answer = app.test_client().get(path, headers={"Accept": "text/html", "Accept-Language": language})
    assert answer.status_code == 200
    words = in_words(answer.text)
    for _level, heading in headings_of(name, language):
        assert heading in words
    for link in re.findall(r'(?:href|src)="(/(?:help|static/help)[^"#]*)', answer.text):
        with app.test_client().get(link) as followed:
            assert followed.status_code == 200, link
    assert f'<html lang="{language}">' in answer.text


@pytest.mark.parametrize("path", ["/help/nothing", "/help/index", "/help/manual.py", "/static/help/first-day.en.md"])
def test_nothing_but_pages_is_given_out(app: Flask, path: str) -> None:
    assert app.test_client().get(path).status_code == 404


def test_the_menu_leads_to_the_manual_before_and_after_signing_in(sqlite: Database, tmp_path: Path) -> None:
    caller = callers_of(Floor(sqlite), tmp_path, [Role.STATION])[Role.STATION]
    assert '<a href="/help">Manual</a>' in caller.get("/").text
    assert '<a href="/help">Manual</a>' in caller.client.application.test_client().get("/sign-in").text


def test_the_manual_speaks_the_language_of_whoever_is_signed_in(sqlite: Database, tmp_path: Path) -> None:
    caller = callers_of(Floor(sqlite), tmp_path, [Role.STATION])[Role.STATION]
    caller.send("/me", language="es", units="mm")
    page = caller.read("/help/safety")
    assert "Trabajar con seguridad" in page
    assert "Cerrar sesión" in page
