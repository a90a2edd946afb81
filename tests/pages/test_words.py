"""What people read and hear."""

from collections.abc import Iterator
from dataclasses import replace

import pytest
from flask import Flask
from flask_babel import Babel

from tracker.pages.words import outcomes as words
from tracker.pages.words.outcomes import Facts, Shape, Sound, sentence
from tracker.shop.codes import Kind
from tracker.shop.progress import PartStatus
from tracker.shop.roles import Role
from tracker.shop.scans import Action
from tracker.shop.steps import Step
from tracker.shop.verdicts import OK_OUTCOMES, BoxState, Outcome

PART = Facts(
    step=Step.BAND,
    code="P0000000100",
    kind=Kind.PART,
    job="J-1",
    box="101",
    box_state="sealed",
    load="L1",
    replaced_by="P2",
    open_steps=(Step.CUT, Step.MACHINE),
)


@pytest.fixture(autouse=True)
def _reader() -> Iterator[None]:
    """Somebody who reads English."""
    app = Flask(__name__)
    Babel(app, locale_selector=lambda: "en")
    with app.test_request_context():
        yield


def test_every_outcome_has_a_word_a_shape_and_a_sound() -> None:
    assert set(words.OUTCOMES) == set(Outcome)
    said = [str(words.OUTCOMES[outcome].word) for outcome in Outcome]
    assert len(set(said)) == len(said)
    assert all(len(word) <= 22 for word in said)


def test_what_is_not_ok_never_sounds_or_looks_like_what_is() -> None:
    fine = {words.OUTCOMES[outcome].shape for outcome in OK_OUTCOMES}
    for outcome in set(Outcome) - OK_OUTCOMES:
        assert words.OUTCOMES[outcome].sound is not Sound.OK
        assert words.OUTCOMES[outcome].shape not in fine


def test_a_second_scan_of_the_same_part_sounds_otherwise_than_the_first() -> None:
    assert words.OUTCOMES[Outcome.AGAIN].sound is Sound.LOOK
    assert words.OUTCOMES[Outcome.AGAIN].shape is not words.OUTCOMES[Outcome.DONE].shape


def test_only_what_went_well_and_needs_nobody_stands_in_the_colour_of_done() -> None:
    done = words.OUTCOMES[Outcome.DONE].shade
    alike = {outcome for outcome in Outcome if words.OUTCOMES[outcome].shade is done}
    assert alike == {Outcome.DONE, Outcome.NOTED}
    assert words.said_as(Outcome.NOTED, action=Action.DAMAGED).shade is not done
    assert words.said_as(Outcome.DONE, staying=True).shade is not done


def test_a_part_that_is_held_back_for_its_damage_is_called_damaged() -> None:
    assert str(words.said_as(Outcome.ON_HOLD, damaged=True).word) == "Damaged, put it aside"
    assert words.said_as(Outcome.ON_HOLD) is words.OUTCOMES[Outcome.ON_HOLD]
    assert words.said_as(Outcome.REPLACED, damaged=True) is words.OUTCOMES[Outcome.REPLACED]


def test_a_card_that_marks_nothing_is_not_called_unknown() -> None:
    assert str(words.said_as(Outcome.UNKNOWN, card=True).word) == "Nothing marked"
    assert words.said_as(Outcome.UNKNOWN) is words.OUTCOMES[Outcome.UNKNOWN]
    assert words.said_as(Outcome.REPLACED, card=True) is words.OUTCOMES[Outcome.REPLACED]


def test_a_paired_tablet_is_named_by_its_station_and_a_person_by_their_name() -> None:
    assert words.who_word("tablet at SAW 2") == "tablet at SAW 2"
    assert words.who_word("Bea") == "Bea"


def test_every_shape_is_drawn() -> None:
    source = Flask("tracker.pages", template_folder=".").jinja_env.get_template("scanning/station_shapes.html")
    drawn = source.module.__dict__["LINES"]
    assert set(drawn) == {shape.value for shape in Shape}


def test_every_name_of_the_trade_has_a_word() -> None:
    assert [words.step_word(step) for step in Step] == ["cut", "machine", "band", "pack", "ship"]
    assert words.box_state_word("packing") == "being packed"
    assert all(words.box_state_word(state) for state in BoxState)
    assert words.part_status_word("waiting") == "not started"
    assert all(words.part_status_word(status) for status in PartStatus)
    assert words.job_status_word("held") == "on hold"
    assert all(words.role_word(role) for role in Role)


@pytest.mark.parametrize("outcome", [each for each in Outcome if each not in (Outcome.DONE, Outcome.UNDONE)])
@pytest.mark.parametrize("kind", [*Kind, None])
@pytest.mark.parametrize("step", Step)
def test_every_answer_but_done_says_in_a_sentence_what_it_means(outcome: Outcome, kind: Kind, step: Step) -> None:
    said = sentence(outcome, replace(PART, kind=kind, step=step))
    assert said.endswith(".")
    assert len(said) < 90
    assert "%(" not in said


PACKED_BOX = replace(PART, kind=Kind.BOX, step=Step.PACK)
EARLIER_STEPS_DONE = "It was scanned before its earlier steps were done. They are done now: scan it again."
STILL_HELD = "Job J-1 is on hold. Put it aside and ask the foreman."
HELD_NO_MORE = "Job J-1 was on hold when this was scanned and goes on now. Scan it again."


