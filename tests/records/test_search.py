"""Finding things by what is written on their labels, on the shop's databases."""

from dataclasses import replace
from datetime import date

import pytest

from tests.floor import DECK, END, TOE_KICK, Floor
from tracker.records import search
from tracker.records.database import Database
from tracker.records.search import Found, find, folded, parts_in_slot, words_of
from tracker.shop.codes import read_code
from tracker.shop.orders import Order
from tracker.shop.scans import Action
from tracker.work.jobs import cancel_job
from tracker.work.orders import take_order


@pytest.fixture
def floor(database: Database) -> Floor:
    floor = Floor(database)
    order = Order(
        job="K-77",
        customer="Ávila, invented",
        due=date(2027, 4, 1),
        parts=(replace(DECK, cabinet="201"), replace(END, cabinet="202", box="crate 100%")),
    )
    take_order(database, order, **floor.act())
    return floor


def found(floor: Floor, text: str, *, parts: int = search.LOOKED_THROUGH) -> Found:
    with floor.database.read() as connection:
        return find(connection, text, looked_through=parts)


def test_a_job_is_found_by_a_piece_of_its_code_in_any_case(floor: Floor) -> None:
    assert [job.code for job in found(floor, "k-7").jobs] == ["K-77"]


def test_a_job_is_found_by_its_customer_without_accents(floor: Floor) -> None:
    assert [job.code for job in found(floor, "avila").jobs] == ["K-77"]
    assert [job.code for job in found(floor, "invented").jobs] == ["J-1", "K-77"]


def test_a_cabinet_a_part_a_programme_and_a_box_are_found_by_their_names(floor: Floor) -> None:
    assert [(each.job, each.name, each.parts) for each in found(floor, "201").cabinets] == [("K-77", "201", 1)]
    assert [(each.job.code, each.name) for each in found(floor, "toe").parts] == [("J-1", "Toe kick")]
    assert [(each.job, each.name, each.parts) for each in found(floor, "dk-1").programmes] == [
        ("J-1", "DK-1", 1),
        ("K-77", "DK-1", 1),
    ]
    assert [(each.job.code, each.name) for each in found(floor, "crate").boxes] == [("K-77", "crate 100%")]


def test_stations_and_slots_are_found_by_their_names(floor: Floor) -> None:
    assert [(each.name, each.step) for each in found(floor, "cut").places] == [("CUT-1", "cut")]
    assert [(each.name, each.step) for each in found(floor, "cart").places] == [("CART-1", "")]


def test_several_words_must_all_be_met(floor: Floor) -> None:
    assert [each.job.code for each in found(floor, "deck k-77").parts] == ["K-77"]
    assert [each.job.code for each in found(floor, "deck 101").parts] == ["J-1"]
    assert found(floor, "deck nowhere").count == 0


def test_signs_that_databases_read_as_any_are_only_signs(floor: Floor) -> None:
    assert [each.name for each in found(floor, "100%").boxes] == ["crate 100%"]
    assert found(floor, "%").parts == []
    assert found(floor, "_").parts == []


def test_nothing_asked_finds_nothing(floor: Floor) -> None:
    assert found(floor, "   ").count == 0


def test_what_is_replaced_or_cancelled_is_not_found_but_its_job_is(floor: Floor) -> None:
    cancel_job(floor.database, "K-77", **floor.act())
    assert found(floor, "201").cabinets == []
    assert [job.status for job in found(floor, "K-77").jobs] == ["cancelled"]


def test_long_lists_are_cut_and_say_so(floor: Floor) -> None:
    floor.take("L-1", parts=[replace(TOE_KICK, cabinet="9", quantity=search.SHOWN + 5)], items=())
    result = found(floor, "toe l-1")
    assert len(result.parts) == search.SHOWN
    assert result.more == {"parts"}


def test_only_the_jobs_due_soonest_are_looked_through_once_there_are_many_parts(floor: Floor) -> None:
    result = found(floor, "201", parts=4)
    assert (result.jobs_through, result.jobs_open) == (1, 2)
    assert result.cabinets == []
    assert [job.code for job in found(floor, "k-77", parts=4).jobs] == ["K-77"]
    assert found(floor, "deck", parts=1).jobs_through == 1
    assert [each.job for each in found(floor, "201 k-77", parts=4).cabinets] == ["K-77"]  # who names a job finds it


def test_the_parts_in_a_slot_are_listed(floor: Floor) -> None:
    floor.scan(floor.deck, "CUT-1", action=Action.PLACE, slot="CART-1")
    with floor.database.read() as connection:
        parts = parts_in_slot(connection, read_code(floor.slot).number, limit=10)
    assert [part.code for part in parts] == [floor.deck]


def test_an_absurd_text_is_cut() -> None:
    assert len(words_of("a " * 1_000_000)) == search.MOST_WORDS
    assert folded("ÁVILA") == "avila"
