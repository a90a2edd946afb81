"""The sheet in the carton: its language is asked for, or the shop's own, or English."""

import json
from collections import Counter
from datetime import date
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import update

from tests.floor import START, Floor
from tests.labels.printed_sheets import read
from tests.shop.cabinets.examples import OF_0_5
from tracker.records.database import Database
from tracker.records.tables import design
from tracker.settings import Settings
from tracker.shop.errors import InvalidInputError, NotFoundError
from tracker.shop.lengths import Units
from tracker.work.assembly_sheets import cabinet_sheet, set_sheet_language, sheet_language, write_cabinet_sheet
from tracker.work.designs import cabinet_of_job
from tracker.work.intake import read_json_order
from tracker.work.lists import shipped_standard
from tracker.work.orders import take_order
from tracker.work.reports import key_is_right

CABINET = {"cabinet": "101", "family": "base", "width": 600, "height": 876, "depth": 580, "fronts": "open"}
SITE = "https://tracker.example"


@pytest.fixture
def shop(floor: Floor) -> Floor:
    """A shop with one designed cabinet, J-3 101."""
    due, standard = date(2027, 4, 5), shipped_standard()
    order = read_json_order(
        [], [], [CABINET], job="J-3", customer="Invented", due=due, units=Units.MM, standard=standard
    )
    take_order(floor.database, order, **floor.act())
    return floor


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    return Settings(data_dir=tmp_path, database_url="", secret_key="for tests")  # noqa: S106


def first_words(database: Database, settings: Settings, language: str | None = None) -> str:
    document = BytesIO()
    write_cabinet_sheet(database, settings, "J-3", "101", document, site=SITE, language=language)
    return read(document.getvalue())[0]


def test_a_sheet_is_in_the_language_asked_for_else_in_the_shops_own_else_in_english(
    shop: Floor, settings: Settings
) -> None:
    database = shop.database
    assert sheet_language(database) == "en"
    assert "Before you start" in first_words(database, settings)
    set_sheet_language(database, "es", who="Ada", now=START)
    assert sheet_language(database) == "es"
    assert "Antes de empezar" in first_words(database, settings)
    assert "Before you start" in first_words(database, settings, "en")


def test_a_language_that_is_not_spoken_is_refused_and_changes_nothing(shop: Floor, settings: Settings) -> None:
    set_sheet_language(shop.database, "es", who="Ada", now=START)
    with pytest.raises(InvalidInputError):
        set_sheet_language(shop.database, "xx", who="Ada", now=START)
    assert sheet_language(shop.database) == "es"
    with pytest.raises(InvalidInputError):
        write_cabinet_sheet(shop.database, settings, "J-3", "101", BytesIO(), language="xx")


def test_the_code_on_a_spanish_sheet_opens_the_report_in_spanish_with_the_same_key(
    shop: Floor, settings: Settings
) -> None:
    english = cabinet_sheet(shop.database, settings, "J-3", "101", site=SITE).report_link
    spanish = cabinet_sheet(shop.database, settings, "J-3", "101", site=SITE, language="es").report_link
    assert spanish == f"{english}?language=es"
    assert key_is_right(settings.secret_key, "J-3", "101", english.rsplit("/", 1)[1])
    told = cabinet_sheet(shop.database, settings, "J-3", "101", language="es")
    assert told.report_link == told.report_code, "without an address the code names the box"


def test_a_cabinet_that_was_not_designed_here_has_no_sheet_in_any_language(shop: Floor, settings: Settings) -> None:
    with pytest.raises(NotFoundError):
        write_cabinet_sheet(shop.database, settings, "J-1", "101", BytesIO(), language="es")


@pytest.mark.parametrize("body", OF_0_5, ids=lambda body: str(body["order"]["family"]))
def test_a_cabinet_that_was_designed_before_locks_crossed_keeps_its_design_and_has_a_sheet_that_claims_no_more(
    shop: Floor, settings: Settings, body: dict[str, Any]
) -> None:
    """Version 0.5.0 wrote it: every lock slides down. It is put together by the order of now, as it was drilled."""
    with shop.database.write() as connection:
        connection.execute(update(design).values(body=json.dumps(body)))
    cabinet = cabinet_of_job(shop.database, "J-3", "101")
    ways = {joint.slide for joint in cabinet.joints if any(joint.slide)}
    assert ways == {(0.0, 0.0, -4.0)}
    sheet = cabinet_sheet(shop.database, settings, "J-3", "101", site=SITE)
    assert Counter(own for step in sheet.guide.steps for own in step.moving) == Counter(p.id for p in cabinet.parts)
    said = " ".join(sentence for step in sheet.guide.steps for sentence in step.sentences)
    assert "Every lock holds now." in said
    assert "can slide out" not in said, "everything in it can rise"
