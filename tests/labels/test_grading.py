"""Grades: each spoilt in one known way, and the grade worked out beside it by hand from the table."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, ImageFilter

from tests.labels.symbol_pictures import DOTS, DPI, HEIGHT, QUIET, TEXT, picture_of, symbol_picture, widths_of
from tracker.labels.grading import BEST, Measure, SymbolGrade, grade_linear, grade_of, grade_qr
from tracker.labels.qr import draw_qr
from tracker.labels.symbols import DPIS, draw_code128

A_NARROW_SPACE = next(index for index, width in enumerate(widths_of()) if index % 2 and width == 1)


def graded(picture: Image.Image) -> SymbolGrade:
    return grade_linear(picture, dpi=DPI)


# Two public summaries of the table of ISO/IEC 15416 (2000 and 2016), which agree; one of them prints the tenths.
@pytest.mark.parametrize(
    ("measure", "value", "worth"),
    [
        (Measure.CONTRAST, 0.70, 4.0),
        (Measure.CONTRAST, 0.55, 3.0),
        (Measure.CONTRAST, 0.40, 2.0),
        (Measure.CONTRAST, 0.20, 1.0),
        (Measure.CONTRAST, 0.19, 0.0),
        (Measure.MODULATION, 0.69, 3.9),
        (Measure.MODULATION, 0.65, 3.5),
        (Measure.MODULATION, 0.61, 3.1),
        (Measure.MODULATION, 0.60, 3.0),
        (Measure.MODULATION, 0.59, 2.9),
        (Measure.MODULATION, 0.40, 1.0),
        (Measure.DEFECTS, 0.15, 4.0),
        (Measure.DEFECTS, 0.20, 3.0),
        (Measure.DEFECTS, 0.25, 2.0),
        (Measure.DEFECTS, 0.30, 1.0),
        (Measure.DEFECTS, 0.31, 0.0),
        (Measure.DECODABILITY, 0.62, 4.0),
        (Measure.DECODABILITY, 0.50, 3.0),
        (Measure.DECODABILITY, 0.37, 2.0),
        (Measure.DECODABILITY, 0.25, 1.0),
    ],
)
def test_a_value_is_worth_what_the_published_table_says(measure: Measure, value: float, worth: float) -> None:
    assert grade_of(measure, value) == pytest.approx(worth)


@given(st.sampled_from([Measure.CONTRAST, Measure.MODULATION, Measure.DECODABILITY]), st.floats(0, 1), st.floats(0, 1))
def test_a_better_value_is_never_worth_less(measure: Measure, one: float, other: float) -> None:
    worse, better = sorted((one, other))
    assert 0 <= grade_of(measure, worse) <= grade_of(measure, better) <= BEST


@pytest.mark.parametrize("dpi", DPIS)
@pytest.mark.parametrize("width_mm", [40, 72, 94])
def test_a_symbol_as_we_draw_it_is_graded_four(dpi: int, width_mm: float) -> None:
    grade = grade_linear(draw_code128(TEXT, width_mm=width_mm, height_mm=8, dpi=dpi), dpi=dpi)
    assert grade.grade == BEST
    assert grade.values[Measure.DECODABILITY] == pytest.approx(1.0)
    assert grade.values[Measure.QUIET_ZONES] == pytest.approx(10.0)


def test_moving_the_aperture_over_a_drawing_finds_what_is_known_of_it_without() -> None:
    drawing = symbol_picture()
    not_two_greys = drawing.copy()
    not_two_greys.paste(254, (0, 0, 1, HEIGHT))
    moved, known = graded(not_two_greys), graded(drawing)
    assert moved.grade == known.grade == BEST
    for measure, value in known.values.items():
        assert moved.values[measure] == pytest.approx(value, abs=0.005), measure


def test_low_contrast_is_worth_what_the_table_says() -> None:
    # 0.8 − 0.2 = 0.60, a third of the way from 0.55 (3.0) to 0.70 (4.0)
    grade = graded(picture_of(widths_of(), dark=51, light=204))
    assert grade.values[Measure.CONTRAST] == pytest.approx(0.6)
    assert (grade.grade, grade.worst) == (3.3, Measure.CONTRAST)


def test_dark_that_is_lighter_than_half_of_the_light_fails() -> None:
    grade = graded(picture_of(widths_of(), dark=128, light=254))
    assert (grade.grade, grade.worst) == (0.0, Measure.DARKNESS)


def test_a_space_that_is_greyer_than_the_others_costs_modulation() -> None:
    # its edges have a contrast of 166 ÷ 255 = 0.651 of the symbol's 1.0; 0.65 is midway between 3.0 and 4.0
    grade = graded(picture_of(widths_of(), levels={A_NARROW_SPACE: 166}))
    assert grade.values[Measure.MODULATION] == pytest.approx(166 / 255)
    assert (grade.grade, grade.worst) == (3.5, Measure.MODULATION)


def test_a_smudge_is_a_defect_as_deep_as_it_is_dark() -> None:
    picture = symbol_picture()
    picture.paste(204, (3 * DOTS, 0, 5 * DOTS, HEIGHT))  # in the quiet zone: 1.0 − 0.8 = 0.20 of the contrast
    grade = graded(picture)
    assert grade.values[Measure.DEFECTS] == pytest.approx(0.2)
    assert (grade.grade, grade.worst) == (3.0, Measure.DEFECTS)


# The start character B is 2 1 1 2 1 4 modules. With its first bar cut by c modules its width is p = 11 − c; its first
# edge-to-similar-edge distance, (3 − c) · 11 ÷ p, is the one nearest to a threshold: V1 = 2 · ((3 − c) · 11 ÷ p − 2.5).
@pytest.mark.parametrize(("cut", "decodability", "worth"), [(0.25, 0.6279, 4.0), (0.375, 0.4353, 2.5)])
def test_a_narrowed_bar_has_the_decodability_that_the_formula_gives(
    cut: float, decodability: float, worth: float
) -> None:
    assert 2 * ((3 - cut) * 11 / (11 - cut) - 2.5) == pytest.approx(decodability, abs=0.0001)
    first, *rest = widths_of()
    grade = graded(picture_of([first - cut, *rest]))
    assert grade.values[Measure.DECODABILITY] == pytest.approx(decodability, abs=0.0001)
    assert grade.grade == worth


def test_bars_that_all_have_grown_are_still_told_by_their_similar_edges() -> None:
    # a growth of a quarter module: only V2 suffers, 3 bars · 0.25 of 1.75 modules: 1 − 0.75 ÷ 1.75 = 0.571
    grown = [width + (-0.25 if index % 2 else 0.25) for index, width in enumerate(widths_of())]
    assert graded(picture_of(grown)).values[Measure.DECODABILITY] == pytest.approx(0.571, abs=0.02)


def test_a_quiet_zone_of_eight_modules_fails() -> None:
    assert graded(picture_of(widths_of(), quiet=8)).worst is Measure.QUIET_ZONES
    assert graded(picture_of(widths_of(), quiet=8)).grade == 0.0


def test_a_wrong_check_character_does_not_decode() -> None:
    widths = widths_of()
    check = slice(-13, -7)
    widths[check] = widths_of("P0000123457")[check]
    assert (graded(picture_of(widths)).grade, graded(picture_of(widths)).worst) == (0.0, Measure.DECODE)


def test_the_grade_is_the_mean_of_ten_lines() -> None:
    picture = symbol_picture()
    # the first line lies at 0.14 of the height, the second at 0.22
    picture.paste(255, (QUIET * DOTS, 0, (QUIET + 2) * DOTS, int(0.18 * HEIGHT)))
    assert graded(picture).grade == pytest.approx(0.9 * BEST)


def test_lines_that_read_differently_are_worth_nothing() -> None:
    picture = symbol_picture()
    picture.paste(symbol_picture("P0000123457").crop((0, 0, picture.width, HEIGHT // 2)), (0, 0))
    assert (graded(picture).grade, graded(picture).worst) == (0.0, Measure.DECODE)


def test_blur_costs_modulation_step_by_step() -> None:
    grades = [
        graded(symbol_picture().filter(ImageFilter.GaussianBlur(sigma * DOTS))).grade for sigma in (0.1, 0.4, 0.8)
    ]
    assert grades[0] == BEST
    assert grades[0] > grades[1] > grades[2]


@pytest.mark.parametrize("grey", [0, 128, 255])
def test_a_picture_of_nothing_is_graded_nothing(grey: int) -> None:
    assert graded(Image.new("L", (300, 50), grey)).grade == 0.0


@given(st.binary(min_size=600, max_size=600))
def test_whatever_the_picture_it_gets_a_grade(greys: bytes) -> None:
    assert 0 <= grade_linear(Image.frombytes("L", (60, 10), greys), dpi=203).grade <= BEST


def test_a_qr_code_as_we_draw_it_is_graded_four() -> None:
    grade = grade_qr(draw_qr(TEXT, side_mm=15, dpi=203), version=1, unused_correction=1.0)
    assert grade.grade == BEST
    assert grade.values[Measure.QUIET_ZONES] == pytest.approx(4.0)


def test_a_qr_code_without_its_white_border_fails() -> None:
    picture = draw_qr(TEXT, side_mm=15, dpi=203)
    bare = picture.crop((10, 10, picture.width - 10, picture.height - 10))
    assert grade_qr(bare, version=1, unused_correction=1.0).worst is Measure.QUIET_ZONES


def test_error_correction_that_reading_needed_costs_a_qr_code_its_grade() -> None:
    # ISO/IEC 15415 by a public summary of its table: over 0.50 and under 0.62 is 3
    assert 3.0 <= grade_qr(draw_qr(TEXT, side_mm=15, dpi=203), version=1, unused_correction=0.55).grade < BEST
