"""What a box lacks, by the rule alone."""

from dataclasses import dataclass

from hypothesis import given
from hypothesis import strategies as st

from tests.floor import START
from tracker.shop.completeness import lack_in_words, lacks
from tracker.shop.progress import Happening, PartStatus, Sighting, fold, status_of
from tracker.shop.steps import Step


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    status: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    quantity: int
    counted: int | None


parts = st.lists(st.builds(Part, status=st.sampled_from(PartStatus)), max_size=8)
items = st.lists(
    st.builds(Item, quantity=st.integers(1, 9), counted=st.none() | st.integers(0, 9)), max_size=4
)  # fmt: skip


@given(parts=parts, items=items)
def test_a_box_is_complete_when_each_wanted_part_is_in_and_each_item_is_counted(
    parts: list[Part], items: list[Item]
) -> None:
    wanted = [part for part in parts if part.status not in ("replaced", "cancelled")]
    in_it = all(part.status in ("packed", "shipped") for part in wanted)
    counted = all(item.counted is not None and item.counted >= item.quantity for item in items)
    assert lacks(parts, items).complete == (in_it and counted)


@given(parts=parts, items=items)
def test_what_it_lacks_comes_in_the_order_of_the_box_and_what_it_lacks_not_is_left_out(
    parts: list[Part], items: list[Item]
) -> None:
    found = lacks(parts, items)
    assert list(found.parts) == [part for part in parts if part.status in ("waiting", "working")]
    assert list(found.items) == [item for item in items if (item.counted or 0) < item.quantity]


def test_a_part_that_was_packed_and_then_found_damaged_is_lacking_until_it_is_repaired() -> None:
    route = (Step.CUT, Step.PACK, Step.SHIP)
    packed = Sighting(seq=1, at=START, what=Happening.PASS, station=1, step=Step.PACK, infers=True)
    damaged = Sighting(seq=2, at=START, what=Happening.DAMAGED, station=1)
    repaired = Sighting(seq=3, at=START, what=Happening.REPAIR)
    for happened, complete in (([packed], True), ([packed, damaged], False), ([packed, damaged, repaired], True)):
        part = Part(status=status_of(fold(happened, route)))
        assert lacks([part], []).complete == complete


def test_what_a_box_lacks_is_said_in_one_sentence_and_of_a_complete_box_nothing() -> None:
    assert lack_in_words(parts=1, items=2) == "lacks 1 part, 2 kinds of items not counted"
    assert lack_in_words(parts=2, items=0) == "lacks 2 parts"
    assert lack_in_words(parts=0, items=1) == "1 kind of item not counted"
    assert lack_in_words(parts=0, items=0) == ""
