"""What people read and hear."""

from collections.abc import Iterator

import pytest
from flask import Flask
from flask_babel import Babel

from tracker.pages.words import names, signals
from tracker.pages.words.signals import Shape, Sound
from tracker.shop.box_states import BoxState
from tracker.shop.outcomes import OK_OUTCOMES, Outcome
from tracker.shop.progress import PartStatus
from tracker.shop.reasons import Reason, meaning
from tracker.shop.roles import Role
from tracker.shop.steps import Step
from tracker.shop.words import DAMAGE_WORDS


@pytest.fixture(autouse=True)
def _reader() -> Iterator[None]:
    """Somebody who reads English."""
    app = Flask(__name__)
    Babel(app, locale_selector=lambda: "en")
    with app.test_request_context():
        yield


def test_every_outcome_has_a_word_a_shape_and_a_sound() -> None:
    assert set(signals.OUTCOMES) == set(Outcome)
    said = [str(signals.OUTCOMES[outcome].word) for outcome in Outcome]
    assert len(set(said)) == len(said)
    assert all(len(word) <= 22 for word in said)


def test_what_is_not_ok_never_sounds_or_looks_like_what_is() -> None:
    fine = {signals.OUTCOMES[outcome].shape for outcome in OK_OUTCOMES}
    for outcome in set(Outcome) - OK_OUTCOMES:
        assert signals.OUTCOMES[outcome].sound is not Sound.OK
        assert signals.OUTCOMES[outcome].shape not in fine


def test_a_second_scan_of_the_same_part_sounds_otherwise_than_the_first() -> None:
    assert signals.OUTCOMES[Outcome.AGAIN].sound is Sound.LOOK
    assert signals.OUTCOMES[Outcome.AGAIN].shape is not signals.OUTCOMES[Outcome.DONE].shape


def test_only_what_went_well_and_needs_nobody_stands_in_the_colour_of_done() -> None:
    done = signals.OUTCOMES[Outcome.DONE].shade
    alike = {outcome for outcome in Outcome if signals.OUTCOMES[outcome].shade is done}
    assert alike == {Outcome.DONE, Outcome.NOTED}
    assert signals.said_as(Outcome.NOTED, meaning(Reason.MARKED_DAMAGED)).shade is not done
    assert signals.said_as(Outcome.DONE, meaning(Reason.LOADED_BUT_STAYING)).shade is not done


def test_a_part_that_is_held_back_for_its_damage_is_called_damaged() -> None:
    assert signals.said_as(Outcome.ON_HOLD, meaning(Reason.DAMAGED)).word == "Damaged, put it aside"
    assert signals.said_as(Outcome.ON_HOLD, meaning(Reason.ON_HOLD, job="J-1")) is signals.OUTCOMES[Outcome.ON_HOLD]
    assert signals.said_as(Outcome.ON_HOLD, None) is signals.OUTCOMES[Outcome.ON_HOLD]


def test_a_card_that_marks_nothing_is_not_called_unknown() -> None:
    assert signals.said_as(Outcome.UNKNOWN, meaning(Reason.NOTHING_TO_MARK)).word == "Nothing marked"
    assert signals.said_as(Outcome.UNKNOWN, meaning(Reason.UNKNOWN_CODE)) is signals.OUTCOMES[Outcome.UNKNOWN]


def test_a_paired_tablet_is_named_by_its_station_and_a_person_by_their_name() -> None:
    assert names.who_word("tablet at SAW 2") == "tablet at SAW 2"
    assert names.who_word("Bea") == "Bea"


def test_every_shape_is_drawn() -> None:
    source = Flask("tracker.pages", template_folder=".").jinja_env.get_template("scanning/station_shapes.html")
    drawn = source.module.__dict__["LINES"]
    assert set(drawn) == {shape.value for shape in Shape}


def test_every_name_of_the_trade_has_a_word() -> None:
    assert [names.step_word(step) for step in Step] == ["cut", "machine", "band", "pack", "ship"]
    assert names.box_state_word("packing") == "being packed"
    assert all(names.box_state_word(state) for state in BoxState)
    assert names.part_status_word("waiting") == "not started"
    assert all(names.part_status_word(status) for status in PartStatus)
    assert names.job_status_word("held") == "on hold"
    assert all(names.role_word(role) for role in Role)


def test_each_station_says_what_is_scanned_first_and_the_dock_asks_for_no_wrong_holes() -> None:
    assert {names.first_of(step) for step in Step} >= {"Scan a load, then its boxes", "Scan a part"}
    assert list(names.reasons_at(Step.SHIP)) == ["chipped", "scratched"]
    assert list(names.reasons_at(Step.CUT)) == list(DAMAGE_WORDS)
