"""How often labels are read: a few tries here, the command makes many."""

from datetime import date
from random import Random

import pytest
from PIL import Image, ImageStat

from tracker.bench.readrates import Cell, Tally, cells, document, layouts, misreadings, read_rates, stocks_for
from tracker.bench.spoiling import MILD, PIXELS_PER_MM, SPOILINGS, Spoiling, photograph
from tracker.labels.canvas import Canvas
from tracker.labels.drawn import Drawn
from tracker.labels.symbols import DPIS
from tracker.shop.codes import part_code


def nothing(_line: str) -> None:
    """Progress that nobody watches."""


def label() -> Drawn:
    canvas = Canvas((76, 20), 203)
    canvas.bars(part_code(1234), (2, 5), (72, 9))
    return canvas.drawn()


def test_every_default_layout_is_tried_at_every_resolution_in_every_way() -> None:
    assert len(cells()) == len(layouts()) * len(DPIS) * len(SPOILINGS) == len(set(cells()))


def test_every_default_layout_goes_onto_a_stock_that_comes_with_the_program() -> None:
    assert all(stocks_for(layout) for layout, _label in layouts().values())


def test_with_mild_blur_every_default_layout_is_read_by_one_of_its_symbols() -> None:
    mild = [cell for cell in cells() if cell.spoiling is MILD]
    found = read_rates(mild, tries=1, seed=11, say=nothing)
    assert {cell: tally.either for cell, tally in found.items()} == dict.fromkeys(mild, 1)
    assert not any(tally.passed for tally in found.values())


def test_no_wrong_reading_near_the_limit_passes_the_check_digits() -> None:
    found = misreadings(tries=300, seed=11, say=nothing)
    assert found.tries == 300
    assert 0 < found.linear < 300  # it is the limit indeed
    assert found.passed == 0


def test_the_same_seed_gives_the_same_table() -> None:
    some = [Cell(layout="part 63 x 38", dpi=300, spoiling=spoiling) for spoiling in SPOILINGS[-3:]]
    assert read_rates(some, tries=3, seed=5, say=nothing) == read_rates(some, tries=3, seed=5, say=nothing)


def test_the_document_shows_low_rates_in_bold_and_says_how_often_a_reading_was_wrong() -> None:
    cell = Cell(layout="part 100 x 50", dpi=203, spoiling=MILD)
    low = Cell(layout="part 100 x 50", dpi=300, spoiling=MILD)
    rates = {
        cell: Tally(tries=200, linear=190, square=200, either=200),
        low: Tally(tries=200, linear=100, square=0, either=197, wrong=2),
    }
    text = document(rates, Tally(tries=1000, linear=700, wrong=5), seed=1, command="x", today=date(2027, 3, 5))
    assert "| part 100 x 50 | 203 | 95 / 100 / 100 |" in text
    assert "| part 100 x 50 | 300 | **50 / 0 / 98.5** |" in text
    assert "In the 400 tries of the table 2 gave a wrong text, and 0 of these passed the check digits." in text
    assert "of 1,000 tries 700 were read right, 5 gave a wrong text" in text.replace("\n", " ")


# ---------------------------------------------------------------------------------------------- spoiling
def test_a_camera_sees_eight_pixels_a_millimetre() -> None:
    seen = photograph(label(), SPOILINGS[0], Random(1))
    assert seen.size == pytest.approx((76 * PIXELS_PER_MM, 20 * PIXELS_PER_MM), abs=2)


@pytest.mark.parametrize("spoiling", SPOILINGS, ids=lambda spoiling: spoiling.name)
def test_the_same_chance_spoils_alike(spoiling: Spoiling) -> None:
    one, other = (photograph(label(), spoiling, Random(7)) for _time in range(2))
    assert one.tobytes() == other.tobytes()


def test_noise_has_the_deviation_that_is_asked_for() -> None:
    grey = Drawn(image=Image.new("L", (800, 400), 128), dpi=203, symbols=[])
    seen = photograph(grey, Spoiling(name="noise", noise=0.1), Random(3))
    assert ImageStat.Stat(seen).stddev[0] == pytest.approx(25.5, rel=0.03)


def test_low_contrast_leaves_that_share_of_the_greys() -> None:
    greys = set(photograph(label(), Spoiling(name="low", contrast=0.25), Random(3)).tobytes())
    assert min(greys) == pytest.approx(96, abs=1)
    assert max(greys) == pytest.approx(159, abs=1)


def test_scratches_only_take_ink_off() -> None:
    drawn = label()
    ink = [ImageStat.Stat(photograph(drawn, spoiling, Random(3))).sum[0] for spoiling in (SPOILINGS[0], SPOILINGS[8])]
    assert ink[1] > ink[0]
    assert drawn.image.tobytes() == label().image.tobytes()
