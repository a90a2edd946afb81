"""Bounds and plans against a reference solver (OR-Tools CP-SAT), which proves the fewest boards of small cases."""

from hypothesis import given
from hypothesis import strategies as st
from ortools.sat.python import cp_model

from tests.examples import examples
from tests.shop.cutting.test_planner import blank, stock
from tracker.shop.cutting.planner import plan_boards
from tracker.shop.cutting.values import CuttingRules

SIDES = st.integers(2, 12)
PIECES = st.lists(st.tuples(SIDES, SIDES, st.booleans()), min_size=1, max_size=8)
ROUTED = CuttingRules(kerf_mm=1, trim_mm=0, guillotine=False)
SAWN = CuttingRules(kerf_mm=1, trim_mm=0)


def fewest_by_solver(pieces: list[tuple[int, int, bool]], room: tuple[int, int], kerf: int) -> int:
    """Return the fewest boards with free layouts, proved; the boards stand in a row and no piece crosses a border."""
    model = cp_model.CpModel()
    along, across = room[0] + kerf, room[1] + kerf
    used = model.new_int_var(1, len(pieces), "used")
    xs, ys = [], []
    for number, (length, width, grain) in enumerate(pieces):
        turned = model.new_bool_var(f"turned {number}")
        if grain:
            model.add(turned == 0)
        wide, high = length + kerf + (width - length) * turned, width + kerf + (length - width) * turned
        board = model.new_int_var(0, len(pieces) - 1, f"board {number}")
        x = model.new_int_var(0, along * len(pieces), f"x {number}")
        y = model.new_int_var(0, across, f"y {number}")
        model.add(x >= board * along)
        model.add(x + wide <= (board + 1) * along)
        model.add(y + high <= across)
        model.add(board < used)
        end = model.new_int_var(0, along * len(pieces), f"end {number}")
        top = model.new_int_var(0, across, f"top {number}")
        span = model.new_int_var(1, along, f"wide {number}")
        rise = model.new_int_var(1, across, f"high {number}")
        model.add(span == wide)
        model.add(rise == high)
        xs.append(model.new_interval_var(x, span, end, f"along {number}"))
        ys.append(model.new_interval_var(y, rise, top, f"across {number}"))
    model.add_no_overlap_2d(xs, ys)
    model.minimize(used)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = 1
    assert solver.solve(model) == cp_model.OPTIMAL
    return int(solver.objective_value)


@examples(20)
@given(PIECES)
def test_the_bound_is_never_over_the_proved_least_and_the_plan_within_one_board(
    pieces: list[tuple[int, int, bool]],
) -> None:
    blanks = [blank(f"P{n}", length, width, grain=grain) for n, (length, width, grain) in enumerate(pieces)]
    board = [stock("S", 16, 12, grain=True)]
    least = fewest_by_solver(pieces, (16, 12), kerf=1)
    routed, sawn = (plan_boards(blanks, board, rules, steps=200_000) for rules in (ROUTED, SAWN))
    assert routed.lower_bound <= least <= len(routed.boards) <= least + 1
    assert sawn.lower_bound <= least <= len(sawn.boards) <= least + 1
