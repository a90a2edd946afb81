"""QR codes against ISO/IEC 18004 and an independent decoder, zxing-cpp."""

import pytest
from PIL import ImageOps

from tests.reading import codes_in
from tracker.labels.qr import draw_qr
from tracker.labels.symbols import DPIS
from tracker.shop.codes import part_code

QUIET_ZONE = 4  # modules on each side: ISO/IEC 18004
SMALLEST = 21  # modules of version 1 across: the same


@pytest.mark.parametrize("dpi", DPIS)
def test_a_code_has_four_white_modules_on_each_side(dpi: int) -> None:
    image = draw_qr(part_code(1234), side_mm=15, dpi=dpi)
    assert codes_in(image) == [part_code(1234)]
    dots, rest = divmod(image.width, SMALLEST + 2 * QUIET_ZONE)
    assert rest == 0
    edge = QUIET_ZONE * dots
    assert ImageOps.invert(image.convert("L")).getbbox() == (edge, edge, image.width - edge, image.height - edge)
