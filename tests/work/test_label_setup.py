"""How the shop's labels look: layouts and stocks are kept whole or not at all, and links prove who holds a label."""

from datetime import UTC, datetime
from pathlib import Path

import pytest

from tests.shops import sqlite_shop
from tracker.labels.contents import SAMPLES, LabelKind
from tracker.records.database import Database
from tracker.settings import Settings
from tracker.shop.codes import MisreadError, part_code, read_code
from tracker.shop.errors import InvalidInputError, NotFoundError
from tracker.work.label_setup import (
    choice_text,
    label_key_is_right,
    label_link,
    label_setup,
    layout_text,
    layouts,
    own_layouts,
    own_stocks_text,
    set_labels,
    set_layout,
    shipped_layouts,
    stocks,
)

NOW = datetime(2026, 11, 26, 8, 0, tzinfo=UTC)
SLOT = shipped_layouts()["slot 100 x 50"]


@pytest.fixture
def database(tmp_path: Path) -> Database:
    return sqlite_shop(tmp_path / "shop.db")


@pytest.fixture
def settings(tmp_path: Path, database: Database) -> Settings:
    return Settings(data_dir=tmp_path, database_url=str(database.url), secret_key="of a test")  # noqa: S106


def keep(database: Database, settings: Settings, text: str) -> str:
    return set_layout(database, settings, text, who="office", now=NOW)


def test_a_new_shop_can_print_every_kind_of_label(database: Database, settings: Settings) -> None:
    setup = label_setup(database, settings)
    assert set(setup.chosen) == set(LabelKind)
    for sample in SAMPLES.values():
        drawn, stock = setup.draw(sample, 203)
        assert drawn.symbols[0].text == sample.code
        assert stock.label


def test_a_layout_of_the_shop_takes_the_place_of_one_of_its_name(database: Database, settings: Settings) -> None:
    assert keep(database, settings, SLOT.replace("{subtitle}", "CART")) == "slot 100 x 50"
    assert own_layouts(database) == ["slot 100 x 50"]
    assert "CART" in layout_text(database, "slot 100 x 50")
    assert len(layouts(database)) == len(shipped_layouts())
    chosen = label_setup(database, settings).chosen[LabelKind.SLOT]
    assert "CART" in [getattr(each, "says", "") for each in chosen.layout.elements]


def test_a_layout_that_its_stock_cannot_hold_any_more_is_not_kept(database: Database, settings: Settings) -> None:
    with pytest.raises(InvalidInputError) as refused:
        keep(database, settings, SLOT.replace("size = [100, 50]", "size = [120, 50]", 1))
    assert "larger than the labels of roll 100 x 50 mm" in refused.value.faults[0].what
    assert own_layouts(database) == []


def test_each_kind_has_its_own_layout_and_stock_and_the_shops_own_stocks_are_kept_as_written(
    database: Database, settings: Settings
) -> None:
    names = {
        kind: (chosen.layout.name, chosen.stock.name) for kind, chosen in label_setup(database, settings).chosen.items()
    }
    own = '[[stock]]\nname = "wide roll"\nlabel = [120, 60]'
    set_labels(
        database, settings, choice_text(names | {LabelKind.SLOT: ("slot 100 x 50", "wide roll")}, own), who="x", now=NOW
    )
    assert label_setup(database, settings).chosen[LabelKind.SLOT].stock.label == (120, 60)
    assert own_stocks_text(database).strip() == own
    assert "wide roll" in stocks(database)


@pytest.mark.parametrize(
    ("text", "field"),
    [
        ('[part]\nlayout = "slot 100 x 50"', "part.layout"),
        ('[part]\nstock = "nothing"', "part.stock"),
        ('[lorry]\nstock = "roll 100 x 50 mm"', "lorry"),
        ("[part]\ncolour = 3", "part.colour"),
        ("part = 3", "part"),
        ('[[stock]]\nname = "x"', "stock.1.label"),
        ("[[stock", ""),
    ],
)
def test_a_choice_with_a_fault_is_refused_by_its_place_and_nothing_changes(
    database: Database, settings: Settings, text: str, field: str
) -> None:
    before = label_setup(database, settings)
    with pytest.raises(InvalidInputError) as refused:
        set_labels(database, settings, text, who="office", now=NOW)
    assert field in {str(fault.where.get("field", "")) for fault in refused.value.faults}
    assert label_setup(database, settings) == before


def test_a_layout_that_is_not_there_is_asked_for_by_the_names_of_those_that_are(database: Database) -> None:
    with pytest.raises(NotFoundError, match="part 100 x 50"):
        layout_text(database, "nothing")


def test_a_link_is_read_as_its_code_and_its_key_is_that_of_one_code_alone() -> None:
    link = label_link("https://shop.example/tracker", "secret", part_code(1234))
    assert link.startswith("HTTPS://SHOP.EXAMPLE/tracker/Q/P0000123421/")
    assert str(read_code(link)) == part_code(1234)
    for_another_layout = link.replace(":", "Ñ").replace("/", "-")  # as a scanner types it where : and / lie elsewhere
    assert str(read_code(for_another_layout)) == part_code(1234)
    assert str(read_code(link.replace(":", "?").replace("/", "?").replace(".", "?"))) == part_code(1234)
    key = link.rpartition("/")[2]
    assert label_key_is_right("secret", part_code(1234), key.lower())
    assert not label_key_is_right("secret", part_code(1235), key)
    assert not label_key_is_right("other", part_code(1234), key)


@pytest.mark.parametrize(
    "text",
    [
        "https://shop.example/Q/P0000123422/ABCDEFGH",
        "https://shop.example/P0000123421",
        "ftp://shop.example/Q/P0000123421/ABCDEFGH",
        "https://shop.example/Q/P0000123421/",
        "https:///Q/P0000123421/ABCDEFGH",
        "https://a/Q/" + "x" * 600,
    ],
)
def test_an_address_that_is_no_label_is_a_misread(text: str) -> None:
    with pytest.raises(MisreadError):
        read_code(text)
