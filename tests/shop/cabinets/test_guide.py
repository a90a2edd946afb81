"""The guide: whatever the cabinet, each part is put in once, each joint is closed once, and the bag is used up."""

import re
from collections import Counter
from dataclasses import replace

import pytest

from tests.shop.cabinets.examples import ONE_OF_EACH, designed, guided, name_of, order
from tracker.shop.cabinets.assembly import Posture
from tracker.shop.cabinets.design import Cabinet
from tracker.shop.cabinets.guide.cautions import EYES, FIX
from tracker.shop.cabinets.guide.parts_list import letter_of
from tracker.shop.cabinets.guide.values import Guide, Step
from tracker.shop.cabinets.guide.writing import guide_of
from tracker.shop.cabinets.joints import Fastening
from tracker.shop.cabinets.orders import CabinetOrder, Family, Fronts
from tracker.shop.errors import InvalidInputError
from tracker.shop.lengths import Units
from tracker.shop.lifting import Handling, LiftingMarks
from tracker.shop.written import length_text

TRADE_WORDS = re.compile(r"\b(gable|carcase|carcass|dado|rabbet|cam|KD|RTA|confirmat|euro|mortise)\b", re.IGNORECASE)


def told(ordered: CabinetOrder) -> tuple[Cabinet, Guide]:
    return designed(ordered), guided(ordered)


def check_all(cabinet: Cabinet, guide: Guide) -> None:
    check_each_part_is_put_in_once(cabinet, guide)
    check_nothing_stands_before_it_was_put_in(guide)
    check_each_joint_is_closed_in_a_step(cabinet, guide)
    check_the_steps_use_up_the_bag(cabinet, guide)
    check_rows_name_each_part_once(cabinet, guide)
    assert [step.number for step in guide.steps] == list(range(1, len(guide.steps) + 1))


@pytest.mark.parametrize("ordered", ONE_OF_EACH, ids=name_of)
def test_a_guide_of_each_kind_is_whole(ordered: CabinetOrder) -> None:
    check_all(*told(ordered))


def check_each_part_is_put_in_once(cabinet: Cabinet, guide: Guide) -> None:
    assert Counter(own for step in guide.steps for own in step.moving) == Counter(part.id for part in cabinet.parts)


def check_nothing_stands_before_it_was_put_in(guide: Guide) -> None:
    done: set[str] = set()
    for step in guide.steps:
        assert set(step.standing) <= done, step.title
        assert not set(step.standing) & set(step.body)
        done |= set(step.moving)


def check_each_joint_is_closed_in_a_step(cabinet: Cabinet, guide: Guide) -> None:
    """Joints of equal drawers are told once, so numbers are compared; those that a picture shows are counted."""
    assert {number for step in guide.steps for number in step.numbers} == {joint.number for joint in cabinet.joints}
    shown = Counter(
        (joint.part, joint.onto, joint.side, joint.fastening) for step in guide.steps for joint in step.closed
    )
    assert all(count == 1 for count in shown.values())
    for step in guide.steps:
        assert {joint.number for joint in step.closed} == set(step.numbers)


def check_the_steps_use_up_the_bag(cabinet: Cabinet, guide: Guide) -> None:
    used = Counter[str]()
    for step in guide.steps:
        used.update({item.item: item.quantity for item in step.items})
    assert used == Counter({item.item: item.quantity for item in cabinet.items if item.in_bag})
    assert sum(used.values()) == sum(item.quantity for item in guide.bag)


def check_rows_name_each_part_once(cabinet: Cabinet, guide: Guide) -> None:
    assert sorted(own for row in guide.parts for own in row.ids) == sorted(part.id for part in cabinet.parts)
    assert len({row.letter for row in guide.parts}) == len(guide.parts)
    for row in guide.parts:
        assert row.count == len(row.ids)
        for own in row.ids:
            assert {mark.number for mark in cabinet.marks(cabinet.part(own))} <= set(row.numbers)


