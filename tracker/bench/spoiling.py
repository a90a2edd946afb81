"""What happens to a label before a camera reads it: blur, noise, a turn, little contrast, scratches.

Everything follows from a seed. The camera samples 8 pixels a mm, about what a phone does from a hand's breadth away
(common practice, no source).
"""

from dataclasses import dataclass
from random import Random
from statistics import NormalDist
from typing import Final

from PIL import Image, ImageChops, ImageDraw, ImageFilter

from tracker.labels.drawn import Drawn
from tracker.labels.symbols import MM_PER_INCH

PIXELS_PER_MM: Final = 8
_WHITE: Final = 255
_MIDDLE: Final = 128


@dataclass(frozen=True, slots=True, kw_only=True)
class Spoiling:
    """How a label is spoilt. Each figure is the most there is of it; where a range is meant, chance chooses within it.

    ``blur_mm`` is the standard deviation of a Gaussian, ``noise`` that of each pixel as a share of full white;
    ``turn_deg`` is to either side; ``contrast`` is what is left between light and dark; scratches take the ink off.
    """

    name: str
    blur_mm: float = 0.0
    noise: float = 0.0
    turn_deg: float = 0.0
    contrast: float = 1.0
    scratches: int = 0
    scratch_mm: tuple[float, float] = (12.0, 0.4)  # long and wide


SPOILINGS: Final = (
    Spoiling(name="sharp"),
    Spoiling(name="mild blur", blur_mm=0.06),
    Spoiling(name="blur", blur_mm=0.12),
    Spoiling(name="strong blur", blur_mm=0.19),
    Spoiling(name="noise", blur_mm=0.06, noise=0.12),
    Spoiling(name="turned 5°", blur_mm=0.06, turn_deg=5),
    Spoiling(name="turned 30°", blur_mm=0.06, turn_deg=30),
    Spoiling(name="low contrast", blur_mm=0.06, noise=0.02, contrast=0.25),
    Spoiling(name="scratches", blur_mm=0.06, scratches=6),
    Spoiling(name="all of it, mildly", blur_mm=0.08, noise=0.05, turn_deg=5, contrast=0.5, scratches=2),
)
MILD: Final = SPOILINGS[1]


def photograph(drawn: Drawn, spoiling: Spoiling, chance: Random) -> Image.Image:
    """Return what a camera sees of a label: greys, PIXELS_PER_MM pixels a mm."""
    picture = drawn.image.convert("L")
    if spoiling.scratches:
        _scratch(picture, spoiling, drawn.dpi / MM_PER_INCH, chance)
    picture = _sampled(picture, drawn.dpi, chance)
    if spoiling.turn_deg:
        angle = chance.uniform(-spoiling.turn_deg, spoiling.turn_deg)
        picture = picture.rotate(angle, Image.Resampling.BICUBIC, expand=True, fillcolor=_WHITE)
    if spoiling.blur_mm:
        picture = picture.filter(ImageFilter.GaussianBlur(spoiling.blur_mm * PIXELS_PER_MM))
    if spoiling.contrast < 1:
        dark = _WHITE * (1 - spoiling.contrast) / 2
        picture = picture.point([round(dark + spoiling.contrast * grey) for grey in range(_WHITE + 1)])
    return _noisy(picture, spoiling.noise, chance) if spoiling.noise else picture


def _scratch(picture: Image.Image, spoiling: Spoiling, dots: float, chance: Random) -> None:
    draw = ImageDraw.Draw(picture)
    long, wide = (mm * dots for mm in spoiling.scratch_mm)
    for _number in range(spoiling.scratches):
        x, y = chance.uniform(0, picture.width), chance.uniform(0, picture.height)
        dx, dy = chance.uniform(-long, long), chance.uniform(-long, long)
        draw.line((x, y, x + dx, y + dy), fill=_WHITE, width=max(1, round(wide)))


def _sampled(picture: Image.Image, dpi: int, chance: Random) -> Image.Image:
    """Bring a label onto the camera's pixels, which lie by chance against the printer's dots."""
    pixel = dpi / MM_PER_INCH / PIXELS_PER_MM  # in dots
    size = (int(picture.width / pixel) - 1, int(picture.height / pixel) - 1)
    left, top = chance.uniform(0, pixel), chance.uniform(0, pixel)
    box = (left, top, left + size[0] * pixel, top + size[1] * pixel)
    return picture.resize(size, Image.Resampling.BOX, box=box)


def _noisy(picture: Image.Image, deviation: float, chance: Random) -> Image.Image:
    bell = NormalDist(_MIDDLE, deviation * _WHITE)
    table = bytes(min(max(round(bell.inv_cdf((byte + 0.5) / 256)), 0), _WHITE) for byte in range(256))
    noise = chance.randbytes(picture.width * picture.height).translate(table)
    return ImageChops.add(picture, Image.frombytes("L", picture.size, noise), offset=-_MIDDLE)
