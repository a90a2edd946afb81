"""Reading a label as a scanner program does: an independent decoder, then the shop's check digits.

Near the limit of resolution a decoder now and then reads a wrong text that passes the symbology's own check; the check
digits are there to refuse it, and what they pass is what a scan would send.
"""

import zxingcpp
from PIL import Image

from tracker.shop.codes import MisreadError, read_code


def codes_in(image: Image.Image) -> list[str]:
    """Return the codes of the shop that zxing-cpp reads from a picture, each once: a label carries its code twice."""
    found = []
    for barcode in zxingcpp.read_barcodes(image.convert("L")):
        try:
            found.append(str(read_code(barcode.text)))
        except MisreadError:
            continue
    return list(dict.fromkeys(found))