@pytest.mark.parametrize("ordered", ONE_OF_EACH, ids=name_of)
def test_items_are_used_where_they_belong(ordered: CabinetOrder) -> None:
    _, guide = told(ordered)
    homes = {
        "spring pin": "Drive the spring pins",
        "dowel": "Add the toe kick",
        "shelf pin": "Put in the",
        "door bumper": "Hang the",
        "hinge": "Fit the",
        "slide pair": "Fit the",
        "screw": "Add the",
        "spacer": "Add the",
    }
    for step in guide.steps:
        for item in step.items:
            home = next((title for start, title in homes.items() if item.item.startswith(start)), "")
            assert home in step.title, f"{item.item} in {step.title}"


@pytest.mark.parametrize("ordered", ONE_OF_EACH, ids=name_of)
def test_sentences_are_plain_and_short_and_speak_of_the_cabinet_not_the_page(ordered: CabinetOrder) -> None:
    _, guide = told(ordered)
    names = {word for row in guide.parts for word in (row.name.lower(),)}
    for step in guide.steps:
        for sentence in step.sentences:
            assert not TRADE_WORDS.search(sentence), sentence
            assert len(sentence) <= 160, sentence
            assert sentence[0].isupper()
            assert sentence.endswith(".")
            plain = sentence
            for name in sorted(names | {"left end", "right end", "left door", "right door"}, key=len, reverse=True):
                plain = plain.replace(name, "")
            plain = re.sub(r"\((?:[a-z]+ )*[a-z]*\d*\)", "", plain)
            assert not re.search(r"\b(to the|from the|towards the) (left|right)\b", plain), sentence


def step_named(guide: Guide, title: str) -> Step:
    return next(step for step in guide.steps if title in step.title)


def test_a_lock_joint_is_told_by_its_number_its_arrow_and_the_way_to_push() -> None:
    _, guide = told(order("base", 457.2, 876.3, 457.2, "drawer over door", "left"))
    text = " ".join(step_named(guide, "Add the deck").sentences)
    assert "Hold 6 on it at 6 on A (left end)" in text
    assert "arrow to the front" in text
    assert "Do not push it home yet." in text
    assert "Do not push" not in " ".join(step_named(guide, "Add the toe kick").sentences), "it has no locks"
    catch, nailers = (" ".join(step_named(guide, title).sentences) for title in ("Let every lock", "Push F and G"))
    forward, upward = "2 mm towards the front of the cabinet", "2 mm towards the top of the cabinet"
    assert (forward in catch, upward in catch, upward in nailers) == (True, True, True)
    assert "Every lock holds now. Push D (deck), H (top) and I (drawer stretcher) on" in catch


def test_nothing_is_pushed_home_before_the_last_end_is_on_and_nothing_is_turned_before_every_lock_holds() -> None:
    _, guide = told(order("base", 457.2, 876.3, 457.2, "drawer over door", "left"))
    numbers = [
        step_named(guide, title).number
        for title in (
            "Fit the slides",
            "Lay down the left end",
            "Add the deck",
            "Close with",
            "Let every lock catch, then push D, H and I home",
            "Turn the cabinet on its face",
            "Add the back",
            "Push F and G home",
            "Drive the spring pins",
            "Stand the cabinet up",
        )
    ]
    assert numbers == sorted(numbers)
    postures = {step.posture for step in guide.steps[numbers[5] - 1 : numbers[-1] - 1]}
    assert postures == {Posture.ON_ITS_FACE}
    assert "differ by at most 2 mm" in step_named(guide, "Push F and G home").sentences[-1], "before any pin"


def test_the_sheet_says_how_long_a_floor_is_needed() -> None:
    _, guide = told(order("tall", 600, 2134, 600, "pantry", "left"))
    assert "a floor that is 4268 mm long" in " ".join(step_named(guide, "Lay down").sentences)


def test_the_sheet_says_that_its_proof_is_of_sliding_and_what_the_locks_grip_alone_holds() -> None:
    _, sink = told(order("base", 900, 876, 600, "sink", "pair"))
    _, doors = told(order("base", 800, 876, 600, "doors"))
    no_other = "no other panel can slide out"
    for guide, grips, tied in ((sink, True, no_other), (doors, False, "no panel can slide out of the others")):
        said = " ".join(step_named(guide, "Stand the cabinet up").sentences)
        assert f"With its pins in, {tied}. That says nothing of strength." in said
        assert ("H (sink rail) is held by the lock's grip alone" in said) is grips


