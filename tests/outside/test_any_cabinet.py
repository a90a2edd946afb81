"""What holds for one cabinet of each kind holds for any that can be built."""

from hypothesis import given

from tests.examples import examples
from tests.shop.cabinets import test_design, test_guide
from tests.shop.cabinets.examples import buildable, designed, guided
from tracker.shop.cabinets.orders import CabinetOrder


@examples(40)
@given(buildable())
def test_the_design_and_the_guide_of_any_cabinet_are_whole(ordered: CabinetOrder) -> None:
    test_design.check_all(designed(ordered))
    test_guide.check_all(designed(ordered), guided(ordered))
