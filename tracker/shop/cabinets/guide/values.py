"""What a guide says: its parts, the bag, and its steps. Masses in kg, lengths in mm.

Letters name parts that are alike; numbers are those of the joints and stand on the panels' labels.
"""

from dataclasses import dataclass

from tracker.shop.cabinets.assembly import STILL, Move, Posture
from tracker.shop.cabinets.joints import Item, Joint
from tracker.shop.cabinets.panels import Vector
from tracker.shop.errors import InvalidInputError, fault_at
from tracker.shop.lengths import Units
from tracker.shop.lifting import Handling
from tracker.shop.saying import say


@dataclass(frozen=True, slots=True, kw_only=True)
class PartRow:
    """Parts that are alike: their letter, how many, the name on their labels, what that is, and the numbers on them."""

    letter: str
    name: str
    plain: str
    count: int
    size: str
    mass_kg: float
    numbers: tuple[int, ...]
    ids: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One step. Raises InvalidInputError when it has no number, title or sentence.

    ``moving`` are the parts that are put in now, over all steps each part once; ``standing`` those that are there.
    ``body`` are the parts that the drawing moves along ``approach`` (the first of equal units, or a finished drawer) or
    that are pushed by ``pushes``; where nothing moves, ``shown`` are the parts to look at. ``numbers`` are those of the
    joints that the step closes, ``closed`` the joints that the drawing shows being closed; ``fitted`` are those of
    which the step fits the half that one panel carries. A step is the first until its guide counts it.
    """

    title: str
    sentences: tuple[str, ...]
    number: int = 1
    unit: str = ""
    cautions: tuple[str, ...] = ()
    moving: tuple[str, ...] = ()
    standing: tuple[str, ...] = ()
    body: tuple[str, ...] = ()
    shown: tuple[str, ...] = ()
    approach: Vector = STILL
    pushes: tuple[Move, ...] = ()
    numbers: tuple[int, ...] = ()
    closed: tuple[Joint, ...] = ()
    fitted: tuple[Joint, ...] = ()
    items: tuple[Item, ...] = ()
    posture: Posture = Posture.STANDING
    from_behind: bool = False

    def __post_init__(self) -> None:
        if self.number < 1 or not self.title.strip() or not self.sentences:
            what = "wanted: a number from 1, a title and a sentence or more"
            raise InvalidInputError("A step says nothing.", [fault_at("step", what)])


@dataclass(frozen=True, slots=True, kw_only=True)
class Guide:
    """How one cabinet goes together. ``bag`` are the items that come in the bag; ``lifted_by`` says who moves it."""

    parts: tuple[PartRow, ...]
    bag: tuple[Item, ...]
    steps: tuple[Step, ...]
    cautions: tuple[str, ...]
    mass_kg: float
    mass: str
    lifted_by: Handling
    units: Units

    @property
    def size_unit(self) -> str:
        return "mm" if self.units is Units.MM else say("inches")

    @property
    def letters(self) -> dict[str, str]:
        """The letter of each part, by part id."""
        return {own: row.letter for row in self.parts for own in row.ids}