@pytest.mark.parametrize("ordered", ONE_OF_EACH, ids=name_of)
def test_only_what_hangs_on_the_wall_speaks_of_its_hanging_load(ordered: CabinetOrder) -> None:
    _, guide = told(ordered)
    hangs = ordered.family is Family.WALL or ordered.fronts is Fronts.WALL
    said = " ".join(sentence for step in guide.steps for sentence in step.sentences)
    assert ("Hanging load not checked" in said) is hangs
    assert "locks carry" not in said


def test_a_load_may_hang_that_the_locks_maker_allows_less_the_cabinet_itself() -> None:
    """By hand: eight locks of 25 kg carry 200 kg."""
    cabinet = replace(designed(order("wall", 800, 760, 320, "open")), lock_carries_kg=25.0)
    guide = guide_of(cabinet, LiftingMarks())
    own = round(cabinet.mass_kg)
    (said,) = (each for each in step_named(guide, "Fix").sentences if "locks carry" in each)
    assert said == f"Its locks carry 200 kg. The cabinet weighs {own} kg; load it with at most {200 - own} kg."


@pytest.mark.parametrize("hinge", ["left", "right"])
def test_slides_and_hinge_plates_are_fitted_to_each_end_before_the_ends_are_joined(hinge: str) -> None:
    cabinet, guide = told(order("base", 457.2, 876.3, 457.2, "drawer over door", hinge))
    for end in ("left end", "right end"):
        what = "slides and hinge plates" if end.startswith(hinge) else "slides"
        step = step_named(guide, f"Fit the {what} to the {end}")
        assert step.posture is Posture.INSIDE_UP
        assert step.shown == (end.capitalize(),)
        assert {joint.onto for joint in step.fitted} == set(step.shown)
        assert step.number < step_named(guide, "Lay down the left end").number
    hinges = next(joint for joint in cabinet.joints if joint.fastening is Fastening.HINGE)
    text = " ".join(step_named(guide, "hinge plates").sentences)
    for point in hinges.points:
        assert length_text(point[2], Units.MM) in text, "how high each plate sits"


def test_pins_come_after_the_last_locked_panel_with_eye_protection_and_before_standing_up() -> None:
    _, guide = told(order("base", 800, 876, 600, "doors"))
    pins = step_named(guide, "Drive the spring pins")
    assert EYES in pins.cautions
    assert EYES in guide.cautions
    assert step_named(guide, "Close with").number < pins.number < step_named(guide, "Stand the cabinet up").number
    assert pins.moving == ()


def test_who_lifts_follows_from_the_mass_alone() -> None:
    cabinet = designed(order("base", 800, 876, 600, "doors"))
    below, above = cabinet.mass_kg - 0.1, cabinet.mass_kg + 0.1
    heavy = guide_of(cabinet, LiftingMarks(two_people_kg=below, trolley_kg=above))
    light = guide_of(cabinet, LiftingMarks(two_people_kg=above, trolley_kg=above))
    rolled = guide_of(cabinet, LiftingMarks(trolley_kg=below))
    assert [guide.lifted_by for guide in (light, heavy, rolled)] == list(Handling)
    assert any(caution.startswith("Two people and a trolley move") for caution in rolled.cautions)
    assert any("Two people" in caution for caution in step_named(heavy, "Stand").cautions)
    assert not any("Two people" in caution for caution in (*light.cautions, *step_named(light, "Stand").cautions))


@pytest.mark.parametrize("ordered", ONE_OF_EACH, ids=name_of)
def test_wall_and_tall_cabinets_are_fixed_before_fronts_are_hung_and_anything_is_loaded(ordered: CabinetOrder) -> None:
    _, guide = told(ordered)
    on_the_wall = ordered.family in (Family.WALL, Family.TALL) or ordered.fronts is Fronts.WALL
    assert (FIX in guide.cautions) is on_the_wall
    if on_the_wall:
        fixing = step_named(guide, "Fix the cabinet")
        assert FIX in fixing.cautions
        for step in guide.steps:
            if step.title.startswith(("Hang", "Slide in", "Put in")) and ordered.fronts is not Fronts.WALL:
                assert step.number > fixing.number


