"""Would this label read? It is read back by an independent decoder, zxing-cpp, and its symbols are graded."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, cast

import zxingcpp
from PIL import Image

from tracker.labels.drawn import Drawn, Symbol, SymbolKind
from tracker.labels.grading import Measure, SymbolGrade, grade_linear, grade_qr
from tracker.labels.symbols import MM_PER_INCH
from tracker.shop.errors import Fault, InvalidInputError
from tracker.shop.saying import Said, say
from tracker.shop.sscc import element_string

LEAST_GRADE: Final = 3.0
"""GS1 wants 1.5 of a printed linear symbol, and what is drawn here is not yet printed: a printer's heat, a worn ribbon
and dust cost a grade or more, so 1.5 in the hand takes 3 on paper. (How much they cost: common practice, no source.)"""
_LINEAR: Final = zxingcpp.BarcodeFormats(zxingcpp.BarcodeFormat.Code128)
_SQUARE: Final = zxingcpp.BarcodeFormats(zxingcpp.BarcodeFormat.QRCode)
_IDENTIFIERS: Final = {"code128": "]C0", "gs1-128": "]C1", "qr": "]Q1"}  # ISO/IEC 15424
_UNGRADED: Final = SymbolGrade(grade=0.0, grades={Measure.DECODE: 0.0}, values={Measure.DECODE: 0.0})


@dataclass(frozen=True, slots=True, kw_only=True)
class SymbolVerdict:
    """What came of reading one symbol back: what it read as (nothing: empty), its grade, and why it is refused."""

    symbol: Symbol
    read: str
    graded: SymbolGrade
    reasons: Sequence[Said]


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """Whether a label may be printed, the grade of its worst symbol, and the reasons against it."""

    ok: bool
    grade: float
    reasons: Sequence[Said]
    symbols: Sequence[SymbolVerdict]


def judge(drawn: Drawn) -> Verdict:
    """Read every symbol of a label back at the resolution at which it is printed, and grade it."""
    symbols = [_judge_symbol(drawn, symbol) for symbol in drawn.symbols]
    reasons = [reason for symbol in symbols for reason in symbol.reasons]
    if not symbols:
        reasons = [say("there is nothing to scan on it")]
    grade = min((symbol.graded.grade for symbol in symbols), default=0.0)
    return Verdict(ok=not reasons, grade=grade, reasons=reasons, symbols=symbols)


def must_read(drawn: Drawn) -> Drawn:
    """Return the label, judged. Raises InvalidInputError, with all reasons, for one that would not read."""
    verdict = judge(drawn)
    if verdict.ok:
        return drawn
    code = drawn.symbols[0].text if drawn.symbols else "?"
    raise InvalidInputError(
        say("The label of %(code)s would not read, so nothing is printed.", code=code),
        [Fault(where={"label": code}, what=reason) for reason in verdict.reasons],
    )


def _judge_symbol(drawn: Drawn, symbol: Symbol) -> SymbolVerdict:
    picture = _picture(drawn, symbol)
    if picture is None:
        reason = say("its %(kind)s runs out of the label", kind=_NAMES[symbol.kind])
        return SymbolVerdict(symbol=symbol, read="", graded=_UNGRADED, reasons=[reason])
    barcode = _read(picture, symbol.kind)
    if barcode is None:
        reason = say("its %(kind)s does not read", kind=_NAMES[symbol.kind])
        return SymbolVerdict(symbol=symbol, read="", graded=_UNGRADED, reasons=[reason])
    graded = _grade(picture, barcode, symbol.kind, drawn.dpi)
    return SymbolVerdict(
        symbol=symbol, read=barcode.text, graded=graded, reasons=list(_reasons(symbol, barcode, graded))
    )


def _picture(drawn: Drawn, symbol: Symbol) -> Image.Image | None:
    """Cut a symbol out of its label; None where its place is not wholly on the label, a dot's rounding aside."""
    dots = drawn.dpi / MM_PER_INCH
    left, top = round(symbol.left_mm * dots), round(symbol.top_mm * dots)
    right = round((symbol.left_mm + symbol.width_mm) * dots)
    bottom = round((symbol.top_mm + symbol.height_mm) * dots)
    width, height = drawn.image.size
    if left < 0 or top < 0 or right > width + 1 or bottom > height + 1 or right - left < 2 or bottom - top < 2:
        return None
    return drawn.image.crop((left, top, min(right, width), min(bottom, height))).convert("L")


def _read(picture: Image.Image, kind: SymbolKind) -> zxingcpp.Barcode | None:
    return zxingcpp.read_barcode(
        picture,
        formats=_SQUARE if kind == "qr" else _LINEAR,
        try_invert=False,
        try_downscale=False,
        text_mode=zxingcpp.TextMode.Plain,
    )


def _grade(picture: Image.Image, barcode: zxingcpp.Barcode, kind: SymbolKind, dpi: int) -> SymbolGrade:
    """Grade what was read. A linear symbol is first turned upright, by the quarter turns that the decoder found."""
    if kind == "qr":
        said = cast("Mapping[str, Any]", barcode.extra)
        return grade_qr(picture, version=int(said["Version"]), unused_correction=said.get("UEC"))
    turn = 90 * round(barcode.orientation / 90)
    return grade_linear(picture.rotate(turn, expand=True) if turn else picture, dpi=dpi)


def _reasons(symbol: Symbol, barcode: zxingcpp.Barcode, graded: SymbolGrade) -> Iterator[Said]:
    name = _NAMES[symbol.kind]
    if not _says(symbol, barcode.text):
        yield say("its %(kind)s reads %(read)s, not %(text)s", kind=name, read=barcode.text, text=symbol.text)
    if barcode.symbology_identifier != _IDENTIFIERS[symbol.kind]:
        yield say("its %(kind)s reads as another kind of symbol", kind=name)
    if graded.grade < LEAST_GRADE:
        yield say(
            "its %(kind)s is graded %(grade)s, and at least %(least)s is wanted: %(measure)s",
            kind=name,
            grade=f"{graded.grade:.1f}",
            least=f"{LEAST_GRADE:.1f}",
            measure=_MEASURES[graded.worst],
        )


def _says(symbol: Symbol, read: str) -> bool:
    """Whether a reading is what the symbol should say: in GS1-128 an SSCC stands behind its application identifier."""
    if symbol.kind != "gs1-128":
        return read == symbol.text
    text = symbol.text.translate(_BRACKETS)  # people write them round the identifiers; the symbol has none
    return read in (text, element_string(text))


_BRACKETS: Final = {ord(sign): None for sign in "()"}
_NAMES: Final[Mapping[SymbolKind, Said]] = {
    "code128": say("bar code"),
    "gs1-128": say("GS1-128 bar code"),
    "qr": say("QR code"),
}
_MEASURES: Final[Mapping[Measure, Said]] = {
    Measure.DECODE: say("it does not decode by the standard's own method"),
    Measure.CONTRAST: say("light and dark are too much alike"),
    Measure.DARKNESS: say("the dark is too light"),
    Measure.EDGES: say("two neighbouring bars and spaces are too much alike"),
    Measure.MODULATION: say("narrow bars are paler than wide ones"),
    Measure.DEFECTS: say("there are spots or gaps in it"),
    Measure.DECODABILITY: say("widths are not even"),
    Measure.QUIET_ZONES: say("there is too little white around it"),
    Measure.UNUSED_CORRECTION: say("parts of it read wrong and had to be mended"),
}
