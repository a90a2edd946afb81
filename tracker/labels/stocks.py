"""What labels are printed on: rolls, where each label is a page, and sheets that hold many. Sizes in mm."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

from tracker.shop.errors import Fault, InvalidInputError, fault_at
from tracker.shop.saying import Mm, say
from tracker.shop.toml_text import read_toml
from tracker.shop.toml_values import TableReader

Size = tuple[float, float]
LEAST_MM: Final = 10.0
LARGEST_MM: Final = 1_000.0
MOST: Final = 100
LONGEST_NAME: Final = 60
_SLACK_MM: Final = 0.05  # half a dot at 203 dpi is 0.06


@dataclass(frozen=True, slots=True, kw_only=True)
class Stock:
    """Labels of one size. On a sheet ``first`` is the first label's left upper corner, ``pitch`` from label to label.

    Raises InvalidInputError naming each value that is no size, and labels that overlap or leave the page.
    """

    name: str
    label: Size
    page: Size | None = None
    across: int = 1
    down: int = 1
    first: Size = (0.0, 0.0)
    pitch: Size = (0.0, 0.0)

    def __post_init__(self) -> None:
        faults = [*self._wrong_sizes(), *self._wrong_places()]
        if not 1 <= len(self.name) <= LONGEST_NAME or not self.name.isprintable():
            faults.append(fault_at("name", say("wanted: a name of 1 to %(most)d characters", most=LONGEST_NAME)))
        if faults:
            raise InvalidInputError(say("This is no stock for labels."), faults)

    def _wrong_sizes(self) -> Iterator[Fault]:
        sizes = (("label", self.label, LEAST_MM), ("page", self.page or self.label, LEAST_MM))
        for name, size, least in (*sizes, ("first", self.first, 0.0), ("pitch", self.pitch, 0.0)):
            if not all(least <= each <= LARGEST_MM for each in size):
                yield fault_at(name, say("wanted: from %(least)s to %(most)s", least=Mm(least), most=Mm(LARGEST_MM)))

    def _wrong_places(self) -> Iterator[Fault]:
        if self.page is None:
            if (self.across, self.down) != (1, 1):
                yield fault_at("page", say("this value is absent"))
            return
        for name, count, axis in (("across", self.across, 0), ("down", self.down, 1)):
            if not 1 <= count <= MOST:
                yield fault_at(name, say("wanted: a whole number from 1 to %(most)d", most=MOST))
            elif count > 1 and self.pitch[axis] < self.label[axis] - _SLACK_MM:
                yield fault_at("pitch", say("the labels would overlap"))
            elif self.first[axis] + (count - 1) * self.pitch[axis] + self.label[axis] > self.page[axis] + _SLACK_MM:
                yield fault_at(name, say("the labels would reach over the edge of the page"))

    @property
    def sheet(self) -> Size:
        """The size of a page."""
        return self.page or self.label

    @property
    def count(self) -> int:
        """How many labels a page holds."""
        return self.across * self.down

    def corner(self, index: int) -> Size:
        """Return the left upper corner of a page's label, counted from 0, row by row."""
        row, column = divmod(index, self.across)
        return self.first[0] + column * self.pitch[0], self.first[1] + row * self.pitch[1]

    def holds(self, size: Size) -> bool:
        """Whether a label of ``size`` fits a label of this stock."""
        return all(wanted <= own + _SLACK_MM for wanted, own in zip(size, self.label, strict=True))


def read_stocks(text: str) -> dict[str, Stock]:
    """Return the stocks that a TOML text lists as ``[[stock]]``, by name; lengths in mm.

    Raises InvalidInputError naming each fault by its path (``stock.2.pitch``).
    """
    return stocks_from_rows(read_toml(text).get("stock", []))


def stocks_from_rows(rows: Any) -> dict[str, Stock]:
    """Return the stocks of a list of tables, by name."""
    reader = TableReader({})
    found = reader.tables(Stock, rows, "stock", most=MOST)
    faulty = say("The stocks have faults.")
    reader.refuse(faulty)
    names = [stock.name for stock in found]
    reader.faults += [
        fault_at(f"stock.{number}.name", say("another stock has this name"))
        for number, name in enumerate(names, 1)
        if name in names[: number - 1]
    ]
    reader.refuse(faulty)
    return dict(zip(names, found, strict=True))
