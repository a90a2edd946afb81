"""An order's forms, as they are sent: what was typed is never lost, what is doubtful is said."""

import re
from datetime import UTC, datetime
from io import BytesIO
from pathlib import Path

import pytest

from tests.floor import START, Floor
from tests.pages.callers import Caller, in_words, signed_in
from tests.shops import app_of
from tracker.records.database import Database
from tracker.records.jobs import job_view
from tracker.settings import Settings
from tracker.shop.roles import Role
from tracker.work.access import make_token
from tracker.work.lists import BOARDS, CARTONS, set_list

CABINET = {"cabinet": "7", "family": "base", "width": "600", "height": "876", "depth": "580", "fronts": "open"}
HEAD = {"code": "T-1", "customer": "Invented", "due": "2027-05-05", "units": "mm", "by": "typing"}
OAK = """units = "mm"
[[board]]
name = "oak 18"
material = "oak"
length = 2800
width = 2070
thickness = 18
"""
CARTON = """[[carton]]
name = "square"
length = 960
width = 960
height = 180
max_mass = 50
"""


@pytest.fixture
def office(floor: Floor, database: Database, tmp_path: Path) -> Caller:
    make_token(database, "somebody", Role.OFFICE, secret=lambda: "a token of somebody", now=START)
    settings = Settings(data_dir=tmp_path, database_url=str(database.url), secret_key="for tests")  # noqa: S106
    return signed_in(app_of(settings, database), "a token of somebody")


def typed(**cells: str) -> dict[str, str]:
    return {f"row-0-{name}": value for name, value in {**CABINET, **cells}.items()}


def fields_of(page: str, action: str) -> dict[str, str]:
    """What a form of a page would send."""
    form = re.search(rf'<form[^>]*action="{action}"[^>]*>(.*?)</form>', page, re.DOTALL)
    assert form is not None
    found = re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', form.group(1))
    return {name: value for name, value in found if name != "csrf_token"}


def forget_files(folder: Path) -> None:
    for path in (folder / "uploads").iterdir():
        path.unlink()


def test_typed_cabinets_are_taken_though_their_file_went_in_the_meantime(
    floor: Floor, office: Caller, tmp_path: Path
) -> None:
    page = office.send("/orders/preview", **HEAD, **typed())
    assert page.status_code == 200, page.text
    forget_files(tmp_path)
    assert office.send("/orders/take", **fields_of(page.text, "/orders/take")).status_code == 303
    with floor.database.read() as connection:
        assert job_view(connection, "T-1") is not None


def test_typed_cabinets_are_changed_though_their_file_went_in_the_meantime(office: Caller, tmp_path: Path) -> None:
    page = office.send("/orders/preview", **HEAD, **typed(note="by the window"))
    forget_files(tmp_path)
    form = office.send("/orders/edit", **fields_of(page.text, "/orders/edit"))
    assert form.status_code == 200
    assert 'value="by the window"' in form.text


def test_before_it_is_saved_an_order_shows_both_counts_who_carries_each_box_and_where_it_goes(
    floor: Floor, office: Caller
) -> None:
    set_list(floor.database, CARTONS, f'keep_together = "fronts apart"\ntwo_people = 15\n{CARTON}', **floor.act())
    rows = typed(quantity="2", fronts="door", hinge="left", room="kitchen", drop="north door")
    page = in_words(office.send("/orders/preview", **HEAD, **rows).text)
    # The doors of two cabinets share the third box.
    assert "each cabinet in its own carton, fronts apart the shop's way 3 2 1.3" in page
    assert "the fewest boxes 2 " in page
    assert page.count("two people NIOSH 1991: too wide for the equation") == 2
    assert page.count("one person NIOSH 1991: too wide for the equation") == 1
    assert "room: kitchen drop: north door" in page
    assert page.count("drop: north door") == 4, "beside the cabinets, and beside each box"


@pytest.mark.parametrize("way", ["edit", "take"])
def test_a_file_that_went_in_the_meantime_is_asked_for_and_the_head_of_the_form_stays(office: Caller, way: str) -> None:
    gone = {**HEAD, "by": "file", "upload": "0" * 32, "file_name": "kitchen.csv"}
    form = office.send(f"/orders/{way}", **gone)
    assert "no longer kept" in form.text
    assert 'value="T-1"' in form.text
    assert "kitchen.csv" not in form.text


def test_a_material_that_the_shop_does_not_list_is_doubted(floor: Floor, office: Caller) -> None:
    cut_list = b"cabinet,part,length,width,thickness,material\n1,End,720,560,18,purple\n1,Shelf,560,300,18,oak\n"
    sent = {**HEAD, "by": "file"}
    unlisted = office.send("/orders/preview", **sent, file=(BytesIO(cut_list), "list.csv"))
    assert "does not have" not in unlisted.text  # a shop that lists no boards takes what it is sent
    set_list(floor.database, BOARDS, OAK, who="foreman", now=datetime(2027, 3, 1, tzinfo=UTC))
    page = office.send("/orders/preview", **sent, file=(BytesIO(cut_list), "list.csv")).text
    doubt = in_words(page[page.index("does not have") :].partition("</ul>")[0])
    assert "purple, 18 mm: 1 part" in doubt
    assert "oak" not in doubt
    taken = office.read(office.send("/orders/take", **fields_of(page, "/orders/take")).location)
    assert "purple, 18 mm: not on the shop's list of boards." in taken
    assert "oak" not in taken


def test_the_preview_shows_what_is_read_by_another_name_and_a_day_that_is_past(office: Caller) -> None:
    table = b"cab,part,qty,l,w,t,price\n1,End,2,720,560,18,9\n"
    sent = {**HEAD, "by": "file", "due": "2020-01-31"}
    refused = office.send("/orders/preview", **sent, file=(BytesIO(table), "list.csv"))
    assert refused.status_code == 422
    assert "price" in refused.text
    page = office.send("/orders/preview", **sent, ignore="price", file=(BytesIO(table), "list.csv"))
    assert page.status_code == 200, page.text
    assert "qty is read as quantity" in page.text
    assert "is past" in page.text
    taken = office.send("/orders/take", **fields_of(page.text, "/orders/take"))
    assert taken.status_code == 303
    assert "it is due, Fri, Jan 31, 2020, is past." in office.read(taken.location), "it is said after it, too"


def test_a_bad_cell_under_another_name_is_mended_in_its_place(office: Caller) -> None:
    table = b"cab,part,qty,l,w,t\n1,End,two,720,560,18\n"
    form = office.send("/orders/preview", **{**HEAD, "by": "file"}, file=(BytesIO(table), "list.csv"))
    assert form.status_code == 422
    assert 'name="cell-2-2" value="two"' in form.text


def test_a_refusal_speaks_in_the_units_in_which_the_order_is_written(office: Caller) -> None:
    sizes = {"width": "99", "height": "30", "depth": "23", "fronts": "door", "hinge": "left"}
    page = office.send("/orders/preview", **{**HEAD, "units": "in"}, **typed(**sizes))
    assert page.status_code == 422
    wrong = " ".join(re.findall(r'class="wrong"[^>]*>([^<]*)', page.text))
    assert " in" in wrong
    assert "mm" not in wrong
