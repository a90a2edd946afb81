"""Any plan of boxes keeps every rule, by a witness that knows nothing of the planner; the sizes are invented."""

from hypothesis import given
from hypothesis import strategies as st

from tests.examples import examples
from tests.shop.boxing.test_planner import FEW_STEPS, carton, panel
from tests.shop.boxing.witness import complaints
from tracker.shop.boxing.planner import MOST_PANELS, plan_boxes
from tracker.shop.boxing.values import Carton, KeepTogether, PackingRules
from tracker.shop.measures import board_mass_kg

SIZES = st.integers(20, 900) | st.floats(20, 900).map(lambda size: round(size, 1))
PANELS = st.lists(
    st.tuples(
        SIZES, SIZES, st.sampled_from([3, 5.5, 15, 18, 22.2]), st.sampled_from(["", "101", "102"]), st.booleans()
    ),
    max_size=25,
)
CARTONS = st.lists(
    st.builds(
        carton,
        name=st.sampled_from("ABCD"),
        size=st.tuples(st.integers(300, 1000), st.integers(300, 1000), st.integers(20, 150)),
        mass=st.integers(5, 40),
        tare_kg=st.sampled_from([0, 0.7]),
        available=st.none() | st.integers(0, 4),
    ),
    min_size=1,
    max_size=4,
    unique_by=lambda kind: kind.id,
)
RULES = st.builds(
    PackingRules,
    layer_gap_mm=st.sampled_from([0, 0.5, 2]),
    bag_height_mm=st.sampled_from([0, 0, 25]),
    bag_mass_kg=st.sampled_from([0, 0.4]),
)


@examples(60)
@given(PANELS, CARTONS, RULES)
def test_every_plan_keeps_every_rule_of_packing(
    sizes: list[tuple[float, float, float, str, bool]], cartons: list[Carton], rules: PackingRules
) -> None:
    panels = [
        panel(f"P{number}", long, wide, thick, board_mass_kg(long, wide, thick), cabinet=cabinet, front=front)
        for number, (long, wide, thick, cabinet, front) in enumerate(sizes)
    ]
    plan = plan_boxes(panels, cartons, rules, steps=FEW_STEPS)
    assert complaints(plan, panels, cartons, rules) == []


@examples(20)
@given(PANELS, CARTONS)
def test_turning_every_panel_and_every_carton_changes_no_number_of_boxes(
    sizes: list[tuple[float, float, float, str, bool]], cartons: list[Carton]
) -> None:
    panels = [panel(f"P{number}", *size[:3]) for number, size in enumerate(sizes)]
    turned = [panel(f"P{number}", size[1], size[0], size[2]) for number, size in enumerate(sizes)]
    turned_cartons = [
        carton(c.id, (c.width_mm, c.length_mm, c.height_mm), c.max_mass_kg, tare_kg=c.tare_kg, available=c.available)
        for c in cartons
    ]
    plan, other = plan_boxes(panels, cartons, steps=FEW_STEPS), plan_boxes(turned, turned_cartons, steps=FEW_STEPS)
    assert len(plan.boxes) == len(other.boxes)
    assert plan.lower_bound == other.lower_bound
    assert plan.unplaceable == other.unplaceable


def test_as_many_panels_as_allowed_are_planned() -> None:
    panels = [panel(f"P{n}", 100 + n % 700, 80 + n % 350, (6, 15, 18)[n % 3], 0.5 + n % 7) for n in range(MOST_PANELS)]
    plan = plan_boxes(panels, [carton()])
    assert complaints(plan, panels, [carton()], PackingRules()) == []


THICK = st.sampled_from([3, 6, 18, 22])
OF_CABINETS = st.lists(
    st.tuples(
        st.tuples(st.integers(100, 800), st.integers(80, 600), THICK),
        st.sampled_from(["", "101", "102", "103", "F1", "F2"]),
        st.sampled_from(["", "north"]),
        st.booleans(),
    ),
    max_size=40,
)


@examples(60)
@given(OF_CABINETS, st.sampled_from(KeepTogether), st.sampled_from([None, 8.0, 15.0]))
def test_any_plan_keeps_drops_limits_and_groups(
    rows: list[tuple[tuple[float, float, float], str, str, bool]], keep: KeepTogether, limit: float | None
) -> None:
    panels = [
        # A cabinet is unloaded at one drop.
        panel(f"P{n}", *size, board_mass_kg(*size), group=name and f"{name} {drop}", drop=drop, front=front)
        for n, (size, name, drop, front) in enumerate(rows)
    ]
    rules = PackingRules(box_mass_kg=limit, keep_together=keep)
    cartons = [carton(), carton("D", (820, 620, 60), 20)]
    plan = plan_boxes(panels, cartons, rules, steps=FEW_STEPS)
    assert complaints(plan, panels, cartons, rules) == []
    assert plan.unplaceable == ()
