"""What keys mean: a sweep over delays, prefixes, suffixes and layouts, in one page and without waiting."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from tracker.shop.codes import Code, Kind, part_code

PART = part_code(1)
LINK = f"HTTPS://SHOP.EXAMPLE/Q/{part_code(12)}/ABCDEFGH"
SSCC = "376104250021234569"  # the worked example of the GS1 General Specifications, 7.9.1 (from memory)
CODES = {
    PART: PART,
    str(Code(Kind.WORKER, 77)): str(Code(Kind.WORKER, 77)),
    LINK: part_code(12),
    f"00{SSCC}": f"00{SSCC}",
    f"]C1\x1d00{SSCC}": f"]C1\x1d00{SSCC}",
    f"(00){SSCC}": f"(00){SSCC}",
}
MASSES = {text: text for text in ("5", "23.45", "23,45 kg", "+23.45 kg", "51.7 lb")}
TYPIST = Path(__file__).parent / "typist.js"
PREFIXES = ("", " ", "\x02", "\x02 ")
SUFFIXES = (
    ("Enter",),
    ("Tab",),
    ("Enter", "Enter"),
    ("Enter", "Ctrl+J"),
    ("Ctrl+M", "Ctrl+J"),
    ("\x03", "Enter"),
    ("Enter", "Tab"),
)


@pytest.fixture(scope="module")
def keys(browser: Browser, site: str) -> Iterator[Page]:
    """A page in which keys.js and the typist are at hand."""
    page = browser.new_page()
    page.route("**/static/typist.js", lambda route: route.fulfill(path=TYPIST, content_type="text/javascript"))
    page.goto(f"{site}/sign-in")
    page.evaluate(
        """async () => {
            const { send, sweep } = await import("/static/typist.js");
            const { keyReader } = await import("/static/scanning/keys.js");
            window.sendKeys = (signs, how) => send(keyReader, signs, how);
            window.sweepKeys = (...all) => sweep(keyReader, ...all);
        }"""
    )
    yield page
    page.close()


def sent(keys: Page, *signs: str, **how: Any) -> dict[str, Any]:
    told: dict[str, Any] = keys.evaluate("([signs, how]) => sendKeys(signs, how)", [signs, how])
    return told


EDGES = (1, 4, 49, 51, 120, 199, 200, 200.00001, 215, 221, 249, 250)


@pytest.mark.parametrize("texts", [CODES, MASSES], ids=["codes", "masses"])
def test_what_is_shaped_like_a_code_or_a_mass_is_read_at_up_to_200_ms_a_key_and_presses_nothing(
    keys: Page, texts: dict[str, str]
) -> None:
    """Slower keys are told, and press nothing either, up to the 250 ms after which a key stands alone."""
    found = keys.evaluate("(all) => sweepKeys(...all)", [texts, PREFIXES, SUFFIXES, EDGES])
    assert found["tried"] > 10_000
    assert found["wrong"] == 0, found["first"]


@pytest.mark.parametrize("sign", [" ", "Enter"])
def test_a_lone_space_or_enter_presses_once_and_never_twice(keys: Page, sign: str) -> None:
    assert sent(keys, sign, delay=1000)["pressed"] == 1
    assert sent(keys, sign, sign, delay=1000)["pressed"] == 2
    assert sent(keys, sign, sign, delay=100)["pressed"] == 1
    assert sent(keys, "Tab", sign, delay=30) == {"readings": [], "unclear": [], "pressed": 1, "kept": ["Tab"]}


def test_whoever_presses_and_goes_on_at_once_has_pressed(keys: Page) -> None:
    assert sent(keys, "Enter", "Tab", delay=30) == {"readings": [], "unclear": [], "pressed": 1, "kept": ["Tab"]}


def test_what_is_no_code_is_told_once_and_presses_nothing(keys: Page) -> None:
    for text, suffix, delay, why in [
        ("4006381333931", "Enter", 60, "noCode"),
        ("HELLO", "Tab", 200, "noCode"),
        (PART[:-1], "Enter", 5, "noCode"),
        (PART, "", 60, "noEnd"),
        (PART, "Enter", 240, "slow"),
        ("ST,GS,+ 13.70kg", "Enter", 20, "noMass"),
        ("13700 g", "Enter", 20, "noMass"),
        ("4006381333931", "Enter", 20, "noCode"),
    ]:
        told = sent(keys, *text, *([suffix] if suffix else []), delay=delay, weighs=why == "noMass")
        assert (told["readings"], told["unclear"], told["pressed"]) == ([], [[text, why]], 0)


def test_a_key_that_was_hit_before_a_code_is_part_of_it_only_where_it_came_right_before(keys: Page) -> None:
    assert sent(keys, "X", *PART, "Enter", delay=20)["unclear"] == [[f"X{PART}", "noCode"]]
    assert sent(keys, "X", "Pause", *PART, "Enter", delay=20)["readings"] == [PART]


@pytest.mark.parametrize("delay", [5, 49, 51, 200])
def test_in_a_field_only_what_no_hand_types_is_a_reading(keys: Page, delay: int) -> None:
    told = sent(keys, *PART, "Enter", delay=delay, focus="field")
    assert told["readings"] == ([PART] if delay <= 50 else [])
    assert sent(keys, *"RING", "Enter", delay=delay, focus="field")["readings"] == []
    assert sent(keys, *"1234", "Enter", delay=delay, focus="field", weighs=True)["readings"] == []
    kilograms = sent(keys, *"12.34", "Enter", delay=delay, focus="field", weighs=True)
    assert kilograms["readings"] == (["12.34"] if delay <= 50 else [])
