"""Every surface answers the one question alike, and as a model that was written from the contract alone."""

from pathlib import Path

from hypothesis import Phase
from hypothesis.stateful import run_state_machine_as_test

from tests.examples import examples
from tests.one_answer.machine import Service, Shop


def test_every_surface_says_the_same_of_what_a_box_lacks_and_what_stays_behind(tmp_path: Path) -> None:
    Shop.service = Service(tmp_path)
    wanted = examples(3, stateful_step_count=25, phases=(Phase.generate,))  # the soak makes a life shorter
    run_state_machine_as_test(Shop, settings=wanted)
