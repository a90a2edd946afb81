"""The plan: from what waits and the last word with the server to the next step."""

from hypothesis import given
from hypothesis import strategies as st

from scanner_client.plan import LARGEST_BATCH, LONGEST_PAUSE_S, Heard, Last, Send, SetAside, Wait, after, next_step
from scanner_client.queue import Reading

READINGS = [Reading(id=str(number), code=f"code {number}", at="") for number in range(150)]


def test_nothing_waits_so_nothing_is_done_until_there_is_a_reading() -> None:
    assert next_step([], Last(failures=3), now=0, jitter=0) == Wait(seconds=None)


def test_at_most_a_hundred_are_sent_at_once_the_oldest_first() -> None:
    step = next_step(READINGS, Last(), now=0, jitter=0)
    assert step == Send(readings=READINGS[:100])


def test_the_pause_doubles_with_each_failure_up_to_a_limit_and_chance_spreads_it() -> None:
    last = Last()
    pauses = []
    for _time in range(8):
        last = after(last, Heard.AWAY, sent=1, answered=0, now=100)
        step = next_step(READINGS, last, now=100, jitter=0.5)
        assert isinstance(step, Wait)
        pauses.append(step.seconds)
    assert pauses == [0.5, 1, 2, 4, 8, 15, 15, 15]
    assert next_step(READINGS, last, now=100, jitter=0) == Wait(seconds=0.75 * LONGEST_PAUSE_S)
    assert next_step(READINGS, last, now=100, jitter=1) == Wait(seconds=1.25 * LONGEST_PAUSE_S)


def test_a_wait_that_is_cut_short_goes_on_for_the_rest_and_then_it_is_tried_again() -> None:
    last = after(Last(), Heard.TOKEN_NOT_ACCEPTED, sent=1, answered=0, now=100)
    assert next_step(READINGS, last, now=100.25, jitter=0.5) == Wait(seconds=0.25)
    assert isinstance(next_step(READINGS, last, now=100.5, jitter=0.5), Send)


def test_an_answer_ends_the_pauses() -> None:
    last = after(Last(failures=5), Heard.ANSWERS, sent=1, answered=1, now=100)
    assert isinstance(next_step(READINGS, last, now=100, jitter=1), Send)


@given(poison=st.integers(0, 99), waiting=st.integers(1, 150))
def test_the_reading_that_spoils_a_batch_is_found_in_few_sendings_and_no_other_is_set_aside(
    poison: int, waiting: int
) -> None:
    left, last, sendings, aside = READINGS[:waiting], Last(), 0, []
    while left:
        match next_step(left, last, now=0, jitter=0):
            case Send(readings=readings):
                sendings += 1
                refused = READINGS[poison] in readings
                heard = Heard.REFUSED if refused else Heard.ANSWERS
                last = after(last, heard, sent=len(readings), answered=0 if refused else len(readings), now=0)
                left = left if refused else left[len(readings) :]
            case SetAside(reading=reading):
                aside.append(reading)
                left, last = left[1:], Last()
            case Wait():
                raise AssertionError("there is nothing to wait for")
    assert aside == ([READINGS[poison]] if poison < waiting else [])
    assert sendings <= 2 + 2 * 7  # halving a hundred takes seven; each half is tried and at most then the other


def test_a_batch_that_is_only_too_large_is_sent_in_pieces_and_nothing_is_set_aside() -> None:
    left, last = READINGS[:100], Last()
    while left:
        step = next_step(left, last, now=0, jitter=0)
        assert isinstance(step, Send)
        refused = len(step.readings) > 30
        answered = 0 if refused else len(step.readings)
        heard = Heard.REFUSED if refused else Heard.ANSWERS
        last = after(last, heard, sent=len(step.readings), answered=answered, now=0)
        left = left[answered:]


@given(
    st.integers(0, 150),
    st.builds(Last, suspects=st.integers(0, 100), refused_alone=st.booleans(), failures=st.integers(0, 2_000)),
    st.floats(0, 100),
    st.floats(0, 1),
)
def test_a_step_always_starts_at_the_oldest_reading_and_a_wait_ends(
    count: int, last: Last, now: float, jitter: float
) -> None:
    waiting = READINGS[:count]
    match next_step(waiting, last, now=now, jitter=jitter):
        case Send(readings=readings):
            assert list(readings) == waiting[: len(readings)]
            assert 1 <= len(readings) <= LARGEST_BATCH
        case SetAside(reading=reading):
            assert last.refused_alone
            assert reading is waiting[0]
        case Wait(seconds=None):
            assert not waiting
        case Wait(seconds=seconds):
            assert seconds is not None
            assert 0 < seconds <= 1.25 * LONGEST_PAUSE_S
