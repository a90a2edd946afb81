"""One measured figure, beside what it is measured against."""

import re
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any


def peak_kilobytes() -> int:
    """Return the most memory that this process held, in kB (Linux). What getrusage says begins with its parent's."""
    found = re.search(r"VmHWM:\s+(\d+) kB", Path("/proc/self/status").read_text(encoding="ascii"))
    if found is None:
        raise RuntimeError("this system does not say how much memory a process held")
    return int(found[1])


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
