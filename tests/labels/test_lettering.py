"""Letters: any script that the font holds is written as it is read, and what cannot be written is told."""

from pathlib import Path
from shutil import copy

import pytest
from PIL import Image

from tracker.labels.faces import SANS, can_shape, known_faces
from tracker.labels.lettering import Hand, Place, drawable, needs_shaping, write

PLACE = Place(10, 10, 300, 40)


def written(text: str, **hand: object) -> tuple[Image.Image, str]:
    image = Image.new("1", (320, 60), 1)
    lacking = write(image, text, PLACE, dot_mm=0.125, hand=Hand(face=SANS, **hand))  # type: ignore[arg-type]
    return image, lacking


def ink_of(image: Image.Image) -> tuple[int, int, int, int]:
    box = Image.eval(image.convert("L"), lambda value: 255 - value).getbbox()
    assert box is not None
    return box


@pytest.mark.parametrize("text", ["Türgriff", "Дверь", "Πόρτα", "İğ", "½ × 19"])
def test_what_the_font_holds_is_drawn(text: str) -> None:
    image, lacking = written(text)
    assert lacking == ""
    assert ink_of(image)[0] >= 9, "but for a dot by which a letter may lean out"


def test_a_letter_that_the_font_lacks_is_an_open_square_and_is_told_once() -> None:
    shown, lacking = drawable("门 door 门🚪", SANS, bold=False)
    assert shown == "□ door □□"
    assert lacking == "门🚪"
    assert written("门")[1] == "门"


def test_marks_that_only_steer_are_left_out() -> None:
    assert drawable("a\u202eb\u200b", SANS, bold=False) == ("ab", "")


@pytest.mark.parametrize("text", ["باب خشبي", "דלת"])
def test_a_leftward_script_is_joined_and_runs_to_the_left(text: str) -> None:
    """Where the machine lacks FriBiDi it is told as lacking instead; CI has it (Unicode UAX 9)."""
    assert needs_shaping(text)
    if not can_shape():
        pytest.fail("this machine lacks libfribidi0: see the README")
    assert drawable(text, SANS, bold=False) == (text, "")
    # In a leftward text the last letter read stands farthest left: a full stop at the end stands before the word.
    whole, ended = written(text)[0], written(f"{text} ...")[0]
    bottom = ended.crop((10, 0, 30, 60))
    assert ink_of(ended)[2] > ink_of(whole)[2] - 60
    assert ink_of(bottom)[1] > 25, "the dots are at the left end, low"


def test_words_stand_left_in_the_middle_or_right_of_their_place() -> None:
    left, middle, right = (ink_of(written("ab", align=align)[0]) for align in ("left", "middle", "right"))
    assert left[0] < middle[0] < right[0]
    assert right[2] <= 310
    assert abs((middle[0] + middle[2]) / 2 - 160) <= 3


def test_the_shops_own_fonts_are_known_by_their_files_names(tmp_path: Path) -> None:
    copy(SANS.regular, tmp_path / "Plain.ttf")
    copy(SANS.bold, tmp_path / "Plain-bold.ttf")
    copy(SANS.regular, tmp_path / "light.ttf")
    (tmp_path / "broken.ttf").write_bytes(b"no font")
    (tmp_path / "note.txt").write_text("no font")
    faces = known_faces(tmp_path)
    assert set(faces) == {"sans", "plain", "light"}
    assert faces["plain"].bold.name == "Plain-bold.ttf"
    assert faces["light"].bold == faces["light"].regular


def test_a_shop_without_a_folder_of_fonts_has_the_one_that_comes_with_the_program(tmp_path: Path) -> None:
    assert set(known_faces(tmp_path / "none")) == {"sans"}
