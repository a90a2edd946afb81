"""QR codes (ISO/IEC 18004) as modules; zxing-cpp encodes, the drawing is ours, at whole printer dots."""

from functools import lru_cache
from typing import Any, Final

import zxingcpp
from PIL import Image

from tracker.labels.symbols import MM_PER_INCH, NARROWEST_MODULE_MM

WIDEST_MODULE_MM: Final = 1.0


@lru_cache(maxsize=256)
def qr_rows(text: str, *, level: str = "M") -> tuple[bytes, ...]:
    """Return the modules of a QR code row by row, 0 for black, its quiet zone of four modules around it."""
    image: Any = zxingcpp.create_barcode(text, zxingcpp.BarcodeFormat.QRCode, ec_level=level).to_image(1, False, True)
    view: Any = memoryview(image)
    return tuple(bytes(row) for row in view.tolist())


def draw_qr(text: str, *, side_mm: float, dpi: int) -> Image.Image:
    """Draw a QR code with its quiet zone, as large as ``side_mm`` allows, one bit a dot.

    Raises ValueError when a module would be narrower than 0.25 mm.
    """
    rows = qr_rows(text)
    across = len(rows)
    dots = int(min(side_mm / across, WIDEST_MODULE_MM) * dpi / MM_PER_INCH + 1e-9)
    if dots * MM_PER_INCH / dpi < NARROWEST_MODULE_MM:
        raise ValueError(f"a QR code of {across} modules does not fit {side_mm} mm at {dpi} dpi")
    image = Image.frombytes("L", (across, across), b"".join(rows)).convert("1", dither=Image.Dither.NONE)
    return image.resize((across * dots, across * dots), Image.Resampling.NEAREST)
