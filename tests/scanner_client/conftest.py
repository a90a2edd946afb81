"""A service for the station program."""

from collections.abc import Iterator

import pytest

from tests.scanner_client.service import Service


@pytest.fixture
def service() -> Iterator[Service]:
    made = Service()
    yield made
    made.close()