@pytest.mark.parametrize(
    ("outcome", "facts", "says"),
    [
        (Outcome.DONE, PART, ""),
        (Outcome.DONE, replace(PART, inferred=(Step.CUT,)), "Taken as done too: cut."),
        (Outcome.DONE, replace(PACKED_BOX, missing=1), "The box is open. Scan its parts."),
        (Outcome.DONE, replace(PACKED_BOX, uncounted=1), "All parts are in. Count the items and seal the box."),
        (Outcome.DONE, PACKED_BOX, "Everything is in. Seal the box."),
        (Outcome.DONE, replace(PART, kind=Kind.BOARD, uncut=1), "1 part of the board was refused: scan it by itself."),
        (Outcome.EARLY, PART, "Not done yet: cut, machine. Bring it there first."),
        (Outcome.EARLY, replace(PART, kind=Kind.BOX), "The box is not sealed. Take it back to packing."),
        (
            Outcome.EARLY,
            replace(PART, kind=Kind.BOX, missing=1, uncounted=2),
            "The box is not sealed: lacks 1 part, 2 kinds of items not counted. Take it back to packing.",
        ),
        (Outcome.OFF_ROUTE, PART, "This part has no step band."),
        (Outcome.WRONG_BOX, PART, "It belongs in box 101."),
        (Outcome.WRONG_BOX, replace(PART, kind=Kind.BOX), "It belongs on load L1."),
        (Outcome.BOX_CLOSED, PART, "Box 101 is sealed. Ask the foreman."),
        (Outcome.EARLY, replace(PART, open_steps=()), EARLIER_STEPS_DONE),
        (Outcome.ON_HOLD, replace(PART, held_then=True, job_held=True), STILL_HELD),
        (Outcome.ON_HOLD, replace(PART, held_then=True, job_held=True, damaged=True), STILL_HELD),
        (Outcome.ON_HOLD, replace(PART, held_then=True), HELD_NO_MORE),
        (Outcome.ON_HOLD, replace(PART, held_then=True, damaged=True), "Do no more to it. Ask the foreman."),
        (Outcome.ON_HOLD, replace(PART, damaged=True), "Do no more to it. Ask the foreman."),
        (Outcome.ON_HOLD, PART, "It was on hold when this was scanned and is not any more. Scan it again."),
        (Outcome.REPLACED, PART, "This label counts no more: P2 took its place. Put this one aside."),
        (Outcome.UNKNOWN, replace(PART, kind=Kind.SLOT), "Nothing is marked. Scan the part first, then this code."),
        (Outcome.UNDONE, replace(PART, undone=Action.PASS, undone_step=Step.CUT), "It counts no longer as done: cut."),
        (
            Outcome.UNDONE,
            replace(PART, undone=Action.PASS, undone_step=Step.CUT, held_by="S-2"),
            "It is still done by S-2: cut.",
        ),
        (Outcome.UNDONE, replace(PART, undone=Action.DAMAGED), "It is no longer marked damaged."),
        (Outcome.UNDONE, replace(PART, undone=Action.DAMAGED, held_by="S-2"), "It is still marked damaged by S-2."),
        (
            Outcome.AGAIN,
            replace(PART, read_at="BAND-2", read_when="Fri, Mar 5, 14:05"),
            "It counts once. It was read at BAND-2, Fri, Mar 5, 14:05.",
        ),
        (Outcome.NOTED, replace(PART, action=Action.PLACE, slot="CART-1"), "It lies in slot CART-1."),
    ],
)
def test_the_sentence_names_what_the_worker_must_know(outcome: Outcome, facts: Facts, says: str) -> None:
    assert sentence(outcome, facts) == says


DOCK = replace(PART, step=Step.SHIP, kind=Kind.BOX, load="L1", load_day="Fri, Mar 5", load_boxes=12, load_on=5)


@pytest.mark.parametrize(
    ("facts", "says"),
    [
        (DOCK, "On load L1 of Fri, Mar 5: 5 of 12 boxes."),
        (replace(DOCK, load_on=12), "On load L1 of Fri, Mar 5: all 12 boxes. The truck may leave."),
        (
            replace(DOCK, load_on=12, load_staying=1),
            "Ask the foreman before the truck leaves.",
        ),
        (replace(DOCK, kind=Kind.LOAD), "The load of Fri, Mar 5 is open: 5 of 12 boxes are on it. Scan the boxes."),
    ],
)
def test_at_the_dock_an_answer_says_which_load_and_how_many_of_its_boxes_are_on_it(facts: Facts, says: str) -> None:
    assert sentence(Outcome.DONE, facts) == says


def test_a_box_on_no_load_is_told_with_what_to_do() -> None:
    assert "ask the foreman for a load" in sentence(Outcome.OFF_ROUTE, DOCK)


def test_each_station_says_what_is_scanned_first_and_the_dock_asks_for_no_wrong_holes() -> None:
    assert {words.first_of(step) for step in Step} >= {"Scan a load, then its boxes", "Scan a part"}
    assert list(words.reasons_at(Step.SHIP)) == ["chipped", "scratched"]
    assert list(words.reasons_at(Step.CUT)) == list(words.REASONS)
