"""What a row of the log is comes from one closed set, which holds what a reading asks for."""

from tracker.shop.acts import Act
from tracker.shop.scans import Action


def test_all_that_a_reading_asks_for_is_an_act_and_each_fits_into_the_logs_column() -> None:
    assert {action.value for action in Action} <= {act.value for act in Act}
    assert max(len(act) for act in Act) <= 8
