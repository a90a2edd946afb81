"""Tokens: known for a moment, then asked for again; names that can be used."""

import pytest

from tests.floor import START, Floor
from tracker.shop.errors import ConflictError, InvalidInputError, NotFoundError, NotSignedInError
from tracker.shop.roles import Role
from tracker.shop.steps import Step
from tracker.work.access import KNOWN_FOR_S, Gate, add_station, make_token, withdraw_token


def test_a_gate_knows_a_token_for_a_moment_and_then_asks_again(floor: Floor) -> None:
    make_token(floor.database, "saw", Role.STATION, "CUT-1", secret=lambda: "secret", now=START)
    time = [0.0]
    gate = Gate(floor.database, clock=lambda: time[0])
    bearer = gate.bearer_of("secret")
    assert (bearer.name, bearer.role, bearer.station) == ("saw", Role.STATION, "CUT-1")
    withdraw_token(floor.database, "saw", now=START)
    assert gate.bearer_of("secret") == bearer
    time[0] = KNOWN_FOR_S
    with pytest.raises(NotSignedInError):
        gate.bearer_of("secret")


def test_names_that_cannot_be_used_or_are_taken_are_refused(floor: Floor) -> None:
    for name in ("", " x", "x" * 81, "a\nb"):
        with pytest.raises(InvalidInputError):
            add_station(floor.database, name, Step.CUT)
    with pytest.raises(ConflictError):
        add_station(floor.database, "CUT-1", Step.CUT)
    with pytest.raises(NotFoundError):
        withdraw_token(floor.database, "nobody", now=START)


@pytest.mark.parametrize("role", Role)
def test_a_role_may_do_what_those_before_it_may(role: Role) -> None:
    roles = list(Role)
    assert [other for other in roles if role.includes(other)] == roles[: roles.index(role) + 1]
