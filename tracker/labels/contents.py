"""What each kind of label says, as values; where it stands is a layout's business (``layout.py``). Lengths in mm."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from types import MappingProxyType
from typing import ClassVar, Final

from tracker.shop.codes import Code, Kind
from tracker.shop.lengths import Units
from tracker.shop.lifting import Handling
from tracker.shop.written import length_number, mass_text, size_text

Texts = Mapping[str, str]
_LIFTING: Final = {Handling.TWO_PEOPLE: "two_people", Handling.TROLLEY: "trolley"}  # names of a layout's words


class LabelKind(StrEnum):
    """What a label names."""

    PART = "part"
    BOX = "box"
    BOARD = "board"
    LOAD = "load"
    SLOT = "slot"
    STATION = "station"
    CARD = "card"
    BADGE = "badge"


@dataclass(frozen=True, slots=True, kw_only=True)
class JointMark:
    """A joint's number on a panel: on which side, and where in its length and width, in mm."""

    number: int
    side: str
    along_mm: float
    across_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PartLabel:
    """What the label of a part says. ``front`` is the side that looks to the front, empty when it is not known.

    ``grain`` says that the board has one: it runs along the length. ``link`` is what a phone opens.
    """

    kind: ClassVar[LabelKind] = LabelKind.PART
    code: str
    job: str
    cabinet: str
    name: str
    material: str
    length_mm: float
    width_mm: float
    thickness_mm: float
    edges: Sequence[str]
    route: Sequence[str]
    box: str
    urgent: bool = False
    marks: Sequence[JointMark] = ()
    front: str = ""
    grain: bool = False
    room: str = ""
    drop: str = ""
    link: str = ""

    def texts(self, units: Units) -> Texts:
        """What a layout may name, each as it is written."""
        return {
            "code": self.code,
            "job": self.job,
            "cabinet": self.cabinet,
            "room": self.room,
            "drop": self.drop,
            "name": self.name,
            "material": self.material,
            "size": size_text((self.length_mm, self.width_mm, self.thickness_mm), units),
            "length": length_number(self.length_mm, units),
            "width": length_number(self.width_mm, units),
            "thickness": length_number(self.thickness_mm, units),
            "edges": " ".join(self.edges),
            "route": " › ".join(self.route),
            "box": self.box,
            "urgent": "yes" if self.urgent else "",
            "grain": "yes" if self.grain else "",
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardLabel:
    """What the label of a board says; ``pieces`` are the corner and the size of each part on it, in mm."""

    kind: ClassVar[LabelKind] = LabelKind.BOARD
    code: str
    job: str
    number: int
    of: int
    stock: str
    material: str
    length_mm: float
    width_mm: float
    thickness_mm: float
    pieces: Sequence[tuple[float, float, float, float]]
    link: str = ""

    def texts(self, units: Units) -> Texts:
        """What a layout may name, each as it is written."""
        return {
            "code": self.code,
            "job": self.job,
            "number": str(self.number),
            "of": str(self.of),
            "stock": self.stock,
            "material": self.material,
            "size": size_text((self.length_mm, self.width_mm, self.thickness_mm), units),
            "parts": str(len(self.pieces)),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxLabel:
    """What the label of a box says. ``sscc`` is its Serial Shipping Container Code where the shop gives such."""

    kind: ClassVar[LabelKind] = LabelKind.BOX
    code: str
    job: str
    customer: str
    due: date
    name: str
    number: int
    of: int
    cabinets: Sequence[str]
    parts: int
    mass_kg: float
    handling: Handling
    rooms: Sequence[str] = ()
    drop: str = ""
    sscc: str = ""
    link: str = ""

    def texts(self, units: Units) -> Texts:
        """What a layout may name, each as it is written; ``bars`` is what the linear symbol says."""
        return {
            "code": self.code,
            "job": self.job,
            "customer": self.customer,
            "due": self.due.isoformat(),
            "name": self.name,
            "number": str(self.number),
            "of": str(self.of),
            "cabinets": ", ".join(self.cabinets),
            "rooms": ", ".join(self.rooms),
            "drop": self.drop,
            "parts": str(self.parts),
            "mass": mass_text(self.mass_kg, units, digits=1),
            "lifting": _LIFTING.get(self.handling, ""),
            "sscc": self.sscc,
            "bars": f"(00) {self.sscc}" if self.sscc else self.code,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class CodeLabel:
    """What the label of a load, a slot, a station, a command card or a badge says."""

    kind: LabelKind
    code: str
    title: str
    subtitle: str = ""
    link: str = ""

    def texts(self, _units: Units) -> Texts:
        """What a layout may name, each as it is written."""
        return {"code": self.code, "title": self.title, "subtitle": self.subtitle}


Label = PartLabel | BoardLabel | BoxLabel | CodeLabel


def _plain(kind: LabelKind, code: Kind, title: str, subtitle: str) -> CodeLabel:
    return CodeLabel(kind=kind, code=str(Code(code, 7)), title=title, subtitle=subtitle)


# Invented, for previews of a layout and for asking what a layout of each kind may name.
SAMPLES: Final[Mapping[LabelKind, Label]] = MappingProxyType(
    {
        LabelKind.PART: PartLabel(
            code=str(Code(Kind.PART, 1234)),
            job="J-1042",
            cabinet="301-1",
            name="Left end",
            material="white melamine particle board",
            length_mm=876.3,
            width_mm=609.6,
            thickness_mm=19.05,
            edges=("L1",),
            route=("cut", "machine", "band", "pack"),
            box="1",
            marks=(
                JointMark(number=7, side="A", along_mm=30, across_mm=560),
                JointMark(number=13, side="A", along_mm=380, across_mm=560),
                JointMark(number=24, side="A", along_mm=260, across_mm=300),
                JointMark(number=11, side="A", along_mm=140, across_mm=60),
                JointMark(number=15, side="A", along_mm=450, across_mm=60),
                JointMark(number=3, side="W2", along_mm=876, across_mm=90),
            ),
            front="L1",
            grain=True,
        ),
        LabelKind.BOX: BoxLabel(
            code=str(Code(Kind.BOX, 77)),
            job="J-1042",
            customer="Larch Court (invented)",
            due=date(2027, 3, 5),
            name="101",
            number=3,
            of=7,
            cabinets=("101", "102"),
            parts=12,
            mass_kg=31.2,
            handling=Handling.TWO_PEOPLE,
        ),
        LabelKind.BOARD: BoardLabel(
            code=str(Code(Kind.BOARD, 12)),
            job="J-1042",
            number=2,
            of=5,
            stock="whole board",
            material="white melamine particle board",
            length_mm=2800,
            width_mm=2070,
            thickness_mm=19,
            pieces=((10, 10, 876, 610), (900, 10, 876, 610), (1790, 10, 900, 600), (10, 640, 1200, 580)),
        ),
        LabelKind.LOAD: _plain(LabelKind.LOAD, Kind.LOAD, "LOAD 2027-03-05", "load: scan it before its boxes"),
        LabelKind.SLOT: _plain(LabelKind.SLOT, Kind.SLOT, "CART-7", "slot: scan it after the part"),
        LabelKind.STATION: _plain(LabelKind.STATION, Kind.STATION, "SAW-1", "station: cut"),
        LabelKind.CARD: _plain(LabelKind.CARD, Kind.COMMAND, "UNDO", "takes this station's last scan back"),
        LabelKind.BADGE: _plain(LabelKind.BADGE, Kind.WORKER, "Robin (invented)", "badge: scan it at the station"),
    }
)


def texts_of(kind: LabelKind) -> frozenset[str]:
    """The names that a layout of this kind may use."""
    return frozenset(SAMPLES[kind].texts(Units.MM))
