"""Items are counted into a box before it is sealed, by one packer or by two at once; a box is weighed."""

import math

import pytest

from tests.floor import Floor
from tracker.records.packing import bench, box_on_bench, next_boxes, whereabouts
from tracker.shop.codes import box_code, read_code
from tracker.shop.errors import ConflictError, InvalidInputError, NotFoundError
from tracker.work.count import Counting, count_item, weigh_box
from tracker.work.jobs import cancel_job, hold_job

PINS = "spring pin 8 mm"


def counted(floor: Floor) -> int | None:
    return floor.box(floor.box_101).items[0].counted


def test_a_count_is_kept_with_the_box(floor: Floor) -> None:
    assert count_item(floor.database, Counting(box=1, item=PINS, count=1), **floor.act()) == 1
    assert counted(floor) == 1
    assert count_item(floor.database, Counting(box=1, item=PINS, count=0, was=1), **floor.act()) == 0
    assert counted(floor) == 0
    floor.check()


def test_the_same_count_sent_twice_is_taken_once(floor: Floor) -> None:
    for _ in range(2):
        assert count_item(floor.database, Counting(box=1, item=PINS, count=1, was=0), **floor.act()) == 1
    assert counted(floor) == 1


def test_of_two_packers_who_count_at_once_the_second_looks_again(floor: Floor) -> None:
    count_item(floor.database, Counting(box=1, item=PINS, count=2, was=0), **floor.act())
    with pytest.raises(ConflictError, match="somebody else counted 2"):
        count_item(floor.database, Counting(box=1, item=PINS, count=1, was=0), **floor.act())
    assert counted(floor) == 2


@pytest.mark.parametrize("wrong", [{"count": 3}, {"count": -1}, {"item": "hinge", "count": 1}])
def test_a_count_that_the_box_does_not_plan_is_refused(floor: Floor, wrong: dict[str, object]) -> None:
    with pytest.raises(InvalidInputError):
        count_item(floor.database, Counting(box=1, **{"item": PINS, **wrong}), **floor.act())  # type: ignore[arg-type]
    assert counted(floor) is None


def test_a_closed_a_held_and_a_strange_box_are_not_counted_or_weighed(floor: Floor) -> None:
    floor.seal_both()
    one = Counting(box=1, item=PINS, count=1, was=2)
    for refused in (
        lambda: count_item(floor.database, one, **floor.act()),
        lambda: weigh_box(floor.database, 1, 20.0, **floor.act()),
    ):
        with pytest.raises(ConflictError, match="already sealed"):
            refused()
    with pytest.raises(NotFoundError):
        weigh_box(floor.database, 99, 20.0, **floor.act())


def test_a_held_job_is_not_counted(floor: Floor) -> None:
    hold_job(floor.database, "J-1", **floor.act())
    with pytest.raises(ConflictError, match="held"):
        count_item(floor.database, Counting(box=1, item=PINS, count=1), **floor.act())


def test_a_mass_is_kept_and_nonsense_is_refused(floor: Floor) -> None:
    weigh_box(floor.database, 1, 23.4, **floor.act())
    assert floor.box(floor.box_101).weighed_kg == 23.4
    for mass in (0.0, -1.0, math.nan, math.inf):
        with pytest.raises(InvalidInputError):
            weigh_box(floor.database, 1, mass, **floor.act())
    assert floor.box(floor.box_101).weighed_kg == 23.4
    floor.check()


# What the packer's screen asks of the records


def test_the_box_on_a_bench_is_that_of_the_last_scan_that_counts(floor: Floor) -> None:
    def on_bench() -> int | None:
        with floor.database.read() as connection:
            found = bench(connection, "PACK-1")
            assert found is not None
            return box_on_bench(connection, found.id)

    assert on_bench() is None
    floor.scan(floor.deck, "PACK-1")
    assert on_bench() == 1
    assert floor.scan(floor.end, "PACK-1").outcome == "wrong_box"
    assert on_bench() == 1
    floor.scan(floor.toe_kick, "PACK-1")  # the box is complete: it is no longer open, but lies there
    assert on_bench() == 1
    floor.scan(floor.box_102, "PACK-1")
    assert on_bench() == 2
    floor.undo("PACK-1")
    assert on_bench() == 1


def test_only_pack_stations_are_benches(floor: Floor) -> None:
    with floor.database.read() as connection:
        assert bench(connection, "CUT-1") is None
        assert bench(connection, "PACK-1") is not None


def test_it_is_known_where_a_box_is(floor: Floor) -> None:
    floor.scan(floor.deck, "PACK-1")
    with floor.database.read() as connection:
        here = whereabouts(connection, 1)
        other = whereabouts(connection, 2)
        assert whereabouts(connection, 99) is None
    assert here is not None
    assert (here.open_at, here.packed_at, here.box.job.code) == (("PACK-1",), "PACK-1", "J-1")
    assert other is not None
    assert (other.open_at, other.packed_at) == ((), None)


def test_what_leaves_soonest_is_packed_first_and_of_one_day_the_boxes_with_all_parts_at_hand(floor: Floor) -> None:
    floor.take("J-2", items=())

    def listed() -> list[tuple[str, int, int]]:
        with floor.database.read() as connection:
            return [(each.code, each.ready, each.packed) for each in next_boxes(connection, limit=10)[0]]

    assert [code for code, _ready, _packed in listed()] == [box_code(number) for number in (1, 2, 3, 4)]
    floor.scan(floor.end, "CUT-1")
    assert listed()[0] == (floor.box_102, 1, 0)
    floor.scan(floor.end, "PACK-1")
    assert listed()[0] == (floor.box_102, 0, 1)
    floor.plan(box_code(4))  # its load leaves a day before the jobs are due
    assert listed()[:2] == [(box_code(4), 0, 0), (floor.box_102, 0, 1)]
    floor.seal(floor.box_102)
    assert floor.box_102 not in [code for code, _ready, _packed in listed()]
    floor.scan(floor.deck, "CUT-1")
    floor.scan(floor.toe_kick, "CUT-1")
    assert (floor.box_101, 1, 0) in listed()  # the deck still waits for its machining
    cancel_job(floor.database, "J-1", **floor.act())
    assert {read_code(code).number for code, _ready, _packed in listed()} == {3, 4}
