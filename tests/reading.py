"""Reading a label as a scanner program does: an independent decoder, then the shop's check digits.

Near the limit of resolution a decoder now and then reads a wrong text that passes the symbology's own check; the check
digits are there to refuse it, and what they pass is what a scan would send.
"""

import zxingcpp
from PIL import Image

from tracker.labels.contents import CodeLabel, LabelKind
from tracker.shop.codes import MisreadError, read_code
from tracker.work.label_setup import usual_setup


def picture_of(code: str, dpi: int) -> Image.Image:
    """Return a label that carries a code, grey, as a camera takes it."""
    label = CodeLabel(kind=LabelKind.SLOT, code=code, title="Deck", subtitle="cabinet 101")
    return usual_setup().draw(label, dpi)[0].image.convert("L")


def codes_in(image: Image.Image) -> list[str]:
    """Return the codes of the shop that zxing-cpp reads from a picture, each once: a label carries its code twice."""
    found = []
    for barcode in zxingcpp.read_barcodes(image.convert("L")):
        try:
            found.append(str(read_code(barcode.text)))
        except MisreadError:
            continue
    return list(dict.fromkeys(found))
