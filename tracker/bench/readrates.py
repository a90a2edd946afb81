"""How often labels are read after what happens to them, and how often a reading is wrong and still passes for a code.

Labels are drawn, spoilt (``spoiling.py``) and read by zxing-cpp as a phone would read them. Every try follows from its
own seed, so the same command gives the same table, however many processes share the work.
"""

import os
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, fields, replace
from datetime import date
from functools import lru_cache
from importlib.metadata import version
from multiprocessing import get_context
from random import Random
from textwrap import fill
from typing import Final

import zxingcpp
from PIL import ImageOps

from tracker.bench.spoiling import PIXELS_PER_MM, SPOILINGS, Spoiling, photograph
from tracker.labels.contents import SAMPLES, BoxLabel, Label
from tracker.labels.drawn import Drawn
from tracker.labels.layout import Layout, draw_label
from tracker.labels.layout_reading import read_layout
from tracker.labels.stocks import Stock
from tracker.labels.symbols import DPIS, NARROWEST_MODULE_MM, draw_code128, modules_of
from tracker.shop.codes import HIGHEST_NUMBER, Code, Kind, MisreadError, read_code
from tracker.shop.sscc import find_sscc
from tracker.work.label_setup import label_link, shipped_layouts, shipped_stocks

WANTED_RATE: Final = 0.99
TRIES_AT_ONCE: Final = 25  # of one drawn label
LIMIT_TRIES_AT_ONCE: Final = 1_000
LIMIT_BLUR_MM: Final = (0.10, 0.15)  # where reading modules of 0.25 mm just ends: wrong texts come about there
LIMIT_NOISE: Final = 0.08
_BOTH: Final = zxingcpp.BarcodeFormats([zxingcpp.BarcodeFormat.Code128, zxingcpp.BarcodeFormat.QRCode])
_LINEAR: Final = zxingcpp.BarcodeFormats(zxingcpp.BarcodeFormat.Code128)
_SSCC: Final = "106141411234567897"  # the example of the GS1 General Specifications
_WITH_SSCC: Final = " with an SSCC"
_SITE: Final = "https://parts.example"  # a link asks more of a QR code than the code alone
_MOST_SPARE_MM: Final = 10.0
Say = Callable[[str], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Tally:
    """What came of some tries: read right by the linear symbol, by the square one, by either; read wrong; passed.

    A wrong reading that passes is one that the check digits let through as another code.
    """

    tries: int = 0
    linear: int = 0
    square: int = 0
    either: int = 0
    wrong: int = 0
    passed: int = 0

    def __add__(self, other: "Tally") -> "Tally":
        return Tally(**{field.name: getattr(self, field.name) + getattr(other, field.name) for field in fields(self)})


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """One square of the table: a default layout at a resolution, spoilt in one way."""

    layout: str
    dpi: int
    spoiling: Spoiling


@dataclass(frozen=True, slots=True, kw_only=True)
class _Task:
    """Some tries of a cell: ``first`` is the number of the first of them."""

    cell: Cell
    seed: int
    first: int
    tries: int


# ---------------------------------------------------------------------------------------------- what is tried
@lru_cache(maxsize=1)
def layouts() -> dict[str, tuple[Layout, Label]]:
    """Return the layouts that come with the program, each with an invented label; boxes a second time with an SSCC."""
    found: dict[str, tuple[Layout, Label]] = {}
    for text in shipped_layouts().values():
        layout = read_layout(text)
        sample = SAMPLES[layout.kind]
        found[layout.name] = (layout, sample)
        if isinstance(sample, BoxLabel):
            found[layout.name + _WITH_SSCC] = (layout, replace(sample, sscc=_SSCC))
    return found


def stocks_for(layout: Layout) -> list[str]:
    """Return the names of the stocks that come with the program on which labels of this layout are printed."""
    stocks = shipped_stocks().values()
    return [stock.name for stock in stocks if stock.holds(layout.size) and _spare(stock, layout) < _MOST_SPARE_MM]


def _spare(stock: Stock, layout: Layout) -> float:
    """What a label of the stock has more than the layout needs, in mm."""
    return max(own - needed for own, needed in zip(stock.label, layout.size, strict=True))


def cells() -> list[Cell]:
    """Return every square of the table."""
    return [
        Cell(layout=name, dpi=dpi, spoiling=spoiling) for name in layouts() for dpi in DPIS for spoiling in SPOILINGS
    ]


# ---------------------------------------------------------------------------------------------- trying
def read_rates(some: Sequence[Cell], *, tries: int, seed: int, say: Say) -> dict[Cell, Tally]:
    """Try each cell so often and return what came of it."""
    tasks = [
        _Task(cell=cell, seed=seed, first=first, tries=min(TRIES_AT_ONCE, tries - first))
        for cell in some
        for first in range(0, tries, TRIES_AT_ONCE)
    ]
    found = {cell: Tally() for cell in some}
    with _processes() as processes:
        for task, tally in zip(tasks, processes.map(_try_cell, tasks, chunksize=4), strict=True):
            found[task.cell] += tally
            if task.first == 0 and task.cell.spoiling is SPOILINGS[0]:
                say(f"{task.cell.layout} at {task.cell.dpi} dpi")
    return found


def misreadings(*, tries: int, seed: int, say: Say) -> Tally:
    """Read the narrowest linear symbol so often, blurred to where reading just ends: there wrong texts come about."""
    tasks = [(seed, first, min(LIMIT_TRIES_AT_ONCE, tries - first)) for first in range(0, tries, LIMIT_TRIES_AT_ONCE)]
    total = Tally()
    with _processes() as processes:
        for tally in processes.map(_try_limit, tasks):
            total += tally
            if total.tries % (10 * LIMIT_TRIES_AT_ONCE) == 0:
                say(f"{total.tries:,} of {tries:,} tries near the limit")
    return total


def _processes() -> ProcessPoolExecutor:
    return ProcessPoolExecutor(max_workers=os.cpu_count(), mp_context=get_context("spawn"))


def _try_cell(task: _Task) -> Tally:
    cell = task.cell
    chance = Random(f"{task.seed} {cell.layout} {cell.dpi} {cell.spoiling.name} {task.first}")  # noqa: S311 - no secret
    layout, sample = layouts()[cell.layout]
    code = str(Code(read_code(sample.code).kind, chance.randrange(HIGHEST_NUMBER + 1)))
    label = replace(sample, code=code, link=label_link(_SITE, "", code))
    drawn = draw_label(layout, label, cell.dpi)
    total = Tally()
    for _number in range(task.tries):
        total += _told(zxingcpp.read_barcodes(photograph(drawn, cell.spoiling, chance), formats=_BOTH), _right(drawn))
    return total


def _right(drawn: Drawn) -> frozenset[str]:
    """The readings that are right: what the symbols say, and the SSCC as a scanner sends it."""
    return frozenset(symbol.text for symbol in drawn.symbols)


def _try_limit(task: tuple[int, int, int]) -> Tally:
    """Photograph one symbol after another, each of another part, near the limit of what can be read."""
    seed, first, tries = task
    chance = Random(f"{seed} limit {first}")  # noqa: S311 - no secret
    dpi, total = DPIS[0], Tally()
    for _number in range(tries):
        text = str(Code(Kind.PART, chance.randrange(HIGHEST_NUMBER + 1)))
        narrow = draw_code128(text, width_mm=(len(modules_of(text)) + 25) * NARROWEST_MODULE_MM, height_mm=9, dpi=dpi)
        drawn = Drawn(image=ImageOps.expand(narrow, border=16, fill=1), dpi=dpi, symbols=())
        blur, noise = chance.uniform(*LIMIT_BLUR_MM), chance.uniform(0, LIMIT_NOISE)
        spoiling = Spoiling(name="limit", blur_mm=blur, noise=noise, turn_deg=3)
        read = zxingcpp.read_barcodes(photograph(drawn, spoiling, chance), formats=_LINEAR)
        total += _told(read, frozenset((text,)))
    return total


def _told(read: Iterable[zxingcpp.Barcode], right: frozenset[str]) -> Tally:
    """Count one try by what was read."""
    linear = square = wrong = passed = False
    for barcode in read:
        meant = barcode.text if barcode.text in right else _meant(barcode.text)
        if meant in right:
            is_square = barcode.format == zxingcpp.BarcodeFormat.QRCode
            square, linear = square or is_square, linear or not is_square
        else:
            wrong, passed = True, passed or meant is not None
    return Tally(tries=1, linear=linear, square=square, either=linear or square, wrong=wrong, passed=passed)


def _meant(text: str) -> str | None:
    """Return the code or the SSCC that a reading passes for, as a station judges it; None for none."""
    try:
        return find_sscc(text) or str(read_code(text))
    except MisreadError:
        return None


# ---------------------------------------------------------------------------------------------- the table
def document(rates: Mapping[Cell, Tally], limit: Tally, *, seed: int, command: str, today: date) -> str:
    """Return the table as a Markdown document."""
    made = (
        f"Made by `{command}` on {today.isoformat()} with zxing-cpp {version('zxing-cpp')} and Pillow "
        f"{version('pillow')}, seed {seed}; do not edit. Labels are drawn as they are printed, spoilt, seen by a "
        f"camera with {PIXELS_PER_MM} pixels a mm and read by zxing-cpp. All of it is computed: no printer, board or "
        "lens took part. The QR codes hold a link, which asks for more modules than the code alone. What stock a "
        "layout is printed on changes nothing of its symbols."
    )
    legend = (
        "Each square: read by the linear symbol / by the QR code / by either, in % of "
        f"{max(tally.tries for tally in rates.values())} tries. **Bold**: under {WANTED_RATE:.0%} by either."
    )
    parts = [
        "# How often labels are read",
        _filled(made),
        _filled(legend),
        "\n".join(_table(rates)),
        "## How labels are spoilt",
        "\n".join(f"- *{spoiling.name}*: {_said(spoiling)}" for spoiling in SPOILINGS),
        "## On which stock",
        "\n".join(f"- {name}: {'; '.join(stocks_for(layout))}" for name, (layout, _label) in layouts().items()),
        "## Wrong readings",
        *_wrong(sum(rates.values(), Tally()), limit),
    ]
    return "\n\n".join(parts) + "\n"


def _filled(paragraph: str) -> str:
    return fill(paragraph, 120, break_long_words=False, break_on_hyphens=False)


def _wrong(table: Tally, limit: Tally) -> Iterator[str]:
    yield _filled(
        f"In the {table.tries:,} tries of the table {table.wrong:,} gave a wrong text, and {table.passed:,} of these "
        "passed the check digits."
    )
    least, most = LIMIT_BLUR_MM
    yield _filled(
        f"Near the limit (the narrowest linear symbol, modules of {NARROWEST_MODULE_MM} mm, {least:.2f} to {most:.2f} "
        f"mm of blur, noise up to {LIMIT_NOISE:.0%}): of {limit.tries:,} tries {limit.linear:,} were read right, "
        f"{limit.wrong:,} gave a wrong text that passed the symbol's own check, and {limit.passed:,} of these passed "
        "our check digits."
    )


def _table(rates: Mapping[Cell, Tally]) -> Iterator[str]:
    names = list(dict.fromkeys(cell.spoiling.name for cell in rates))
    yield f"| layout | dpi | {' | '.join(names)} |"
    yield "|" + " --- |" * (2 + len(names))
    rows: dict[tuple[str, int], list[Tally]] = {}
    for cell, tally in rates.items():
        rows.setdefault((cell.layout, cell.dpi), []).append(tally)
    for (name, dpi), tallies in rows.items():
        yield f"| {name} | {dpi} | {' | '.join(map(_square, tallies))} |"


def _square(tally: Tally) -> str:
    shares = [100 * count / tally.tries for count in (tally.linear, tally.square, tally.either)]
    says = " / ".join(f"{share:.0f}" if share in (0, 100) else f"{share:.1f}".removesuffix(".0") for share in shares)
    return says if tally.either >= WANTED_RATE * tally.tries else f"**{says}**"


def _said(spoiling: Spoiling) -> str:
    long, wide = spoiling.scratch_mm[0] * 2**0.5, spoiling.scratch_mm[1]  # as far to the side as along
    says = [
        (spoiling.blur_mm, f"blur of {spoiling.blur_mm} mm (standard deviation)"),
        (spoiling.noise, f"noise of {spoiling.noise:.0%} of white (standard deviation)"),
        (spoiling.turn_deg, f"turned by up to {spoiling.turn_deg:g}° to either side"),
        (spoiling.contrast < 1, f"{spoiling.contrast:.0%} left between light and dark"),
        (spoiling.scratches, f"{spoiling.scratches} scratches, up to {long:.0f} mm long and {wide} mm wide"),
    ]
    return ", ".join(words for value, words in says if value) or "sampled, nothing more"
