"""One measured figure, beside what it is measured against."""

from dataclasses import asdict, dataclass
from typing import Any


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """A figure and its demand; ``floor`` is what it is measured beside, in the same run, or None."""

    what: str
    value: float
    unit: str
    wanted: str
    met: bool
    floor: float | None = None

    @property
    def ratio(self) -> float | None:
        return None if self.floor is None else self.value / self.floor

    def sentence(self) -> str:
        """The figure as a line for people."""
        beside = "" if self.ratio is None else f", {self.ratio:.2f} of the floor's {self.floor:,.0f}"
        word = "met   " if self.met else "MISSED"
        return f"{word} {self.what}: {self.value:,.1f} {self.unit}{beside} (wanted: {self.wanted})"

    def as_dict(self) -> dict[str, Any]:
        """The figure for programs."""
        return {**asdict(self), "ratio": self.ratio}
