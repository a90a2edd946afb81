"""The small outline of a panel on its label: banded edges heavy, joint numbers in their places, an arrow to the front.

L1 is the long edge below, L2 the long edge above, W1 left and W2 right. A joint's number stands where the joint is: at
an edge, or in a frame where another part meets the face. An arrow points to the front of the cabinet; where the face
itself is in front, words say so.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import hypot
from typing import Final

from tracker.labels.canvas import Canvas
from tracker.labels.contents import JointMark, PartLabel
from tracker.labels.faces import Face
from tracker.labels.lettering import Hand

_ARROW_MM: Final = 4.2
_NUMBER_MM: Final = (3.0, 2.6, 2.2)  # the height of a joint's number: the first at which all find a place
_EDGE_MM: Final = 0.9  # from a number to the outline
_APART_MM: Final = 0.9  # between two numbers, their frames in it
_ROUNDING_MM: Final = 1e-6
_GROWTH: Final = 1.1
_DIGIT: Final = 0.6  # the width of a digit over a number's height
LEAST_SHOWN_RATIO: Final = 0.16  # a narrow strip is drawn a little wider, so that its edges can still be told apart


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """Where a number stands in an outline: its left upper corner from the outline's, its width and height, in mm."""

    x: float
    y: float
    wide: float
    high: float


Laid = list[tuple[JointMark, Spot]]


def draw_outline(
    canvas: Canvas,
    label: PartLabel,
    at: tuple[float, float],
    room: tuple[float, float],
    face: Face,
    *,
    words: Mapping[str, str],
) -> None:
    """Draw a panel into ``room``, in mm: a designed one with its joints and front, any other with its edges named."""
    if label.front or label.marks:
        _marked(canvas, label, at, room, face, words)
    else:
        _bare(canvas, label, at, room, face)


def _bare(canvas: Canvas, label: PartLabel, at: tuple[float, float], room: tuple[float, float], face: Face) -> None:
    names = 3.2
    width, height = _shown(label.length_mm, label.width_mm, (room[0] - 4 * names, room[1] - 2.5 * names))
    left, top = at[0] + (room[0] - width) / 2, at[1] + (room[1] - height) / 2
    right, bottom = left + width, top + height
    beside = {
        "L1": ((left + right) / 2 - 2, bottom + 0.6),
        "L2": ((left + right) / 2 - 2, top - names - 0.2),
        "W1": (left - names - 1.6, (top + bottom) / 2 - 1.6),
        "W2": (right + 0.9, (top + bottom) / 2 - 1.6),
    }
    _edges(canvas, label, (left, top, right, bottom))
    for edge in label.edges:
        canvas.write(edge, beside[edge], (5, 3), Hand(face=face, bold=True))


def _edges(canvas: Canvas, label: PartLabel, outline: tuple[float, float, float, float]) -> None:
    left, top, right, bottom = outline
    sides = {
        "L1": ((left, bottom), (right, bottom)),
        "L2": ((left, top), (right, top)),
        "W1": ((left, top), (left, bottom)),
        "W2": ((right, top), (right, bottom)),
    }
    for edge, (start, end) in sides.items():
        canvas.line(start, end, 1.0 if edge in label.edges else 0.2)


def _marked(
    canvas: Canvas,
    label: PartLabel,
    at: tuple[float, float],
    room: tuple[float, float],
    face: Face,
    words: Mapping[str, str],
) -> None:
    inner = (room[0] - 2 * _ARROW_MM, room[1] - 2 * _ARROW_MM)
    width, height, spots = lay_out_marks(label, inner)
    left, top = at[0] + (room[0] - width) / 2, at[1] + (room[1] - height) / 2
    outline = (left, top, left + width, top + height)
    _edges(canvas, label, outline)
    _front_arrow(canvas, label.front, outline, face, words)
    for mark, spot in spots:
        x, y = left + spot.x, top + spot.y
        canvas.write(str(mark.number), (x, y), (spot.wide, spot.high), Hand(face=face, bold=True))
        if mark.side in ("A", "B"):
            canvas.frame((x - 0.4, y - 0.2), (spot.wide + 0.4, spot.high + 0.3), 0.15)