def test_sinks_and_ovens_are_left_to_licensed_trades() -> None:
    _, sink = told(order("base", 900, 876, 600, "sink", "pair"))
    _, oven = told(order("tall", 700, 2134, 600, "oven", "pair"))
    assert any("licensed plumber" in caution for caution in sink.cautions)
    assert any("licensed electrician" in caution for caution in oven.cautions)


def test_equal_drawers_are_told_once() -> None:
    _, guide = told(order("base", 600, 876, 600, "4 drawers"))
    units = list(dict.fromkeys(step.unit for step in guide.steps))
    assert units == ["Drawer 1", "Drawers 2, 3 and 4", ""]
    first = next(step for step in guide.steps if step.unit == "Drawers 2, 3 and 4")
    assert first.sentences[0].startswith("Make 3 of these.")
    assert len(first.moving) == 3
    assert len(first.body) == 1


def test_a_diagonal_corner_is_put_together_on_its_left_back_and_nothing_in_it_lies_loose() -> None:
    cabinet, guide = told(order("diagonal corner", 914, 876, 600, "base", "left"))
    titles = [step.title for step in guide.steps]
    first, *others = titles[titles.index("Lay down the left back") :]
    assert first
    assert others[:2] == ["Add the deck", "Add the top"]
    assert others[others.index("Close with the right end") :] == [
        "Close with the right end",
        "Let every lock catch, then push E, F and H home",
        "Add the toe kick",
        "Stand the cabinet up",
        "Drive the spring pins into C and D",
        "Drive the spring pins into A and B",
        "Hang the door",
        "Put the cabinet in its place",
    ]
    assert "in its place" not in " ".join(step_named(guide, "Stand the cabinet up").sentences)
    assert all(own in joined(cabinet) for own in (part.id for part in cabinet.parts))


def joined(cabinet: Cabinet) -> set[str]:
    return {own for joint in cabinet.joints for own in (joint.part, joint.onto)}


def test_a_sheet_speaks_in_the_units_of_its_order() -> None:
    cabinet = designed(order("base", 457.2, 876.3, 457.2, "drawer over door", "left"))
    inches = replace(cabinet, order=replace(cabinet.order, units=Units.INCH))
    guide = guide_of(inches, LiftingMarks())
    said = " ".join(sentence for step in guide.steps for sentence in (*step.sentences, *step.cautions))
    assert "(drawer 1 box back) 5/32 in towards" in said
    assert not re.search(r"\d (mm|kg)\b", said.replace("screw 30 mm", ""))
    deck = next(row for row in guide.parts if row.name == "Deck")
    assert deck.size.startswith("16 1/2 × ")
    assert deck.size.endswith(" × 3/4")
    assert guide.size_unit == "inches"


def test_letters_go_on_after_z() -> None:
    assert [letter_of(index) for index in (0, 25, 26, 51, 52)] == ["A", "Z", "AA", "AZ", "BA"]


def test_a_step_without_words_is_refused() -> None:
    with pytest.raises(InvalidInputError):
        Step(number=1, unit="", title="Nothing", sentences=())


def test_a_blind_corner_goes_to_its_place_only_when_its_stile_is_screwed_on_from_below() -> None:
    _, guide = told(order("blind corner", 1100, 876, 600, "blind left"))
    assert "in its place" not in " ".join(step_named(guide, "Stand the cabinet up").sentences)
    assert step_named(guide, "Add the blind stile").number < step_named(guide, "Put the cabinet in its place").number


def test_a_cabinet_heavier_than_two_people_may_lift_asks_for_a_trolley_where_it_is_moved() -> None:
    heavy = order("tall", 600, 2134, 600, "pantry", "left")
    light = order("base", 457.2, 876.3, 457.2, "drawer over door", "left")
    for ordered, trolley in ((heavy, True), (light, False)):
        _, guide = told(ordered)
        assert any("and a trolley" in caution for step in guide.steps for caution in step.cautions) == trolley


@pytest.mark.parametrize("ordered", ONE_OF_EACH, ids=name_of)
def test_a_step_moves_no_part_twice(ordered: CabinetOrder) -> None:
    for step in told(ordered)[1].steps:
        assert len(set(step.body)) == len(step.body), step.title
