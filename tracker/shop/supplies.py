"""What a shop says of itself in TOML: its cartons, its boards, its limit on the scale.

Lengths in ``units`` (mm or in), masses in kg.
"""

from dataclasses import dataclass, field, replace
from typing import Final

from tracker.shop.boxing.values import Carton, PackingRules
from tracker.shop.cutting.values import SAME_THICKNESS_MM, CuttingRules, Stock
from tracker.shop.job_boxes import Packing
from tracker.shop.lifting import LiftingMarks
from tracker.shop.saying import say
from tracker.shop.toml_text import read_toml
from tracker.shop.toml_values import TableReader
from tracker.shop.weighing import USUAL_LIMIT, Limit

MOST_KINDS: Final = 50
UNNAMED: Final = "board"  # the material of parts that name none


@dataclass(frozen=True, slots=True, kw_only=True)
class Boards:
    """The boards that a shop buys, and how it cuts them; a material that is not listed comes in ``usual_mm``."""

    stocks: tuple[Stock, ...] = ()
    rules: CuttingRules = field(default_factory=CuttingRules)
    usual_mm: tuple[float, float] = (2800.0, 2070.0)  # common practice, no source

    def lists(self, material: str, thickness_mm: float) -> bool:
        """Say whether the shop has listed a board of this material and thickness."""
        return any(
            stock.material == material and abs(stock.thickness_mm - thickness_mm) <= SAME_THICKNESS_MM
            for stock in self.stocks
        )


def read_packing(text: str) -> Packing:
    """Return the cartons that a TOML text lists as ``[[carton]]``, and what lies in them beside panels.

    ``box_mass`` is the gross mass of a box, ``two_people`` the mass above which two carry it, both as usual when they
    are left out. ``keep_together`` says what is kept together before the boxes are made few.
    Raises InvalidInputError naming each value that is absent, unknown or absurd.
    """
    reader = TableReader(read_toml(text), _NAMES)
    rules = reader.record(PackingRules, reader.table, beside=["carton", *_MARKS]) or PackingRules()
    own = {name: value for name, value in reader.table.items() if name in _MARKS}
    marks = reader.record(LiftingMarks, own) or LiftingMarks()
    cartons = reader.tables(Carton, reader.table.get("carton", []), "carton", least=1, most=MOST_KINDS)
    reader.refuse(say("The list of cartons has faults. Nothing was changed; mend these."))
    most = marks.trolley_kg if rules.box_mass_kg is None else rules.box_mass_kg
    return Packing(cartons=cartons, rules=replace(rules, box_mass_kg=most), marks=replace(marks, trolley_kg=most))


def read_boards(text: str) -> Boards:
    """Return the boards that a TOML text lists as ``[[board]]``, and its ``kerf``, ``trim``, ``edge_to_edge``.

    ``usual_length`` and ``usual_width`` are the size of every material that is not listed. Raises InvalidInputError
    naming each value that is absent, unknown or absurd.
    """
    reader = TableReader(read_toml(text), _NAMES)
    usual = [
        reader.value(name, reader.length, reader.table.get(name, 0)) or usual_mm
        for name, usual_mm in zip(_USUAL, Boards().usual_mm, strict=True)
    ]
    rules = reader.record(CuttingRules, reader.table, beside=["board", *_USUAL])
    stocks = reader.tables(Stock, reader.table.get("board", []), "board", most=MOST_KINDS)
    reader.refuse(say("The list of boards has faults. Nothing was changed; mend these."))
    return Boards(stocks=stocks, rules=rules or CuttingRules(), usual_mm=(usual[0], usual[1]))


def read_weight_limit(text: str) -> Limit:
    """Return the ``percent`` and the ``least`` of a TOML text: how far off a box may be when a packer alone seals it.

    Raises InvalidInputError naming each value that is unknown or absurd.
    """
    reader = TableReader(read_toml(text))
    limit = reader.record(Limit, reader.table)
    reader.refuse(say("The limit has faults. Nothing was changed; mend these."))
    return limit or USUAL_LIMIT


_NAMES: Final = {"id": "name", "guillotine": "edge_to_edge"}
_MARKS: Final = ("two_people",)
_USUAL: Final = ("usual_length", "usual_width")
