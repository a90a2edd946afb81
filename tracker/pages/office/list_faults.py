"""What is wrong with a text that was sent, each fault on its line."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from tracker.pages.office.list_lines import line_of, lines_by_path
from tracker.shop.errors import Fault, InvalidInputError

FAULTS_SHOWN: Final = 50


@dataclass(frozen=True, slots=True, kw_only=True)
class Wrong:
    """A fault of a list on its line; ``text`` is the line."""

    line: int | None
    text: str
    field: str
    what: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked:
    """A text that was sent: its faults, or that it is good, or that it is kept under ``kept``."""

    text: str
    detail: str = ""
    wrong: Sequence[Wrong] = ()
    more: int = 0
    kept: str = ""


def checked(text: str, refused: InvalidInputError) -> Checked:
    """Return what a refusal says of a text, by its lines."""
    lines, texts = lines_by_path(text), text.splitlines()
    faults = refused.faults or [Fault(where={}, what=refused.detail)]
    wrong = [_wrong(fault, lines, texts) for fault in faults[:FAULTS_SHOWN]]
    wrong.sort(key=lambda each: each.line or 0)
    return Checked(text=text, detail=refused.detail, wrong=wrong, more=len(faults) - len(wrong))


def _wrong(fault: Fault, lines: dict[str, int], texts: Sequence[str]) -> Wrong:
    field = str(fault.where.get("field", ""))
    line = line_of(lines, field) if field else fault.where.get("line")
    at = texts[line - 1].strip()[:120] if line and line <= len(texts) else ""
    return Wrong(line=line, text=at, field=field, what=fault.what)
