"""A layout is data: what is wrong in it is said by its place, and what is read can be drawn."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.reading import codes_in
from tracker.labels.contents import SAMPLES, LabelKind
from tracker.labels.layout import draw_label
from tracker.labels.layout_reading import read_layout
from tracker.shop.errors import InvalidInputError
from tracker.work.label_setup import shipped_layouts

SMALL = """
name = "slot small"
for = "slot"
size = [60, 25]

[[text]]
says = "{title}"
at = [2, 1]
size = [40, 6]

[[bars]]
at = [2, 9]
size = [56, 12]
"""


def faults_of(text: str) -> dict[str, str]:
    with pytest.raises(InvalidInputError) as refused:
        read_layout(text)
    return {str(fault.where.get("field", "")): fault.what for fault in refused.value.faults}


def test_a_small_layout_of_ones_own_is_drawn_and_reads() -> None:
    layout = read_layout(SMALL)
    sample = SAMPLES[LabelKind.SLOT]
    assert codes_in(draw_label(layout, sample, 203).image) == [sample.code]


def test_inches_and_fractions_say_the_same_as_millimetres() -> None:
    inches = SMALL.replace('name = "slot small"', 'name = "slot small"\nunits = "in"')
    inches = inches.replace("[60, 25]", '["2 1/2", 1]').replace("[2, 1]", "[0.1, 0]").replace("[40, 6]", "[1.5, 0.25]")
    inches = inches.replace("[2, 9]", "[0.1, 0.35]").replace("[56, 12]", "[2.2, 0.5]")
    assert read_layout(inches).size == (63.5, 25.4)


@pytest.mark.parametrize(
    ("change", "field", "says"),
    [
        (('for = "slot"', 'for = "lorry"'), "for", "wanted: one of part, box"),
        (('for = "slot"', ""), "for", "absent"),
        (("{title}", "{cabinet}"), "text.1.says", "only {code} {subtitle} {title}"),
        (("{title}", "{title"), "text.1.says", "only"),
        (("at = [2, 1]", 'at = "here"'), "text.1.at", "two lengths"),
        (("at = [2, 1]", "at = [2, nan]"), "text.1.at", "from 0 mm to 420 mm"),
        (("at = [2, 1]", "at = [2, 1]\ncolour = 3"), "text.1.colour", "not known"),
        (("at = [2, 1]", "at = [2, 1]\nlines = 0"), "text.1.lines", "whole number"),
        (("at = [2, 1]", 'at = [2, 1]\nwhen = "urgent"'), "text.1.when", "one of code, subtitle, title"),
        (("size = [40, 6]", "size = [70, 6]"), "text.1", "over the edge"),
        (("size = [40, 6]", "size = [40, 9]"), "bars.1", "lies over text.1"),
        (("[56, 12]", "[30, 12]"), "bars", "does not fit at 203 dots an inch"),
        (("[60, 25]", "[600, 25]"), "size", "420 mm"),
        (('name = "slot small"', 'name = "slot small"\nfont = "nowhere"'), "font", "there are: sans"),
        (('name = "slot small"', 'name = "/etc"'), "name", "letters, digits"),
        (('name = "slot small"', 'name = "slot small"\nbarz = 1'), "barz", "not known; known: name, for, size"),
        (("[[bars]]", "[[outline]]"), "outline.1", "only the label of a part"),
        (("[[text]]\nsays", "[text]\nsays"), "text", "[[text]]"),
    ],
)
def test_a_fault_is_named_by_its_place_with_what_is_wanted(change: tuple[str, str], field: str, says: str) -> None:
    faults = faults_of(SMALL.replace(*change))
    assert field in faults, faults
    assert says in faults[field]


def test_a_label_that_cannot_be_scanned_is_refused() -> None:
    assert "cannot be scanned" in faults_of(SMALL[: SMALL.index("[[bars]]")])["bars"]


def test_all_faults_come_at_once() -> None:
    text = SMALL.replace("{title}", "{nothing}").replace("[56, 12]", '["x", 12]').replace('"slot small"', '""')
    assert set(faults_of(text)) == {"name", "text.1.says", "bars.1.size"}


def test_a_box_layout_holds_the_symbol_of_a_shipping_code_too() -> None:
    box = SMALL.replace('"slot"', '"box"').replace("{title}", "{name}")
    assert "does not fit" in faults_of(box.replace("[56, 12]", "[40, 12]"))["bars"]


@given(st.text(max_size=300) | st.sampled_from(list(shipped_layouts().values())).map(lambda text: text[::2]))
def test_no_text_breaks_the_reader(text: str) -> None:
    try:
        layout = read_layout(text)
    except InvalidInputError:
        return
    assert codes_in(draw_label(layout, SAMPLES[layout.kind], 203).image) == [SAMPLES[layout.kind].code]


def test_what_a_shop_says_in_its_own_language_stands_on_the_label() -> None:
    text = shipped_layouts()["part 100 x 50"]
    own = text.replace("[[block]]", '[words]\ngrain = "veta"\n\n[[block]]', 1)
    plain, spanish = (draw_label(read_layout(each), SAMPLES[LabelKind.PART], 203).image for each in (text, own))
    assert plain.tobytes() != spanish.tobytes()


def test_a_word_of_earlier_labels_in_a_kept_layout_is_ignored() -> None:
    kept = f'{SMALL}\n[words]\nmachine = "MACHINE ONLY"\ntrolley = "ON A CART"\n'
    assert "machine" not in read_layout(kept).words
    assert read_layout(kept).words["trolley"] == "ON A CART"
