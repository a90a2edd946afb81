"""The manual: a page for each Markdown file of this room, in the reader's language, open to everybody.

``index`` is the first page; the order in which it links the others is the order in which they follow one another.
In the files a page links another, and shows a picture, by the name of its file, so that they can be read as files, too.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from http import HTTPStatus
from pathlib import Path
from typing import Any, Final

from flask import Blueprint, abort, g, render_template, url_for
from flask_babel import get_locale
from markdown_it import MarkdownIt
from markdown_it.renderer import RendererHTML
from markdown_it.token import Token
from markdown_it.utils import OptionsDict
from markupsafe import Markup

from tracker.pages.frame.sign_in import bearer_or_none
from tracker.work.access import open_to_all

blueprint = Blueprint("manual", __name__)

ROOM: Final = Path(__file__).parent
PICTURES: Final = ROOM / "pictures"
INDEX: Final = "index"
_PAGE: Final = re.compile(r"(?P<page>[a-z0-9-]+)\.[a-z]{2}\.md(?P<place>#.*)?")
_NO_LETTER: Final = re.compile(r"[^\w\- ]")


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """One page: the parts of its Markdown, its title, and the pages that it links."""

    name: str
    tokens: Sequence[Token]
    title: str
    links: tuple[str, ...]


@blueprint.get("/help")
@open_to_all
def index() -> str:
    """What the manual holds."""
    return _shown(INDEX)


@blueprint.get("/help/<page>")
@open_to_all
def page(page: str) -> str:
    """One page of the manual."""
    if page not in names():
        abort(HTTPStatus.NOT_FOUND)
    return _shown(page)


def names() -> tuple[str, ...]:
    """The names of the pages beside the index, in their order."""
    return read_page(INDEX, "en").links


@cache
def read_page(name: str, language: str) -> Page:
    """Read a page from its file, give its headings their ids, and name each table after the heading above it."""
    tokens = _markdown().parse((ROOM / f"{name}.{language}.md").read_text(encoding="utf-8"))
    headings: list[str] = []
    last = ""
    for at, token in enumerate(tokens):
        if token.type == "heading_open":
            headings.append(tokens[at + 1].content)
            last = id_of(headings[-1])
            token.attrSet("id", last)
        elif token.type == "table_open":
            token.meta["heading"] = last
    return Page(name=name, tokens=tokens, title=headings[0], links=_links(tokens))


def id_of(heading: str) -> str:
    """The id of a heading, by the rule by which the usual readers of Markdown files make it."""
    return _NO_LETTER.sub("", heading.lower()).replace(" ", "-")


def _links(tokens: Sequence[Token]) -> tuple[str, ...]:
    """Name the pages that are linked, each once, in their order."""
    inside = (child for token in tokens for child in token.children or ())
    found = (_PAGE.fullmatch(str(each.attrGet("href"))) for each in inside if each.type == "link_open")
    return tuple(dict.fromkeys(each["page"] for each in found if each))


def _shown(name: str) -> str:
    g.bearer = bearer_or_none()  # the frame shows who is signed in, and speaks their language
    language = str(get_locale())
    read, order = read_page(name, language), (INDEX, *names())
    after = order[order.index(name) + 1 :]
    return render_template(
        "help/manual.html",
        page=read,
        text=Markup(_markdown().renderer.render(read.tokens, _markdown().options, {})),  # noqa: S704 - our own files
        following=read_page(after[0], language) if after else None,
    )


@cache
def _markdown() -> MarkdownIt:
    """Plain Markdown with tables; HTML in a file stands there as text."""
    made = MarkdownIt("commonmark", {"html": False}).enable("table")
    made.add_render_rule("link_open", _link)
    made.add_render_rule("image", _picture)
    made.add_render_rule("table_open", _table)
    made.add_render_rule("table_close", _end_of_table)
    return made


def _link(renderer: RendererHTML, tokens: Sequence[Token], at: int, options: OptionsDict, _env: dict[str, Any]) -> str:
    """Lead a link of another file to its page."""
    token = tokens[at]
    found = _PAGE.fullmatch(str(token.attrGet("href")))
    if found:
        where = url_for("manual.index") if found["page"] == INDEX else url_for("manual.page", page=found["page"])
        return f'<a href="{where}{found["place"] or ""}">'
    return renderer.renderToken(tokens, at, options, _env)


def _picture(
    renderer: RendererHTML, tokens: Sequence[Token], at: int, options: OptionsDict, env: dict[str, Any]
) -> str:
    """Show a picture of this room."""
    token = tokens[at]
    source = url_for("static", filename=f"{ROOM.name}/{token.attrGet('src')}")
    says = Markup.escape(renderer.renderInlineAsText(token.children, options, env))
    return f'<img src="{source}" alt="{says}">'


def _table(_renderer: RendererHTML, tokens: Sequence[Token], at: int, _options: OptionsDict, _env: Any) -> str:
    """A wide table is moved sideways on its own, by keyboard, too."""
    return f'<div class="wide" tabindex="0" role="region" aria-labelledby="{tokens[at].meta["heading"]}">\n<table>\n'


def _end_of_table(*_given: Any) -> str:
    return "</table></div>\n"
