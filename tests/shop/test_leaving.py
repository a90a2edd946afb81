"""What keeps a load from leaving and which boxes stay behind, against the contract's own words."""

from dataclasses import dataclass
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.shop.box_states import BoxState
from tracker.shop.leaving import Keeps, keeps_load, load_warnings, stays_behind, why_it_stays


@dataclass(frozen=True, kw_only=True)
class Box:
    state: str = BoxState.LOADED
    job_status: str = "open"
    own_hold: bool = False
    parts_lacking: int = 0
    uncounted: int = 0
    open_load: int | None = None


BOXES = st.builds(
    Box,
    state=st.sampled_from([*map(str, BoxState)]),
    job_status=st.sampled_from(["open", "held", "shipped", "cancelled"]),
    own_hold=st.booleans(),
    parts_lacking=st.integers(0, 2),
    open_load=st.sampled_from([None, 1, 2]),
)


@given(BOXES)
def test_a_box_stays_behind_that_is_neither_shipped_cancelled_nor_on_an_open_load(box: Box) -> None:
    gone, cancelled, leaves = box.state == "shipped", box.job_status == "cancelled", box.open_load is not None
    assert stays_behind(box) is (not (gone or cancelled or leaves))


@given(BOXES)
def test_only_a_whole_box_that_is_on_its_load_and_that_nobody_holds_lets_it_leave(box: Box) -> None:
    free = box.job_status not in ("held", "cancelled") and not box.own_hold
    whole = box.parts_lacking == 0
    assert (keeps_load(box) is None) is (free and whole and box.state == "loaded")


@pytest.mark.parametrize(
    ("box", "why"),
    [
        (Box(job_status="held", own_hold=True), Keeps.JOB_HELD),
        (Box(job_status="cancelled"), Keeps.JOB_CANCELLED),
        (Box(own_hold=True, state="sealed"), Keeps.HELD),
        (Box(state="complete"), Keeps.NOT_SEALED),
        (Box(parts_lacking=1), Keeps.NO_LONGER_WHOLE),
        (Box(state="sealed"), Keeps.NOT_ON_IT),
    ],
)
def test_what_keeps_a_load_is_named_by_what_must_be_done_first(box: Box, why: Keeps) -> None:
    assert keeps_load(box) is why


@pytest.mark.parametrize(
    ("box", "why"),
    [
        (Box(state="complete", uncounted=2), "all parts in, 2 kinds of items not counted"),
        (Box(state="packing", parts_lacking=1, uncounted=1), "being packed, lacks 1 part, 1 kind of item not counted"),
        (Box(state="sealed", own_hold=True), "sealed, on hold, planned for no load"),
        (Box(state="sealed", job_status="held"), "sealed, its job is on hold, planned for no load"),
        (Box(state="open", job_status="held", own_hold=True), "open, its job is on hold"),
    ],
)
def test_a_box_that_stays_says_how_it_stands_what_holds_it_and_what_it_lacks(box: Box, why: str) -> None:
    assert why_it_stays(box) == why


def test_a_load_may_leave_today_without_a_warning_and_yesterday_with_one() -> None:
    today = date(2027, 3, 5)
    assert load_warnings(today, today) == []
    assert load_warnings(date(2027, 3, 4), today) == ["The day when it leaves, 2027-03-04, is past."]


def test_a_box_that_stayed_and_is_planned_anew_says_for_which_load() -> None:
    assert why_it_stays(Box(state="sealed", open_load=1)) == "sealed, planned for load L0000000136"
    assert why_it_stays(Box(state="shipped")) == "shipped"
