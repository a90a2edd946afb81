"""Reading the chosen labels back before they are printed: would each of them scan?"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from tracker.labels.contents import Label
from tracker.labels.judging import Verdict, judge
from tracker.records.box_contents import BoxView
from tracker.records.database import Database
from tracker.settings import Settings
from tracker.work.box_numbers import number_boxes
from tracker.work.label_choice import Choice, chosen, labels_of
from tracker.work.label_setup import LabelSetup, label_setup


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckedLabel:
    """The code of a label and what came of reading it back."""

    code: str
    verdict: Verdict

    def sentence(self) -> str:
        """The label as a line of a table for people: its code, the grade of each symbol, what is against it."""
        grades = "  ".join(f"{each.symbol.kind:8}{each.graded.grade:4.1f}" for each in self.verdict.symbols)
        word = "reads  " if self.verdict.ok else "REFUSED"
        return f"{word}  {self.code}  {grades}  {'; '.join(self.verdict.reasons)}".rstrip()

    def as_dict(self) -> dict[str, Any]:
        """The label for programs, with the grade and the value of each measure."""
        symbols = [
            {
                "kind": each.symbol.kind,
                "text": each.symbol.text,
                "read": each.read,
                "grade": each.graded.grade,
                "measures": {
                    measure.value: {"grade": grade, "value": each.graded.values[measure]}
                    for measure, grade in each.graded.grades.items()
                },
            }
            for each in self.verdict.symbols
        ]
        told = {"label": self.code, "ok": self.verdict.ok, "grade": self.verdict.grade}
        return {**told, "symbols": symbols, "reasons": list(self.verdict.reasons)}


def check_labels(database: Database, settings: Settings, choice: Choice, *, dpi: int) -> Iterator[CheckedLabel]:
    """Draw the chosen labels as they are printed and judge each. Raises NotFoundError when there is no such job.

    Boxes that get an SSCC get it first, as when they are printed: else another label would be judged.
    """
    with database.read() as connection:
        boxes = [each.id for each in chosen(connection, choice) if isinstance(each, BoxView)]
    number_boxes(database, boxes)
    setup = label_setup(database, settings)
    with database.read() as connection:
        yield from judged(labels_of(connection, chosen(connection, choice), setup), setup, dpi=dpi)


def judged(labels: Iterable[Label], setup: LabelSetup, *, dpi: int) -> Iterator[CheckedLabel]:
    """Draw labels as the shop's layouts have them and judge each."""
    for label in labels:
        drawn, _stock = setup.draw(label, dpi)
        yield CheckedLabel(code=label.code, verdict=judge(drawn))
