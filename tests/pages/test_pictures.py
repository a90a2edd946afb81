"""Codes in photos, and what is no photo."""

import struct
import zlib
from io import BytesIO

import pytest
from PIL import Image, ImageFilter

from tests.reading import picture_of
from tracker.pages.scanning.pictures import MAX_IMAGE_BYTES, codes_in_picture
from tracker.shop.codes import part_code
from tracker.shop.errors import InvalidInputError, TooLargeError


def label(code: str) -> Image.Image:
    return picture_of(code, 300)


def jpeg(picture: Image.Image) -> bytes:
    buffer = BytesIO()
    picture.save(buffer, "JPEG", quality=80)
    return buffer.getvalue()


def photo(*codes: str) -> Image.Image:
    """A grey bench with labels on it, a little turned and not quite sharp, as a phone sees them."""
    bench = Image.new("L", (1600, 1200), 120)
    for place, code in enumerate(codes):
        turned = label(code).rotate(7, expand=True, fillcolor=120)
        bench.paste(turned, (150, 60 + 560 * place))
    return bench.filter(ImageFilter.GaussianBlur(1.2))


def test_the_code_of_a_label_in_a_photo_is_read() -> None:
    assert codes_in_picture(jpeg(photo(part_code(1)))) == [part_code(1)]


def test_two_labels_in_one_photo_are_both_told_so_that_nobody_guesses() -> None:
    assert codes_in_picture(jpeg(photo(part_code(1), part_code(2)))) == [part_code(1), part_code(2)]


def test_a_picture_without_a_label_has_no_code() -> None:
    assert codes_in_picture(jpeg(Image.new("RGB", (640, 480), "grey"))) == []


def test_a_code_whose_check_digits_are_wrong_does_not_count() -> None:
    right = part_code(1)
    wrong = right[:-1] + ("0" if right[-1] != "0" else "1")
    assert codes_in_picture(jpeg(label(wrong))) == []


@pytest.mark.parametrize("data", [b"", b"P00000001", b"GIF89a" + bytes(100), jpeg(photo())[:500]])
def test_what_is_no_whole_jpeg_or_png_is_refused(data: bytes) -> None:
    with pytest.raises(InvalidInputError, match="cannot be read"):
        codes_in_picture(data)


def test_a_gif_is_refused_though_pillow_could_read_it() -> None:
    buffer = BytesIO()
    Image.new("L", (10, 10)).save(buffer, "GIF")
    with pytest.raises(InvalidInputError):
        codes_in_picture(buffer.getvalue())


def png_that_says(width: int, height: int) -> bytes:
    """A PNG's head alone (PNG specification, 5.2 and 11.2.2): a few bytes that ask for a huge picture."""
    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    chunks = [(b"IHDR", head), (b"IDAT", zlib.compress(b"\0" * 100)), (b"IEND", b"")]
    body = b"".join(struct.pack(">I", len(d)) + n + d + struct.pack(">I", zlib.crc32(n + d)) for n, d in chunks)
    return b"\x89PNG\r\n\x1a\n" + body


@pytest.mark.parametrize("size", [(4000, 2501), (12_000, 9_000), (60_000, 60_000)])
def test_a_picture_of_too_many_pixels_is_refused_before_it_is_loaded(size: tuple[int, int]) -> None:
    with pytest.raises(TooLargeError, match="10 million pixels"):
        codes_in_picture(png_that_says(*size))


def test_too_many_bytes_are_refused_unread() -> None:
    with pytest.raises(TooLargeError, match="8 MB"):
        codes_in_picture(bytes(MAX_IMAGE_BYTES + 1))
