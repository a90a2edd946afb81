"""Twenty short random lives of a station; ``python -m tests.scanner_client.soak 200`` makes as many as are wanted."""

from pathlib import Path

import pytest

from tests.scanner_client.lives import run, template


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return template(tmp_path_factory.mktemp("template"))


@pytest.mark.parametrize("seed", range(1, 21))
def test_whatever_is_killed_cut_delayed_doubled_or_lost_each_reading_counts_once_and_in_order(
    made: Path, seed: int
) -> None:
    outcome = run(seed, made)
    assert sum(outcome.network.values()) > 0
