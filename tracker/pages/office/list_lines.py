"""Where in a list's text a fault stands: the line of a value by the path that the fault names."""

import re
from typing import Final

_TABLE: Final = re.compile(r"\s*(\[\[?)\s*([A-Za-z0-9_.\- ]+?)\s*\]\]?\s*(?:#.*)?$")
_VALUE: Final = re.compile(r"\s*([A-Za-z0-9_\-]+)\s*=")


def lines_by_path(text: str) -> dict[str, int]:
    """Return the line of each value and each table of a TOML text; the second ``[[carton]]`` is ``carton.2``."""
    lines: dict[str, int] = {}
    counts: dict[str, int] = {}
    inside = ""
    for number, line in enumerate(text.splitlines(), 1):
        if table := _TABLE.match(line):
            inside = table[2].replace(" ", "")
            if table[1] == "[[":
                counts[inside] = counts.get(inside, 0) + 1
                lines.setdefault(inside, number)
                inside = f"{inside}.{counts[inside]}"
            lines.setdefault(inside, number)
        elif value := _VALUE.match(line):
            lines.setdefault(f"{inside}.{value[1]}".lstrip("."), number)
    return lines


def line_of(lines: dict[str, int], field: str) -> int | None:
    """Return the line of a value, or that of the table in which it is absent; None when neither is there."""
    path = field
    while path:
        if path in lines:
            return lines[path]
        path = path.rpartition(".")[0]
    return None
