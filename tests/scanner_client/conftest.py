"""A service, and a wait for something to come about."""

import time
from collections.abc import Callable, Iterator

import pytest

from tests.scanner_client.service import Service

Until = Callable[[Callable[[], bool]], None]


@pytest.fixture
def service() -> Iterator[Service]:
    made = Service()
    yield made
    made.close()


@pytest.fixture
def until() -> Until:
    def wait(what: Callable[[], bool]) -> None:
        patience = time.monotonic() + 10
        while not what():
            assert time.monotonic() < patience, "it never came to that"
            time.sleep(0.005)

    return wait
