"""Many random lives of the small shop, see ``machine``.

    python -m tests.one_answer.soak 500 --steps 60 --seed 7

makes so many lives of so many acts, other ones each time where no seed is given, and stops at the first in which two
surfaces disagree: it prints that life, made as short as it gets, as lines of Python. Five hundred take about half an
hour of processor.
"""

import argparse
import tempfile
from pathlib import Path

from hypothesis import HealthCheck, Phase, seed, settings
from hypothesis.stateful import run_state_machine_as_test

from tests.one_answer.machine import Service, Shop


def main() -> None:
    """Make the lives that are asked for."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("count", type=int)
    parser.add_argument("--steps", type=int, default=60)
    parser.add_argument("--seed", type=int)
    parser.add_argument("--as-it-is", action="store_true", help="print the life that fails without making it shorter")
    asked = parser.parse_args()
    phases = (Phase.generate,) if asked.as_it_is else (Phase.generate, Phase.shrink)
    wanted = settings(
        max_examples=asked.count,
        stateful_step_count=asked.steps,
        phases=phases,
        database=None,
        derandomize=False,
        deadline=None,
        suppress_health_check=list(HealthCheck),
    )
    with tempfile.TemporaryDirectory(prefix="soak-") as name:
        Shop.service = Service(Path(name))
        lives = Shop if asked.seed is None else seed(asked.seed)(Shop)
        run_state_machine_as_test(lives, settings=wanted)
    print(f"{asked.count} lives: all surfaces agree")  # noqa: T201 - a command's answer


if __name__ == "__main__":
    main()
