"""The fold: taking scans one by one in order is the fold of them all, and the order of arrival changes nothing."""

from datetime import UTC, datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st

from tracker.shop.progress import NOT_STARTED, Happening, PartStatus, Sighting, advance, fold, status_of
from tracker.shop.steps import Step

ROUTE = (Step.CUT, Step.MACHINE, Step.BAND, Step.PACK, Step.SHIP)
START = datetime(2027, 3, 1, tzinfo=UTC)
SCANS = st.builds(
    Sighting,
    seq=st.integers(0, 10_000),
    at=st.integers(0, 50).map(lambda minute: START + timedelta(minutes=minute)),
    what=st.sampled_from([Happening.PASS, Happening.PASS, Happening.DAMAGED, Happening.PLACE, Happening.SEEN]),
    station=st.integers(1, 5),
    step=st.sampled_from(ROUTE[:4]),
    infers=st.booleans(),
    slot=st.none() | st.integers(1, 2),
)
MANY = st.lists(SCANS, max_size=12, unique_by=lambda sighting: sighting.seq)


@given(MANY)
def test_advancing_scan_by_scan_in_order_is_the_fold(sightings: list[Sighting]) -> None:
    progress = NOT_STARTED
    for sighting in sorted(sightings, key=lambda each: (each.at, each.seq)):
        progress = advance(progress, sighting, ROUTE)
    assert fold(sightings, ROUTE) == progress


@given(MANY, st.randoms(use_true_random=False))
def test_the_order_of_arrival_changes_nothing(sightings: list[Sighting], chance: object) -> None:
    shuffled = list(sightings)
    chance.shuffle(shuffled)  # type: ignore[attr-defined]
    assert fold(shuffled, ROUTE) == fold(sightings, ROUTE)


@given(MANY)
def test_what_is_inferred_is_done_and_a_status_follows_from_what_counts(sightings: list[Sighting]) -> None:
    progress = fold(sightings, ROUTE)
    assert progress.inferred <= progress.done
    assert progress.counted <= progress.done
    status = status_of(progress)
    assert (status is PartStatus.PACKED) == (Step.PACK in progress.counted)
    assert (status is PartStatus.WAITING) == (not progress.done)


def _pass(seq: int, step: Step, minute: int, station: int = 1, **more: object) -> Sighting:
    at = START + timedelta(minutes=minute)
    return Sighting(seq=seq, at=at, what=Happening.PASS, station=station, step=step, infers=True, **more)  # type: ignore[arg-type]


def test_an_undo_takes_the_repeats_at_its_station_back_too_but_no_other_stations_word() -> None:
    undone = (START + timedelta(minutes=9), 9)
    double = [_pass(1, Step.CUT, 1, undone=undone), _pass(2, Step.CUT, 2)]
    assert fold(double, ROUTE).done == frozenset()
    elsewhere = [*double, _pass(3, Step.CUT, 3, station=2)]
    assert fold(elsewhere, ROUTE).done == {Step.CUT}
    afterwards = [*double, _pass(10, Step.CUT, 9)]
    assert fold(afterwards, ROUTE).done == {Step.CUT}


def test_a_repair_takes_the_damage_back_that_was_known_and_no_later_one() -> None:
    def damage(seq: int) -> Sighting:
        return Sighting(seq=seq, at=START, what=Happening.DAMAGED, station=1, step=Step.CUT)

    repair = Sighting(seq=2, at=START, what=Happening.REPAIR)
    assert not fold([damage(1), repair], ROUTE).damaged
    assert fold([damage(1), repair, damage(3)], ROUTE).damaged


def test_a_move_to_another_box_takes_the_packing_back_that_was_known() -> None:
    move = Sighting(seq=2, at=START + timedelta(hours=1), what=Happening.MOVE)
    assert Step.PACK not in fold([_pass(1, Step.PACK, 1), move], ROUTE).done
    assert Step.PACK in fold([_pass(1, Step.PACK, 1), move, _pass(3, Step.PACK, 5)], ROUTE).done