def lay_out_marks(label: PartLabel, room: tuple[float, float]) -> tuple[float, float, Laid]:
    """Return the width and height of a panel's outline and the places of its joints' numbers.

    An outline that is too narrow for its numbers is drawn wider than it is, then the numbers smaller: that each can be
    read comes first. Where not even the whole room holds all, those that find no place are left out.
    """
    best: tuple[float, float, Laid] = (*_shown(label.length_mm, label.width_mm, room), [])
    for high in _NUMBER_MM:
        width, height = _shown(label.length_mm, label.width_mm, room)
        while True:
            spots = _spots(label, width, height, high)
            if len(spots) == len(label.marks):
                return width, height, spots
            if len(spots) > len(best[2]):
                best = (width, height, spots)
            if width >= room[0] and height >= room[1]:
                break
            width, height = min(width * _GROWTH, room[0]), min(height * _GROWTH, room[1])
    return best


def _spots(label: PartLabel, width: float, height: float, high: float) -> Laid:
    """Return a place near its joint for each number that finds one, none over another."""
    found: Laid = []
    for mark in sorted(label.marks, key=lambda mark: mark.side not in ("A", "B")):
        wide = _DIGIT * high * len(str(mark.number)) + 0.4
        x = width * mark.along_mm / label.length_mm - wide / 2
        y = height * (1 - mark.across_mm / label.width_mm) - high / 2
        spot = _free_spot(Spot(x=x, y=y, wide=wide, high=high), [spot for _, spot in found], width, height)
        if spot is not None:
            found.append((mark, spot))
    return found


def _free_spot(wanted: Spot, taken: Sequence[Spot], width: float, height: float) -> Spot | None:
    """Return the place inside the outline nearest to the wanted one where no other number stands."""
    low, right, bottom = _EDGE_MM, width - wanted.wide - _EDGE_MM, height - wanted.high - _EDGE_MM
    if right < low or bottom < low:
        return None
    xs = {low, right, min(max(wanted.x, low), right)}
    xs |= {at for spot in taken for at in (spot.x - wanted.wide - _APART_MM, spot.x + spot.wide + _APART_MM)}
    ys = {low, bottom, min(max(wanted.y, low), bottom)}
    ys |= {at for spot in taken for at in (spot.y - wanted.high - _APART_MM, spot.y + wanted.high + _APART_MM)}
    places = [(x, y) for x in xs for y in ys if low <= x <= right and low <= y <= bottom]
    for x, y in sorted(places, key=lambda place: (hypot(place[0] - wanted.x, place[1] - wanted.y), place)):
        spot = Spot(x=x, y=y, wide=wanted.wide, high=wanted.high)
        if not any(_covers(spot, other) for other in taken):
            return spot
    return None


def _covers(one: Spot, other: Spot) -> bool:
    near = _APART_MM - _ROUNDING_MM
    return (
        one.x < other.x + other.wide + near
        and other.x < one.x + one.wide + near
        and abs(one.y - other.y) < one.high + near
    )


def _front_arrow(
    canvas: Canvas, front: str, outline: tuple[float, float, float, float], face: Face, words: Mapping[str, str]
) -> None:
    """Draw an arrow from the outline to the front, or say that the face itself is in front."""
    left, top, right, bottom = outline
    middle = ((left + right) / 2, (top + bottom) / 2)
    starts = {
        "L1": ((middle[0], bottom + 0.8), (0.0, 1.0)),
        "L2": ((middle[0], top - 0.8), (0.0, -1.0)),
        "W1": ((left - 0.8, middle[1]), (-1.0, 0.0)),
        "W2": ((right + 0.8, middle[1]), (1.0, 0.0)),
    }
    if front not in starts:
        says = words["face_front" if front == "A" else "face_back"]
        canvas.write(says, (middle[0] - 16, bottom + 0.9), (32, _ARROW_MM - 1), Hand(face=face))
        return
    (x, y), (dx, dy) = starts[front]
    canvas.arrow((x, y), (x + dx * (_ARROW_MM - 1), y + dy * (_ARROW_MM - 1)))


def _shown(length: float, width: float, room: tuple[float, float]) -> tuple[float, float]:
    scale = min(room[0] / length, room[1] / width)
    least = LEAST_SHOWN_RATIO * min(room)
    return max(length * scale, least), max(width * scale, least)
