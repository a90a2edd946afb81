"""Reading a job's labels back before they are printed."""

import json
from pathlib import Path

import click
import pytest

from tests.floor import JOB, Floor
from tracker.commands.papers import _tell_checked
from tracker.labels.contents import SAMPLES, LabelKind
from tracker.labels.faces import SANS
from tracker.labels.layout import Bars, Block, Layout
from tracker.labels.stocks import Stock
from tracker.labels.symbols import DPIS
from tracker.settings import Settings
from tracker.shop.errors import NotFoundError
from tracker.shop.lengths import Units
from tracker.shop.sscc import Series
from tracker.work.box_numbers import set_numbering
from tracker.work.label_check import CheckedLabel, check_labels, judged
from tracker.work.label_choice import Choice
from tracker.work.label_setup import Chosen, LabelSetup, usual_setup

SETTINGS = Settings(data_dir=Path(), database_url="", secret_key="")
PART = SAMPLES[LabelKind.PART]


def checked(floor: Floor, job: str = JOB, settings: Settings = SETTINGS) -> list[CheckedLabel]:
    return list(check_labels(floor.database, settings, Choice(job=job), dpi=203))


def covered() -> LabelSetup:
    """A layout that reading from TOML refuses: ink lies over the bars."""
    elements = (Bars(at=(2, 2), size=(76, 10)), Block(at=(10, 1), size=(40, 12)))
    layout = Layout(
        name="covered", kind=LabelKind.PART, size=(80, 20), face=SANS, units=Units.MM, words={}, elements=elements
    )
    return LabelSetup(chosen={LabelKind.PART: Chosen(layout=layout, stock=Stock(name="roll", label=(80, 20)))})


@pytest.mark.parametrize("dpi", DPIS)
@pytest.mark.parametrize("kind", LabelKind)
def test_every_kind_of_label_as_it_comes_reads_and_is_graded_four(kind: LabelKind, dpi: int) -> None:
    (label,) = judged([SAMPLES[kind]], usual_setup(), dpi=dpi)
    assert (label.verdict.ok, label.verdict.grade) == (True, 4.0)


def test_all_labels_of_a_job_are_judged_in_the_order_in_which_they_are_printed(floor: Floor) -> None:
    found = checked(floor)
    assert [label.code for label in found] == [floor.box_101, floor.deck, floor.toe_kick, floor.box_102, floor.end]
    assert all(label.verdict.ok for label in found)
    assert {symbol.read for symbol in found[1].verdict.symbols} == {floor.deck}


def test_a_box_is_judged_with_the_sscc_and_the_link_that_are_printed_on_it(floor: Floor) -> None:
    set_numbering(floor.database, Series(prefix="4012345", extension=3), who="foreman", now=floor.tick())
    site = Settings(data_dir=Path(), database_url="", secret_key="k", site_url="https://parts.example")  # noqa: S106
    box = checked(floor, settings=site)[0]
    read = {symbol.symbol.kind: symbol.read for symbol in box.verdict.symbols}
    assert read["gs1-128"].startswith("0034012345")
    assert read["qr"].startswith(f"HTTPS://PARTS.EXAMPLE/Q/{floor.box_101}/")
    assert box.verdict.ok


def test_a_job_that_there_is_not_has_no_labels_to_check(floor: Floor) -> None:
    with pytest.raises(NotFoundError, match="no job"):
        checked(floor, "J-9")


def test_the_command_tells_each_label_and_its_grades(capsys: pytest.CaptureFixture[str]) -> None:
    _tell_checked(judged([PART], usual_setup(), dpi=203), as_json=False)
    out, err = capsys.readouterr()
    assert out == f"reads    {PART.code}  code128  4.0  qr       4.0\n"
    assert err == "All 1 labels read.\n"


def test_the_command_fails_when_a_label_would_not_read_and_says_why(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(click.ClickException, match="1 of 1 labels would not read") as refused:
        _tell_checked(judged([PART], covered(), dpi=203), as_json=False)
    assert refused.value.exit_code == 1
    assert capsys.readouterr().out == f"REFUSED  {PART.code}  code128  0.0  its bar code does not read\n"


def test_programs_get_every_measure(capsys: pytest.CaptureFixture[str]) -> None:
    _tell_checked(judged([PART], usual_setup(), dpi=203), as_json=True)
    told = json.loads(capsys.readouterr().out)
    assert (told["label"], told["ok"], told["grade"], told["reasons"]) == (PART.code, True, 4.0, [])
    bars = told["symbols"][0]
    assert (bars["kind"], bars["text"], bars["read"], bars["grade"]) == ("code128", PART.code, PART.code, 4.0)
    assert bars["measures"]["decodability"] == {"grade": 4.0, "value": pytest.approx(1.0)}
