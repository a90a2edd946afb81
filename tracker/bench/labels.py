"""Labels at speed: into a PDF beside bare drawing with Pillow, and ten thousand in bounded memory."""

import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from tempfile import TemporaryFile
from typing import Final, cast

from PIL import Image, ImageDraw

from tracker.bench.figure import Figure
from tracker.labels.contents import SAMPLES, LabelKind, PartLabel
from tracker.labels.documents import write_pdf
from tracker.labels.faces import SANS, sized
from tracker.labels.symbols import modules_of
from tracker.shop.codes import part_code
from tracker.work.label_setup import usual_setup

LABELS: Final = 1_000
MANY: Final = 10_000
DPI: Final = 203
_NAMES: Final = ("Left end", "Right end", "Deck", "Top", "Toe kick", "Back", "Shelf", "Drawer front")


def figures() -> Iterator[Figure]:
    """Measure both; no two of the labels are equal."""
    print_many(20)  # layouts and fonts are read once, as in a service that runs
    bare = LABELS / _seconds(lambda: [draw_barely(label) for label in _labels(LABELS)])
    rate = LABELS / _seconds(lambda: print_many(LABELS))
    yield Figure(
        what="part labels into a PDF",
        value=rate,
        unit="labels a second",
        floor=bare,
        wanted="300 a second",
        met=rate >= 300,
    )
    program = (
        f"from tracker.bench.labels import print_many; print_many({MANY}); "
        "from tracker.bench.figure import peak_kilobytes; print(peak_kilobytes())"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)  # noqa: S603
    megabytes = int(done.stdout) / 1024
    what = f"peak memory of {MANY:,} labels"
    yield Figure(what=what, value=megabytes, unit="MB", wanted="under 300 MB", met=megabytes < 300)


def print_many(count: int) -> int:
    """Write that many part labels as a PDF, each read back as when it is printed; return its size in bytes."""
    setup = usual_setup()
    with TemporaryFile() as document:
        write_pdf((setup.draw_to_print(label, DPI) for label in _labels(count)), document, title="Bench")
        return document.tell()


def _labels(count: int) -> Iterator[PartLabel]:
    sample = cast("PartLabel", SAMPLES[LabelKind.PART])
    for number in range(count):
        yield replace(
            sample,
            code=part_code(number),
            cabinet=str(100 + number // 9),
            name=_NAMES[number % len(_NAMES)],
            length_mm=300 + number % 600,
            width_mm=250 + number % 370,
            box=str(number // 9),
        )


def draw_barely(label: PartLabel) -> Image.Image:
    """The floor: the same words at fixed sizes, the same bars and a rectangle, drawn with Pillow alone."""
    image = Image.new("1", (799, 400), 1)
    draw = ImageDraw.Draw(image)
    texts = (label.cabinet, label.name, f"{label.length_mm} x {label.width_mm}", label.material, label.box, label.job)
    for row, text in enumerate((*texts, label.code)):
        draw.text((24, 10 + 40 * row), text, font=sized(SANS.regular, 30, shaped=False), fill=0)
    draw.rectangle((500, 20, 780, 220), outline=0, width=2)
    for at, module in enumerate(modules_of(label.code)):
        if module == "1":
            draw.rectangle((40 + 3 * at, 300, 42 + 3 * at, 368), fill=0)
    return image


def _seconds(work: Callable[[], object]) -> float:
    started = time.perf_counter()
    work()
    return time.perf_counter() - started
