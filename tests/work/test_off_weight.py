"""A packer alone seals no box whose mass is off by more than the shop's limit: a foreman's word is asked."""

import pytest

from tests.floor import Floor
from tracker.records.boxes import update_box
from tracker.records.logged import box_history
from tracker.shop.errors import IncompleteError, InvalidInputError, OffWeightError
from tracker.work.count import weigh_box
from tracker.work.lists import list_text, set_list
from tracker.work.seal import Sealed, Sealing, seal_box

PINS = {"spring pin 8 mm": 2}
OFF_KG = 3.0


def seal(floor: Floor, *, off_kg: float | None = None, override: str = "") -> Sealed:
    """Seal box 101 with what it should weigh and ``off_kg`` more; without a number it is not weighed now."""
    mass_kg = None if off_kg is None else floor.box(floor.box_101).mass_kg + off_kg
    sealing = Sealing(box=1, items=PINS, mass_kg=mass_kg, override_reason=override)
    return seal_box(floor.database, sealing, **floor.act())


@pytest.mark.parametrize("off_kg", [OFF_KG, -OFF_KG])
def test_a_whole_box_that_is_3_kg_off_is_not_sealed_and_says_by_how_much(floor: Floor, off_kg: float) -> None:
    floor.pack_all()
    planned = floor.box(floor.box_101).mass_kg
    with pytest.raises(OffWeightError) as refused:
        seal(floor, off_kg=off_kg)
    assert refused.value.expected_kg == pytest.approx(planned)
    assert refused.value.weighed_kg == pytest.approx(planned + off_kg)
    assert refused.value.limit_kg == 0.5
    assert floor.box(floor.box_101).state == "complete"
    assert floor.box(floor.box_101).items[0].counted is None
    floor.check()


def test_a_foremans_word_seals_it_without_a_follow_up_box_and_stands_in_the_log(floor: Floor) -> None:
    floor.pack_all()
    planned = floor.box(floor.box_101).mass_kg
    assert seal(floor, off_kg=OFF_KG, override="the deck is of heavier board").follow_up is None
    assert floor.job().boxes.total == 2
    with floor.database.read() as connection:
        sealing = box_history(connection, 1, limit=1)[0]
    assert (sealing.action, sealing.who) == ("seal", "foreman")
    assert sealing.message == (
        f"Box {floor.box_101} sealed at {planned + OFF_KG:.2f} kg where {planned:.2f} kg were expected: "
        "the deck is of heavier board."
    )
    assert floor.box(floor.box_101).weighed_kg == pytest.approx(planned + OFF_KG)
    floor.check()


def test_what_is_missing_is_said_first_and_the_mass_is_that_of_what_is_in(floor: Floor) -> None:
    floor.scan(floor.deck, "PACK-1")
    deck_kg = floor.part(floor.deck).mass_kg
    sealing = Sealing(box=1, items=PINS, mass_kg=deck_kg + OFF_KG)
    with pytest.raises(IncompleteError):
        seal_box(floor.database, sealing, **floor.act())
    short = Sealing(box=1, items=PINS, mass_kg=deck_kg + OFF_KG, override_reason="the truck waits")
    assert seal_box(floor.database, short, **floor.act()).follow_up is not None
    with floor.database.read() as connection:
        message = box_history(connection, 1, limit=1)[0].message
    assert f"sealed short at {deck_kg + OFF_KG:.2f} kg where {deck_kg:.2f} kg were expected" in message


def test_the_empty_carton_is_weighed_with_what_is_in_it(floor: Floor) -> None:
    floor.pack_all()
    planned = floor.box(floor.box_101).mass_kg
    with floor.database.write() as connection:
        update_box(connection, 1, empty_kg=OFF_KG)
    with pytest.raises(OffWeightError) as refused:
        seal(floor, off_kg=0)
    assert refused.value.expected_kg == pytest.approx(planned + OFF_KG)
    assert seal(floor, off_kg=OFF_KG).follow_up is None


def test_what_was_weighed_at_the_bench_counts_where_the_sealing_names_no_mass(floor: Floor) -> None:
    floor.pack_all()
    planned = floor.box(floor.box_101).mass_kg
    weigh_box(floor.database, 1, planned + OFF_KG, **floor.act())
    with pytest.raises(OffWeightError):
        seal(floor)
    weigh_box(floor.database, 1, planned + 0.4, **floor.act())
    assert seal(floor).follow_up is None


def test_a_box_that_was_weighed_at_the_bench_keeps_its_mass_when_it_is_sealed(floor: Floor) -> None:
    """The load's paper and the carrier are told what the scale showed, not what was planned."""
    floor.pack_all()
    weighed = floor.box(floor.box_101).mass_kg + 0.4
    weigh_box(floor.database, 1, weighed, **floor.act())
    seal(floor)
    assert floor.box(floor.box_101).weighed_kg == pytest.approx(weighed)


def test_a_box_that_was_never_weighed_is_sealed_by_its_scans(floor: Floor) -> None:
    floor.pack_all()
    assert seal(floor).follow_up is None


def test_the_shop_sets_the_limit(floor: Floor) -> None:
    floor.pack_all()
    assert list_text(floor.database, "weighing") == "percent = 5\nleast = 0.5\n"
    set_list(floor.database, "weighing", "percent = 1\nleast = 0.1", who="admin", now=floor.tick())
    with pytest.raises(OffWeightError) as refused:
        seal(floor, off_kg=0.2)
    assert refused.value.limit_kg == 0.1
    set_list(floor.database, "weighing", "percent = 100\nleast = 3.5", who="admin", now=floor.tick())
    assert seal(floor, off_kg=OFF_KG).code == floor.box_101


@pytest.mark.parametrize(
    ("text", "field"),
    [
        ("percent = -1", "percent"),
        ("percent = 101", "percent"),
        ("least = 100.1", "least"),
        ('least = "much"', "least"),
        ("percent = nan", "percent"),
        ("most = 3", "most"),
        ("[[limit]]\nleast = 1", "limit"),
    ],
)
def test_a_limit_that_cannot_be_is_refused_by_its_name(floor: Floor, text: str, field: str) -> None:
    with pytest.raises(InvalidInputError) as refused:
        set_list(floor.database, "weighing", text, who="admin", now=floor.tick())
    assert [fault.where["field"] for fault in refused.value.faults] == [field]
    assert list_text(floor.database, "weighing") == "percent = 5\nleast = 0.5\n"
