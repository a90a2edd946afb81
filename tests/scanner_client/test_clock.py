"""The time of a reading, whatever is done to the computer's clock."""

from datetime import UTC, datetime, timedelta

from scanner_client.clock import JUMPED_S, SteadyClock

MORNING = datetime(2027, 3, 1, 8, 0, tzinfo=UTC)


class Computer:
    """A computer's clocks: the one on the wall, and one that counts."""

    def __init__(self) -> None:
        self.wall, self.ticks = MORNING, 100.0

    def passes(self, seconds: float) -> None:
        self.wall += timedelta(seconds=seconds)
        self.ticks += seconds

    def clock(self) -> SteadyClock:
        return SteadyClock(wall=lambda: self.wall, ticks=lambda: self.ticks)


def test_it_goes_on_by_itself_while_the_computers_clock_is_set_back_an_hour() -> None:
    computer = Computer()
    clock = computer.clock()
    computer.passes(10)
    computer.wall -= timedelta(hours=1)
    computer.passes(5)
    assert clock.now() == MORNING + timedelta(seconds=15)
    assert clock.jump_s() == -3600
    clock.set_again()
    assert clock.now() == computer.wall
    assert clock.jump_s() == 0


def test_little_steps_back_are_not_followed_and_steps_forward_are() -> None:
    computer = Computer()
    clock = computer.clock()
    computer.wall -= timedelta(seconds=JUMPED_S - 1)
    clock.set_again()
    assert (clock.now(), clock.jump_s()) == (MORNING, 0)
    computer.wall = MORNING + timedelta(seconds=2)
    clock.set_again()
    assert clock.now() == computer.wall


def test_it_does_not_go_back_behind_what_an_earlier_run_left() -> None:
    clock = Computer().clock()
    left = MORNING + timedelta(hours=1)
    clock.never_before(left)
    assert left < clock.now() < left + timedelta(seconds=1)
    clock.never_before(MORNING)
    assert clock.now() > left


def test_the_real_one_tells_utc_and_goes_on() -> None:
    clock = SteadyClock()
    first = clock.now()
    assert first.utcoffset() == timedelta(0)
    assert abs((first - datetime.now(UTC)).total_seconds()) < 5
    assert clock.now() >= first
