"""The fonts that labels can be set in: the one that comes with the program, and those in the shop's own folder."""

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Final

from fontTools.ttLib import TTFont, TTLibError
from PIL import ImageFont, features

_FOLDER: Final = Path(__file__).parent / "fonts"
_SUFFIXES: Final = (".ttf", ".otf")
PLAIN: Final = "sans"


@dataclass(frozen=True, slots=True, kw_only=True)
class Face:
    """A font in its two weights, by their files; a font without a bold file is its own bold."""

    name: str
    regular: Path
    bold: Path

    def file(self, *, bold: bool) -> Path:
        return self.bold if bold else self.regular


SANS: Final = Face(name=PLAIN, regular=_FOLDER / "DejaVuSans.ttf", bold=_FOLDER / "DejaVuSans-Bold.ttf")


def known_faces(folder: Path | None = None) -> dict[str, Face]:
    """Return the fonts by name: ``sans``, and each ``name.ttf`` (with its ``name-bold.ttf``) of a folder that reads."""
    found = {SANS.name: SANS}
    for file in sorted(folder.iterdir()) if folder is not None and folder.is_dir() else ():
        name = file.stem.lower()
        if file.suffix.lower() in _SUFFIXES and not name.endswith("-bold") and _reads(file):
            bold = next((each for each in _bolds(file) if each.is_file() and _reads(each)), file)
            found[name] = Face(name=name, regular=file, bold=bold)
    return found


def _bolds(file: Path) -> list[Path]:
    return [file.with_stem(f"{file.stem}{ending}") for ending in ("-bold", "-Bold")]


def _reads(file: Path) -> bool:
    try:
        return bool(letters_of(file))
    except (OSError, TTLibError):
        return False


@lru_cache(maxsize=32)
def letters_of(file: Path) -> frozenset[int]:
    """Return the code points of a font's letters. Raises OSError or TTLibError for what is no font."""
    with file.open("rb") as stream, TTFont(stream, lazy=True, fontNumber=0) as font:
        return frozenset(font.getBestCmap() or ())


@lru_cache(maxsize=512)
def sized(file: Path, size: int, *, shaped: bool) -> ImageFont.FreeTypeFont:
    """Return a font at a size in dots; ``shaped`` for scripts whose letters join, change order or run to the left."""
    engine = ImageFont.Layout.RAQM if shaped else ImageFont.Layout.BASIC
    return ImageFont.truetype(file, size, layout_engine=engine)


@lru_cache(maxsize=1)
def can_shape() -> bool:
    """Whether this machine has what joined and leftward scripts need: Raqm, which comes with Pillow, and FriBiDi."""
    return bool(features.check("raqm") and features.check("fribidi"))
