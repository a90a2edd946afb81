"""Judging: a label that would not read is refused, and the reason is said."""

from collections.abc import Sequence
from dataclasses import replace

import pytest
from PIL import Image, ImageDraw

from tests.labels.symbol_pictures import picture_of, widths_of
from tracker.labels.canvas import Canvas
from tracker.labels.drawn import Drawn, Symbol
from tracker.labels.judging import LEAST_GRADE, Verdict, judge, must_read
from tracker.labels.symbols import DPIS, draw_code128
from tracker.shop.codes import part_code
from tracker.shop.errors import InvalidInputError

CODE = part_code(1234)
OTHER = part_code(1235)
# The SSCC that the GS1 General Specifications use as an example (checks/sscc.json).
SSCC = "106141411234567897"


def label(dpi: int = 203) -> Drawn:
    canvas = Canvas((100, 50), dpi)
    canvas.bars(CODE, (2, 30), (72, 9))
    canvas.qr(CODE, (78, 2), 18)
    return canvas.drawn()


def spoilt(drawn: Drawn, box_mm: tuple[float, float, float, float], ink: int) -> Drawn:
    image = drawn.image.copy()
    ImageDraw.Draw(image).rectangle([round(mm * drawn.dpi / 25.4) for mm in box_mm], fill=ink)
    return replace(drawn, image=image)


def reasons(verdict: Verdict) -> Sequence[str]:
    return [str(reason) for reason in verdict.reasons]


@pytest.mark.parametrize("dpi", DPIS)
def test_a_label_as_we_draw_it_reads_and_is_graded_four(dpi: int) -> None:
    verdict = judge(label(dpi))
    assert (verdict.ok, verdict.grade, verdict.reasons) == (True, 4.0, [])
    assert [symbol.read for symbol in verdict.symbols] == [CODE, CODE]


@pytest.mark.parametrize("dpi", DPIS)
def test_a_box_label_with_an_sscc_reads_as_gs1_128(dpi: int) -> None:
    canvas = Canvas((100, 150), dpi)
    canvas.bars(SSCC, (3, 100), (94, 32), gs1=True)
    verdict = judge(canvas.drawn())
    assert (verdict.ok, verdict.grade) == (True, 4.0)
    assert verdict.symbols[0].read == "00" + SSCC


def test_an_sscc_without_the_sign_of_gs1_is_refused() -> None:
    canvas = Canvas((100, 150), 203)
    canvas.bars("00" + SSCC, (3, 100), (94, 32))
    drawn = canvas.drawn()
    posing = replace(drawn, symbols=[replace(drawn.symbols[0], kind="gs1-128", text=SSCC)])
    assert reasons(judge(posing)) == ["its GS1-128 bar code reads as another kind of symbol"]


def test_a_symbol_of_another_text_is_refused_and_both_texts_are_said() -> None:
    drawn = label()
    meant = replace(drawn, symbols=[replace(symbol, text=OTHER) for symbol in drawn.symbols])
    assert reasons(judge(meant)) == [
        f"its bar code reads {CODE}, not {OTHER}",
        f"its QR code reads {CODE}, not {OTHER}",
    ]


def test_a_line_over_all_bars_is_not_read() -> None:
    verdict = judge(spoilt(label(), (10, 25, 60, 48), ink=0))
    assert (verdict.ok, verdict.grade) == (False, 0.0)
    assert reasons(verdict) == ["its bar code does not read"]


def test_words_in_the_white_beside_the_bars_are_refused_though_they_read() -> None:
    verdict = judge(spoilt(label(), (3, 30, 3.5, 39), ink=0))
    assert not verdict.ok
    assert verdict.symbols[0].read in (CODE, "")


def test_a_symbol_that_runs_out_of_the_label_is_refused() -> None:
    drawn = label()
    shifted = replace(drawn, symbols=[replace(drawn.symbols[0], left_mm=40)])
    assert reasons(judge(shifted)) == ["its bar code runs out of the label"]


def test_a_label_without_a_symbol_is_refused() -> None:
    assert reasons(judge(replace(label(), symbols=[]))) == ["there is nothing to scan on it"]


def test_bars_that_read_but_are_graded_under_three_are_refused_and_why() -> None:
    # the first bar cut by 0.375 module is worth 2.5 (worked out in test_grading.py)
    first, *rest = widths_of(CODE)
    picture = picture_of([first - 0.375, *rest])
    mm = 25.4 / 813
    symbol = Symbol(
        kind="code128", text=CODE, left_mm=0, top_mm=0, width_mm=picture.width * mm, height_mm=picture.height * mm
    )
    verdict = judge(Drawn(image=picture, dpi=813, symbols=[symbol]))
    assert (verdict.ok, verdict.grade) == (False, 2.5)
    assert reasons(verdict) == ["its bar code is graded 2.5, and at least 3.0 is wanted: widths are not even"]
    assert verdict.grade < LEAST_GRADE


@pytest.mark.parametrize("turns", [1, 2, 3])
def test_a_symbol_may_stand_on_end_or_on_its_head(turns: int) -> None:
    turned = draw_code128(CODE, width_mm=72, height_mm=9, dpi=203).rotate(90 * turns, expand=True)
    mm = 25.4 / 203
    whole = Symbol(
        kind="code128", text=CODE, left_mm=0, top_mm=0, width_mm=turned.width * mm, height_mm=turned.height * mm
    )
    verdict = judge(Drawn(image=turned, dpi=203, symbols=[whole]))
    assert verdict.symbols[0].read == CODE
    assert verdict.grade == 4.0


def test_a_label_that_reads_is_passed_on_to_be_printed() -> None:
    good = label()
    assert must_read(good) is good


def test_a_label_that_would_not_read_is_not_printed_and_is_named() -> None:
    with pytest.raises(InvalidInputError, match=f"label of {CODE} would not read") as refused:
        must_read(spoilt(label(), (10, 25, 60, 48), ink=0))
    assert [(fault.where, str(fault.what)) for fault in refused.value.faults] == [
        ({"label": CODE}, "its bar code does not read")
    ]


def test_a_symbol_without_a_text_a_size_or_a_known_kind_is_none() -> None:
    good = Symbol(kind="qr", text=CODE, left_mm=0, top_mm=0, width_mm=10, height_mm=10)
    for nonsense in ({"text": ""}, {"width_mm": 0.0}, {"height_mm": float("nan")}, {"kind": "stripes"}):
        with pytest.raises(ValueError, match="symbol"):
            replace(good, **nonsense)
    with pytest.raises(ValueError, match="resolution"):
        Drawn(image=Image.new("1", (10, 10)), dpi=0, symbols=[])
