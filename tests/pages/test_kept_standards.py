"""A construction standard that was kept before a rule that it breaks: it is shown with what to mend, and replaced."""

from pathlib import Path

from tests.floor import START, Floor
from tests.pages.callers import callers_of, in_words
from tracker.records.settings import keep_setting
from tracker.shop.roles import Role
from tracker.work.lists import set_list, shipped_standard_text

THIN = (
    shipped_standard_text()
    .replace('name = "House standard"', 'name = "Thin backs"')
    .replace('material = "white faced fibreboard"\nthickness = "1/4 in"', 'material = "hardboard"\nthickness = 3.2', 1)
)


def test_a_kept_standard_that_a_later_rule_refuses_is_told_by_its_value_and_can_be_replaced(
    floor: Floor, tmp_path: Path
) -> None:
    """By hand: a back of 3.2 mm is thinner than a slide of 4 mm and a play of 0.5 mm."""
    with floor.database.write() as connection:
        keep_setting(connection, "standard/Thin backs", THIN, who="Ada", now=START)
    admin = callers_of(floor, tmp_path, [Role.ADMIN])[Role.ADMIN]
    page = admin.get("/settings?standard=standard/Thin backs")
    assert page.status_code == 200
    assert "Thin backs, version 2" in in_words(page.text)
    assert "the back is not thicker than lock.slide and carcass.play together" in in_words(page.text)
    assert "House standard, version 2" in admin.read("/settings")
    mended = THIN.replace("thickness = 3.2", "thickness = 6").replace("version = 2", "version = 3")
    set_list(floor.database, "standard", mended, who="Ada", now=START)
    assert "Thin backs, version 3" in admin.read("/settings?standard=standard/Thin backs")
