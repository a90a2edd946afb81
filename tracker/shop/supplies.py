"""What a shop says of itself in TOML: its cartons, its boards, its limit on the scale.

Lengths in ``units`` (mm or in), masses in kg.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Final, TypeVar

from tracker.shop.boxing.values import Carton, PackingRules
from tracker.shop.cutting.values import SAME_THICKNESS_MM, CuttingRules, Stock
from tracker.shop.errors import Fault, InvalidInputError, fault_at
from tracker.shop.job_boxes import Packing
from tracker.shop.lengths import MM_PER_INCH, Units, read_length
from tracker.shop.saying import Count, say, words_of
from tracker.shop.toml_text import read_toml
from tracker.shop.weighing import USUAL_LIMIT, Limit

LONGEST_TEXT: Final = 200_000
MOST_KINDS: Final = 50
LARGEST: Final = 10**9  # of any number in a list: larger ones are slips, and none of them overflows
Made = TypeVar("Made")


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
    """Return the cartons that a TOML text lists as ``[[carton]]``, and its ``layer_gap``, ``bag_height``, ``bag_mass``.

    Raises InvalidInputError naming each value that is absent, unknown or absurd.
    """
    reader = _Reader(text)
    rules = reader.make(PackingRules, reader.own, "", _RULES)
    cartons = reader.all_of("carton", Carton, _CARTON)
    reader.refuse_faults(say("The list of cartons has faults. Nothing was changed; mend these."))
    return Packing(cartons=tuple(cartons), rules=rules or PackingRules())


def read_boards(text: str) -> Boards:
    """Return the boards that a TOML text lists as ``[[board]]``, and its ``kerf``, ``trim``, ``edge_to_edge``.

    ``usual_length`` and ``usual_width`` are the size of every material that is not listed. Raises InvalidInputError
    naming each value that is absent, unknown or absurd.
    """
    reader = _Reader(text)
    usual = tuple(reader.length(reader.own.pop(name, None), name) for name in ("usual_length", "usual_width"))
    rules = reader.make(CuttingRules, reader.own, "", _CUTTING)
    stocks = reader.all_of("board", Stock, _BOARD, least=0)
    reader.refuse_faults(say("The list of boards has faults. Nothing was changed; mend these."))
    given = (usual[0] or Boards().usual_mm[0], usual[1] or Boards().usual_mm[1])
    return Boards(stocks=tuple(stocks), rules=rules or CuttingRules(), usual_mm=given)


def read_weight_limit(text: str) -> Limit:
    """Return the ``percent`` and the ``least`` of a TOML text: how far off a box may be when a packer alone seals it.

    Raises InvalidInputError naming each value that is unknown or absurd.
    """
    reader = _Reader(text)
    limit = reader.make(Limit, reader.table, "", _LIMIT)
    reader.refuse_faults(say("The limit has faults. Nothing was changed; mend these."))
    return limit or USUAL_LIMIT


_LIMIT: Final = {"percent": "percent", "least": "least_kg"}
_RULES: Final = {"layer_gap": "layer_gap_mm", "bag_height": "bag_height_mm", "bag_mass": "bag_mass_kg"}
_CARTON: Final = {
    "name": "id",
    "length": "length_mm",
    "width": "width_mm",
    "height": "height_mm",
    "max_mass": "max_mass_kg",
    "tare": "tare_kg",
    "available": "available",
}
_CUTTING: Final = {"kerf": "kerf_mm", "trim": "trim_mm", "edge_to_edge": "guillotine"}
_BOARD: Final = {
    "name": "id",
    "material": "material",
    "length": "length_mm",
    "width": "width_mm",
    "thickness": "thickness_mm",
    "grain": "grain",
    "available": "available",
}


class _Reader:
    """Reads one such text and notes every fault by its place."""

    def __init__(self, text: str) -> None:
        if len(text) > LONGEST_TEXT:
            raise InvalidInputError(say("Wanted: at most %(most)s characters.", most=LONGEST_TEXT))
        try:
            self.table = read_toml(text)
        except InvalidInputError as error:
            told = say("This is not TOML: %(why)s", why=error.detail)
            raise InvalidInputError(told, [Fault(where=each.where, what=told) for each in error.faults]) from error
        self.faults: list[Fault] = []
        units = self.table.pop("units", "mm")
        if units not in tuple(Units):
            self.faults.append(fault_at("units", say("wanted: mm or in")))
        self._units = Units(units) if units in tuple(Units) else Units.MM
        self.own = {name: value for name, value in self.table.items() if not isinstance(value, list)}

    def all_of(self, name: str, make: Callable[..., Made], names: Mapping[str, str], *, least: int = 1) -> list[Made]:
        rows = self.table.get(name, [])
        unknown = [key for key, value in self.table.items() if isinstance(value, list) and key != name]
        what = say("not known; known: %(known)s", known=name)
        self.faults += [fault_at(key[:40], what) for key in unknown]
        if not isinstance(rows, list) or not least <= len(rows) <= MOST_KINDS:
            what = say("wanted: %(least)s to %(most)s of them", least=least, most=MOST_KINDS)
            self.faults.append(fault_at(name, what))
            return []
        made = [self.make(make, row, f"{name}.{index}.", names) for index, row in enumerate(rows, 1)]
        return [value for value in made if value is not None]

    def make(self, make: Callable[..., Made], row: Any, path: str, names: Mapping[str, str]) -> Made | None:
        """Return a value of a table whose keys ``names`` translates, or None after noting its faults."""
        if not isinstance(row, Mapping):
            self.faults.append(fault_at(path.rstrip("."), say("wanted: a table")))
            return None
        before = len(self.faults)
        values = {}
        for key, value in row.items():
            if key not in names:
                what = say("not known; known: %(known)s", known=", ".join(names))
                self.faults.append(fault_at(f"{path}{str(key)[:40]}", what))
            elif names[key].endswith("_mm"):
                values[names[key]] = self.length(value, f"{path}{key}")
            else:
                values[names[key]] = self._plain(names[key], value, f"{path}{key}")
        if len(self.faults) > before:
            return None
        try:
            return make(**values)
        except InvalidInputError as error:
            back = {own: key for key, own in names.items()}
            for fault in error.faults:
                own = str(fault.where.get("field", ""))
                self.faults.append(fault_at(f"{path}{back.get(own, own)}", fault.what))
        except TypeError:
            absent = [key for key in names if key not in row and key not in _MAY_BE_ABSENT]
            what = say("this value is absent")
            self.faults += [fault_at(f"{path}{key}", what) for key in absent]
        return None

    def length(self, value: Any, field_name: str) -> float:
        if value is None:
            return 0.0
        if isinstance(value, str):
            try:
                return read_length(value, self._units)
            except ValueError as error:
                self.faults.append(fault_at(field_name, words_of(error)))
                return 0.0
        number = self._plain("", value, field_name)
        return float(number * float(MM_PER_INCH)) if self._units is Units.INCH else float(number)

    def _plain(self, own: str, value: Any, field_name: str) -> Any:
        wanted: dict[str, tuple[type, ...]] = {
            "id": (str,), "material": (str,), "grain": (bool,), "guillotine": (bool,), "available": (int,)
        }  # fmt: skip
        kinds = wanted.get(own, (int, float))
        if not isinstance(value, kinds) or (isinstance(value, bool) and bool not in kinds):
            what = say("%(given)s; wanted: %(wanted)s", given=repr(str(value)[:40]), wanted=_SAYS[kinds[0]])
            self.faults.append(fault_at(field_name, what))
            return 0
        if isinstance(value, int) and abs(value) > LARGEST:
            self.faults.append(fault_at(field_name, say("wanted: at most %(most)s", most=Count(LARGEST))))
            return 0
        return value

    def refuse_faults(self, detail: str) -> None:
        if self.faults:
            raise InvalidInputError(detail, self.faults)


_MAY_BE_ABSENT: Final = frozenset({"tare", "available", "grain"})
_SAYS: Final = {str: say("a text"), bool: say("true or false"), int: say("a number")}
