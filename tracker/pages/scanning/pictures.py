"""The code in a photo or a frame of a device's camera.

A picture comes from outside: its bytes, its format and its size are checked before a single pixel is decoded. Reading
is zxing-cpp's; what it reads counts only with the shop's own check digits.
"""

from collections.abc import Callable, Sequence
from io import BytesIO
from typing import Final

import zxingcpp
from PIL import Image, UnidentifiedImageError

from tracker.shop.codes import MisreadError, read_code
from tracker.shop.errors import InvalidInputError, TooLargeError, fault_at
from tracker.shop.saying import say
from tracker.shop.sscc import find_sscc

MAX_IMAGE_PIXELS: Final = 10_000_000
MAX_IMAGE_BYTES: Final = 8_000_000
FORMATS: Final = ("JPEG", "PNG")


def codes_in_picture(data: bytes) -> list[str]:
    """Return the different codes of the shop that stand in a JPEG or PNG, in no order; an empty list when none does.

    SSCCs count only where no code of the shop stands beside them: a box's label carries both.
    Raises TooLargeError for more than MAX_IMAGE_BYTES or MAX_IMAGE_PIXELS, InvalidInputError for what is no picture.
    """
    texts = [barcode.text for barcode in zxingcpp.read_barcodes(_grey(data))]
    return _passing(texts, lambda text: str(read_code(text))) or _passing(texts, find_sscc)


def _passing(texts: Sequence[str], read: Callable[[str], str | None]) -> list[str]:
    found = set()
    for text in texts:
        try:
            found.add(read(text))
        except MisreadError:
            continue  # a supplier's label, or a misread one
    return sorted(code for code in found if code)


def _grey(data: bytes) -> Image.Image:
    if len(data) > MAX_IMAGE_BYTES:
        raise TooLargeError(say("The picture has more than %(most)s MB.", most=MAX_IMAGE_BYTES // 1_000_000))
    try:
        opened = Image.open(BytesIO(data), formats=FORMATS)  # reads the header alone
    except (Image.DecompressionBombError, Image.DecompressionBombWarning):
        raise _too_many() from None
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError):
        raise _no_picture() from None
    if opened.width * opened.height > MAX_IMAGE_PIXELS:
        raise _too_many()
    try:
        return opened.convert("L")
    except (OSError, ValueError, SyntaxError):
        raise _no_picture() from None


def _too_many() -> TooLargeError:
    return TooLargeError(say("The picture has more than %(most)s million pixels.", most=MAX_IMAGE_PIXELS // 1_000_000))


def _no_picture() -> InvalidInputError:
    fault = fault_at("picture", "a whole JPEG or PNG is wanted")
    return InvalidInputError(say("The picture cannot be read."), [fault])
