"""How the shop's labels look and what they are printed on: its layouts, its stocks, and the choice for each kind."""

from base64 import b32encode
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from functools import cache, lru_cache
from hashlib import sha256
from hmac import compare_digest
from hmac import new as new_mac
from importlib.resources import files
from json import dumps
from pathlib import Path
from types import MappingProxyType
from typing import Any, Final

from tracker.labels.contents import Label, LabelKind
from tracker.labels.drawn import Drawn
from tracker.labels.faces import Face, known_faces
from tracker.labels.judging import must_read
from tracker.labels.layout import Layout, draw_label
from tracker.labels.layout_reading import read_layout
from tracker.labels.stocks import Stock, read_stocks, stocks_from_rows
from tracker.records.database import Database
from tracker.records.settings import keep_setting, setting_names, setting_text
from tracker.settings import Settings
from tracker.shop.errors import InvalidInputError, NotFoundError, fault_at
from tracker.shop.lifting import LiftingMarks
from tracker.shop.saying import Mm, say
from tracker.shop.toml_text import read_toml
from tracker.shop.toml_values import TableReader, one_of
from tracker.work.lists import lifting_marks

LABELS: Final = "labels"  # the setting that says which layout and stock each kind has, and lists own stocks
LAYOUT: Final = "layout"  # layouts are kept as layout/NAME
MOST_LAYOUTS: Final = 100
KEY_LETTERS: Final = 8
LONGEST_LINK: Final = 80  # what a page takes as one reading of a keyboard scanner
_USUAL: Final[Mapping[LabelKind, tuple[str, str]]] = MappingProxyType(
    {
        LabelKind.PART: ("part 100 x 50", "roll 100 x 50 mm"),
        LabelKind.BOX: ("box 100 x 145", "roll 100 x 150 mm"),
        LabelKind.BOARD: ("board 100 x 145", "roll 100 x 150 mm"),
        LabelKind.LOAD: ("load 100 x 50", "roll 100 x 50 mm"),
        LabelKind.SLOT: ("slot 100 x 50", "roll 100 x 50 mm"),
        LabelKind.STATION: ("station 100 x 50", "roll 100 x 50 mm"),
        LabelKind.CARD: ("card 100 x 50", "roll 100 x 50 mm"),
        LabelKind.BADGE: ("badge 86 x 54", "card 86 x 54 mm"),
    }
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Chosen:
    """The layout of a kind of label and what it is printed on. Raises InvalidInputError when it is larger than that."""

    layout: Layout
    stock: Stock

    def __post_init__(self) -> None:
        if not self.stock.holds(self.layout.size):
            what = say(
                "the layout %(layout)s, %(length)s by %(width)s, is larger than the labels of %(stock)s",
                layout=self.layout.name,
                length=Mm(self.layout.size[0]),
                width=Mm(self.layout.size[1]),
                stock=self.stock.name,
            )
            raise InvalidInputError(say("The label does not fit."), [fault_at("stock", what)])


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelSetup:
    """What each kind of label is drawn by and printed on; ``site`` and ``secret`` make the links that phones open.

    ``marks`` say which boxes are for two people or a trolley.
    """

    chosen: Mapping[LabelKind, Chosen]
    marks: LiftingMarks = field(default_factory=LiftingMarks)
    site: str = ""
    secret: str = field(default="", repr=False)

    def draw(self, label: Label, dpi: int) -> tuple[Drawn, Stock]:
        """Draw a label; it goes onto the stock."""
        chosen = self.chosen[label.kind]
        return draw_label(chosen.layout, label, dpi), chosen.stock

    def draw_to_print(self, label: Label, dpi: int) -> tuple[Drawn, Stock]:
        """Draw a label and read it back. Raises InvalidInputError, with the reasons, for one that would not read."""
        drawn, stock = self.draw(label, dpi)
        return must_read(drawn), stock

    def link(self, code: str) -> str:
        """Return what a label's QR code says instead of its code alone: nothing for a shop without a short address."""
        link = label_link(self.site, self.secret, code) if self.site else ""
        return link if len(link) <= LONGEST_LINK else ""


def label_link(site: str, secret: str, code: str) -> str:
    """Return the address of a code. In capitals a QR code needs a third less room (ISO/IEC 18004, 7.4.4)."""
    scheme, separator, rest = site.partition("://")
    host, slash, path = rest.partition("/")
    return f"{scheme.upper()}{separator}{host.upper()}{slash}{path}/Q/{code}/{label_key(secret, code)}"


def label_key(secret: str, code: str) -> str:
    """Return what proves that someone holds the label: codes follow one another, a guess must not open a page."""
    mac = new_mac(secret.encode(), f"label:{code}".encode(), sha256).digest()
    return b32encode(mac).decode()[:KEY_LETTERS]


def label_key_is_right(secret: str, code: str, key: str) -> bool:
    return compare_digest(label_key(secret, code).encode(), key.upper().encode())


def label_setup(database: Database, settings: Settings) -> LabelSetup:
    """Return how the shop's labels look now."""
    with database.read() as connection:
        text = setting_text(connection, LABELS) or ""
        names = [name for name in setting_names(connection) if name.startswith(f"{LAYOUT}/")]
        own = tuple(setting_text(connection, name) or "" for name in names)
    faces = tuple(shop_faces(settings).values())
    return LabelSetup(
        chosen=_read_choice(text, own, faces),
        marks=lifting_marks(database),
        site=settings.site_url,
        secret=settings.secret_key,
    )


def shop_faces(settings: Settings) -> dict[str, Face]:
    """Return the fonts that labels can be set in: ours, and those that lie in ``fonts`` in the data folder."""
    return known_faces(settings.data_dir / "fonts")


def usual_setup() -> LabelSetup:
    """Return how labels look where nothing was chosen."""
    return LabelSetup(chosen=_read_choice("", (), tuple(known_faces().values())))


def layouts(database: Database) -> dict[str, str]:
    """Return the text of each layout by its name: the program's, and the shop's own in front of them."""
    with database.read() as connection:
        names = [name for name in setting_names(connection) if name.startswith(f"{LAYOUT}/")]
        own = {name.removeprefix(f"{LAYOUT}/"): setting_text(connection, name) or "" for name in names}
    return own | {name: text for name, text in shipped_layouts().items() if name not in own}


def own_layouts(database: Database) -> list[str]:
    """Return the names of the shop's own layouts."""
    with database.read() as connection:
        return [name.removeprefix(f"{LAYOUT}/") for name in setting_names(connection) if name.startswith(f"{LAYOUT}/")]


def layout_text(database: Database, name: str) -> str:
    """Return a layout's text. Raises NotFoundError naming those that there are."""
    known = layouts(database)
    if name not in known:
        raise NotFoundError(
            say("There is no layout %(name)s; there are: %(known)s.", name=name[:60], known=", ".join(known))
        )
    return known[name]


def set_layout(database: Database, settings: Settings, text: str, *, who: str, now: datetime) -> str:
    """Check a layout and keep it under its own name, in the place of one of that name; return the name.

    Raises InvalidInputError naming each fault, also when its kind's stock cannot hold it any more.
    """
    faces = shop_faces(settings)
    layout = read_layout(text, faces)
    with database.write() as connection:
        kept = {name: setting_text(connection, name) or "" for name in setting_names(connection)}
        own = {name: body for name, body in kept.items() if name.startswith(f"{LAYOUT}/")}
        own[f"{LAYOUT}/{layout.name}"] = text
        if len(own) > MOST_LAYOUTS:
            raise InvalidInputError(say("The shop has %(most)d layouts already, which is the most.", most=MOST_LAYOUTS))
        _read_choice(kept.get(LABELS, ""), tuple(own.values()), tuple(faces.values()))
        keep_setting(connection, f"{LAYOUT}/{layout.name}", text, who=who, now=now)
    return layout.name


def set_labels(database: Database, settings: Settings, text: str, *, who: str, now: datetime) -> None:
    """Check which layout and stock each kind of label has, and keep it. Raises InvalidInputError naming each fault."""
    own = tuple(layouts(database).values())
    _read_choice(text, own, tuple(shop_faces(settings).values()))
    with database.write() as connection:
        keep_setting(connection, LABELS, text, who=who, now=now)


def choice_text(chosen: Mapping[LabelKind, tuple[str, str]], own_stocks: str) -> str:
    """Return the text that says which layout and stock each kind has; ``own_stocks`` is TOML as the shop wrote it."""
    of_kind = [f"[{kind}]\nlayout = {dumps(layout)}\nstock = {dumps(on)}\n" for kind, (layout, on) in chosen.items()]
    return "\n".join([*of_kind, own_stocks.strip(), ""])


def own_stocks_text(database: Database) -> str:
    """Return what the shop wrote of its own stocks."""
    with database.read() as connection:
        text = setting_text(connection, LABELS) or ""
    start = text.find("[[stock]]")
    return text[start:] if start >= 0 else ""


def stock_named(database: Database, name: str) -> Stock:
    """Return a stock by its name. Raises NotFoundError naming those that there are."""
    known = stocks(database)
    if name not in known:
        raise NotFoundError(
            say("There is no stock %(name)s; there are: %(known)s.", name=name[:60], known="; ".join(known))
        )
    return known[name]


def stocks(database: Database) -> dict[str, Stock]:
    """Return what labels can be printed on, by name."""
    with database.read() as connection:
        text = setting_text(connection, LABELS) or ""
    return {**shipped_stocks(), **stocks_from_rows(read_toml(text).get("stock", []))}


@cache
def shipped_layouts() -> Mapping[str, str]:
    """The texts of the layouts that come with the program, by name."""
    folder = Path(str(files("tracker.labels").joinpath("layouts")))
    texts = [file.read_text(encoding="utf-8") for file in sorted(folder.glob("*-*.toml"))]
    return MappingProxyType({str(read_toml(text)["name"]): text for text in texts})


@cache
def shipped_stocks() -> Mapping[str, Stock]:
    """The stocks that come with the program, by name."""
    return MappingProxyType(read_stocks(files("tracker.labels").joinpath("layouts/stocks.toml").read_text("utf-8")))


@lru_cache(maxsize=256)
def _layout(text: str, faces: tuple[Face, ...]) -> Layout:
    return read_layout(text, {face.name: face for face in faces})


@lru_cache(maxsize=32)
def _read_choice(text: str, own: tuple[str, ...], faces: tuple[Face, ...]) -> Mapping[LabelKind, Chosen]:
    known = {layout.name: layout for layout in (_layout(each, faces) for each in (*shipped_layouts().values(), *own))}
    reader = TableReader(read_toml(text))
    table = reader.known(reader.table, "", [*LabelKind, "stock"])
    on = {**shipped_stocks(), **stocks_from_rows(table.get("stock", []))}
    chosen = {kind: _choice(reader, kind, table.get(kind, {}), known, on) for kind in LabelKind}
    reader.refuse(say("The choice of labels has faults."))
    return MappingProxyType({kind: each for kind, each in chosen.items() if each is not None})


def _choice(
    reader: TableReader, kind: LabelKind, given: Any, known: Mapping[str, Layout], on: Mapping[str, Stock]
) -> Chosen | None:
    usual = dict(zip(("layout", "stock"), _USUAL[kind], strict=True))
    row = {**usual, **reader.known(given, kind, usual)}
    of_kind = {name: layout for name, layout in known.items() if layout.kind is kind}
    layout = reader.value(f"{kind}.layout", one_of(of_kind), row["layout"])
    stock = reader.value(f"{kind}.stock", one_of(on), row["stock"])
    if layout is None or stock is None:
        return None
    return reader.made(Chosen, {"layout": of_kind[layout], "stock": on[stock]}, kind)
