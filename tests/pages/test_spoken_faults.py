"""What a person is refused is said in their language and units, whoever in the shop says it."""

import ast
import re
from collections.abc import Iterator, Mapping
from datetime import UTC, datetime
from html import unescape
from io import BytesIO
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from babel.support import Translations
from flask import Flask
from flask.testing import FlaskClient
from hypothesis import given
from hypothesis import strategies as st

from tests.floor import START, Floor
from tests.shops import app_of, sqlite_shop
from tracker.records.database import Database
from tracker.settings import Settings
from tracker.shop.cabinets.design import design_cabinet
from tracker.shop.cabinets.orders import CABINET_COLUMNS, Family, Fronts, Hinge, order_from_cells
from tracker.shop.cabinets.standard_reading import read_standard
from tracker.shop.codes import part_code
from tracker.shop.cutlist import PART_COLUMNS, parts_from_rows
from tracker.shop.errors import InvalidInputError, ShopError, TooLargeError
from tracker.shop.lengths import Units
from tracker.shop.orders import PartLine
from tracker.shop.roles import Role
from tracker.shop.saying import Said, Tongue, spoken
from tracker.shop.supplies import read_boards, read_packing
from tracker.shop.written import length_text
from tracker.work.access import make_token
from tracker.work.lists import set_list, shipped_standard, shipped_standard_text
from tracker.work.people import add_person, set_choices
from tracker.work.replace import replace_part

PASSWORD = "a password of eight words"  # noqa: S105
# Words that no sentence of English in the shop does without for long, and that Spanish has not.
ENGLISH = re.compile(r"\b(the|is|are|was|of|and|with|than|not|this|wanted|known|each|there|must|it|at|be)\b")
CARTONS = """[[carton]]
name = "small"
length = 500
width = 400
height = 60
max_mass = 20
"""


def _with_ada(database: Database) -> None:
    number = add_person(database, "Ada", Role.ADMIN, password=PASSWORD, now=START)
    set_choices(database, number, language="es", units=Units.MM)


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[tuple[Flask, Floor]]:
    database = sqlite_shop(tmp_path / "shop.db", fill=_with_ada)
    floor = Floor(database)
    settings = Settings(data_dir=tmp_path, database_url=str(database.url), secret_key="for tests")  # noqa: S106
    yield app_of(settings, database), floor
    database.close()


@pytest.fixture
def floor(shop: tuple[Flask, Floor]) -> Floor:
    return shop[1]


@pytest.fixture
def client(shop: tuple[Flask, Floor]) -> FlaskClient:
    """A browser of somebody who reads Spanish and millimetres, and may do all."""
    made = shop[0].test_client()
    assert send(made, "/sign-in", name="Ada", password=PASSWORD).status_code == 302
    return made


def send(client: FlaskClient, path: str, **form: Any) -> Any:
    page = client.get("/sign-in", headers={"Accept-Language": "es"}).text
    proof = re.search(r'name="csrf-token" content="([^"]+)"', page)
    assert proof is not None
    return client.post(path, data={"csrf_token": proof[1], **form}, headers={"Accept-Language": "es"})


def refusals(page: str) -> str:
    """All that a page says in its refusals and warnings, without marks, what was typed left out."""
    found = re.findall(r'<(\w+) [^>]*class="(?:refused|warning|wrong|wrong whole)"[^>]*>(.*?)</\1>', page, re.DOTALL)
    texts = [unescape(re.sub(r"<code>.*?</code>|<[^>]+>", " ", text, flags=re.DOTALL)) for _tag, text in found]
    said = " ".join(" | ".join(texts).split())
    assert said
    assert ENGLISH.findall(re.sub(r"«[^»]*»|'[^']*'", "", said)) == [], said
    return said


HEAD = {"code": "J-9", "customer": "Inventada", "due": "2027-04-01", "units": "mm"}


def looked_at(client: FlaskClient, table: str | bytes, **head: str) -> str:
    content = table.encode() if isinstance(table, str) else table
    answer = send(client, "/orders/preview", by="file", file=(BytesIO(content), "list.csv"), **{**HEAD, **head})
    assert answer.status_code in (409, 413, 422)
    return refusals(answer.text)


def typed(client: FlaskClient, *rows: Mapping[str, str]) -> str:
    cells = {f"row-{number}-{name}": cell for number, row in enumerate(rows) for name, cell in row.items()}
    return refusals(send(client, "/orders/preview", by="typing", **HEAD, **cells).text)


def test_a_bad_cut_list_is_refused_in_spanish_cell_by_cell(client: FlaskClient) -> None:
    said = looked_at(
        client,
        "cabinet,part,length,width,thickness,edges,quantity,supply\n"
        "301,Deck,abc,5,18,L9,0,lent\n"
        ",Deck,564,560,18,,1,\n"
        "302,#REF!,564,560,18,,1,\n"
        "303,Deck,564,560,18,,1,made,one,too many\n",
    )
    assert "La lista de corte tiene errores. No se guardó nada; corríjalos y envíela otra vez." in said
    assert "'abc': se espera un número de mm mayor que 0, como 560.5" in said
    assert "'5': son 5 mm; se espera de 10 a 6000 mm" in said
    assert "'L9': se espera L1 L2 W1 W2, cada uno una sola vez, o nada" in said
    assert "'0': se espera un número entero de 1 a 10000, solo con cifras" in said
    assert "'lent': se espera made, bought o nada" in said
    assert "está vacío; se espera un nombre" in said
    assert "'#REF!': una fórmula que falló en la hoja de cálculo" in said
    assert "10 valores; se esperan 8, como en la primera línea" in said


def test_whoever_orders_in_inches_is_told_in_inches(client: FlaskClient, floor: Floor) -> None:
    set_choices(floor.database, 1, language="es", units=Units.INCH)
    said = looked_at(client, "cabinet,part,length,width,thickness\n1,Deck,22,0.2,0.75\n", units="in")
    # 0.2 in, 10 mm and 6000 mm to the nearest 1/32 in, by the inch of 25.4 mm: 6.4/32, 12.6/32, 236 + 7.06/32.
    assert "son 3/16 in; se espera de 13/32 a 236 7/32 in" in said


def test_a_file_that_is_no_table_is_refused_in_spanish(client: FlaskClient) -> None:
    assert "El archivo no se puede leer como tabla. No se guardó nada. está vacío" in looked_at(client, "")
    assert "es una hoja de cálculo antigua o cifrada" in looked_at(client, b"\xd0\xcf\x11\xe0" + bytes(600))
    assert "no es una hoja de cálculo legible, o está dañada" in looked_at(client, b"PK\x03\x04" + bytes(60))
    assert "part, length, width, thickness: estas columnas hacen falta y no están" in looked_at(client, "cabinet\n1")
    assert "height, depth: estas columnas hacen falta y no están" in looked_at(client, "cabinet,family,width\n")
    gone = send(client, "/orders/preview", by="file", upload="0" * 32, **HEAD)
    assert "El archivo ya no está guardado. Elíjalo otra vez." in refusals(gone.text)


def test_cabinets_that_cannot_be_built_are_refused_in_spanish(client: FlaskClient) -> None:
    base = {"cabinet": "101", "family": "base", "width": "600", "height": "876", "depth": "580", "fronts": "door"}
    said = typed(
        client,
        {**base, "width": "0,5 m", "hinge": "left"},
        {**base, "cabinet": "102", "width": "5000", "hinge": "left"},
        {**base, "cabinet": "103", "family": "bse", "hinge": "left"},
        {**base, "cabinet": "104", "hinge": "pair"},
        {**base, "cabinet": "105", "fronts": "oven"},
        {**base, "cabinet": "1/6", "hinge": "left"},
    )
    assert "'0,5 m': se espera un número de mm mayor que 0" in said
    assert "5000 mm; se espera de 10 a 3000 mm" in said
    assert "'bse'; se conocen: base, wall, tall" in said
    assert "'pair'; aquí se espera: left, right" in said
    assert "'oven'; «base» admite: door, doors" in said
    assert "se espera un número sin / ni" in said
    said = typed(
        client,
        {**base, "width": "900", "hinge": "left"},
        {**base, "cabinet": "102", "depth": "60", "hinge": "left"},
        {**base, "cabinet": "103", "width": "200", "hinge": "left"},
        {**base, "cabinet": "103", "hinge": "left"},
    )
    assert "No todos los gabinetes se pueden construir. No se guardó nada; corrija esto." in said
    assert "una puerta tendría 897 mm de ancho, más de 650 mm; pida un par" in said
    assert "delante del panel de atrás hay" in said
    assert "'103' está dos veces" in said


def test_a_head_that_cannot_be_is_refused_in_spanish(client: FlaskClient) -> None:
    good = "cabinet,part,length,width,thickness\n1,Deck,564,560,18\n"
    said = looked_at(client, good, code="no spaces!", customer=" ")
    assert "el código de un trabajo tiene de 1 a 40 letras" in said
    assert "el nombre de un cliente tiene de 1 a 200 caracteres" in said
    assert "ya se tomó" in looked_at(client, good, code="J-1")


def test_parts_that_fit_no_carton_and_no_board_are_told_in_spanish(client: FlaskClient, floor: Floor) -> None:
    set_list(floor.database, "cartons", CARTONS, who="Ada", now=START)
    said = looked_at(client, "cabinet,part,length,width,thickness\n7,Deck,564,300,18\n8,Deck,564,300,18\n")
    assert "No todos los paneles caben en un cartón del taller: Deck, gabinetes 7, 8 (2 piezas): " in said
    assert "mide 564 mm de largo y el cartón más largo mide 500 mm. No se guardó nada." in said
    long = PartLine(cabinet="9", part="Side", quantity=1, length_mm=5000, width_mm=300, thickness_mm=18)
    floor.take("J-5", parts=(long,), items=())
    said = refusals(send(client, "/orders/J-5/boards").text)
    assert "No todas las piezas salen de un tablero del taller: Side, gabinete 9 (1 pieza)" in said
    assert "mide 5000 mm de largo y el tablero más largo deja 2780 mm después de recortar los bordes" in said


def test_bad_lists_are_refused_in_spanish_at_their_lines(client: FlaskClient) -> None:
    def kept(kind: str, text: str) -> str:
        answer = send(client, f"/settings/{kind}", text=text, do="keep")
        assert answer.status_code == 422
        return refusals(answer.text)

    said = kept("cartons", CARTONS.replace("length = 500", 'length = "wide"').replace("width = 400\n", "depth = 4\n"))
    assert "Línea 3" in said
    assert "carton.1.length: 'wide': se espera un número de mm mayor que 0" in said
    assert "carton.1.depth: no se conoce; se conocen: name, length" in said
    assert "carton.1.tare: el cartón vacío pesa 0 kg o más" in kept("cartons", f"{CARTONS}tare = 90\n")
    assert "carton: se esperan de 1 a 50 tablas, cada una como [[carton]]" in kept("cartons", "")
    broken = kept("boards", "kerf = 3\ntrim 10\n")
    assert "Línea 2" in broken
    assert "Esto no es TOML: Se esperaba '=' después del nombre de un valor (en la línea 2, columna 6)" in broken
    standard = shipped_standard_text()
    said = kept("standard", standard.replace("toe_height =", "toe_height = 1 #"))
    assert "carcass.toe_height: se espera más que el espesor del tablero del cuerpo" in said
    said = kept("standard", standard.replace("version = ", "version = -"))
    assert "version: '-2': se espera un número entero de 1 a 1000000" in said
    assert "Esto no es TOML: Falta cerrar un texto" in kept("standard", 'name = "x')


def test_deeds_that_are_not_possible_are_refused_in_spanish(client: FlaskClient, floor: Floor) -> None:
    new = part_code(replace_part(floor.database, 1, "chipped", **floor.act()))
    answer = send(client, f"/parts/{floor.deck}/replace", reason="chipped")
    assert f"La pieza {floor.deck} ya se reemplazó por {new}." in refusals(answer.text)
    answer = send(client, f"/parts/{floor.end}/repair", other="glued")
    assert f"La pieza {floor.end} no está marcada como dañada." in refusals(answer.text)
    assert send(client, "/jobs/J-1/hold").status_code == 303
    assert "El trabajo J-1 está detenido: no se puede detener." in refusals(send(client, "/jobs/J-1/hold").text)
    assert send(client, "/jobs/J-1/resume").status_code == 303
    assert "El trabajo J-1 está abierto: no se puede reanudar." in refusals(send(client, "/jobs/J-1/resume").text)
    load = floor.plan(floor.box_101)
    answer = send(client, "/loads/new", box=floor.box_101, ship_on="2027-03-04")
    assert f"la caja 101 de J-1 ({floor.box_101}) ya está prevista para la carga {load}" in refusals(answer.text)


def test_names_and_the_last_admin_are_refused_in_spanish(client: FlaskClient) -> None:
    said = refusals(send(client, "/people", name="Ada", role="packer").text)
    assert "Ya hay una persona Ada. Un nombre nunca se da dos veces." in said
    said = refusals(send(client, "/people/1/role", role="packer").text)
    assert "Ada es la última persona que administra. Nombre a otra primero." in said
    said = refusals(send(client, "/stations", name="CUT-1", step="cut").text)
    assert "Ya hay una estación CUT-1." in said


def test_signing_in_wrong_is_refused_in_spanish(shop: tuple[Flask, Floor]) -> None:
    client = shop[0].test_client()
    said = refusals(send(client, "/sign-in", name="Ada", password="a wrong one of them").text)  # noqa: S106
    assert "Este nombre y esta contraseña no van juntos." in said
    assert "Este código no se conoce" in refusals(send(client, "/sign-in", pairing="ABCD EFGH").text)
    assert "Esta llave no se conoce o fue retirada." in refusals(send(client, "/sign-in", token="none").text)  # noqa: S106
    for _ in range(5):
        answer = send(client, "/sign-in", name="Ada", password="a wrong one of them")  # noqa: S106
    assert "Demasiados intentos fallidos. Espere" in refusals(answer.text)


def test_a_script_of_a_page_is_told_in_spanish(client: FlaskClient, floor: Floor) -> None:
    floor.seal_both()
    page = client.get("/pack/PACK-1").text
    proof = re.search(r'name="csrf-token" content="([^"]+)"', page)
    assert proof is not None
    answer = client.post(
        "/pack/PACK-1/count",
        json={"box": floor.box_101, "item": "spring pin 8 mm", "count": 1},
        headers={"X-CSRF-Token": proof[1]},
    )
    assert answer.json == {"refused": f"La caja 101 de J-1 ({floor.box_101}) ya está sellada."}
    nothing = client.post("/station/picture", data=b"no picture", headers={"X-CSRF-Token": proof[1]})
    assert nothing.json is not None
    assert nothing.json["detail"] == "La imagen no se puede leer."


def test_a_box_that_completes_another_is_called_so_in_spanish_everywhere(client: FlaskClient, floor: Floor) -> None:
    floor.scan(floor.deck, "PACK-1")
    follow_up = floor.seal(floor.box_101, override="the truck leaves").follow_up
    assert follow_up is not None
    for path in ("/pack/PACK-1", "/station/SHIP-1"):
        proof = re.search(r'name="csrf-token" content="([^"]+)"', client.get(path).text)
        assert proof is not None
        scan = {"id": str(uuid4()), "code": follow_up, "at": datetime.now(UTC).isoformat()}
        said = client.post(f"{path}/scan", json=scan, headers={"X-CSRF-Token": proof[1]}).text
        assert "101, complementaria" in said
        assert "follow-up" not in said + client.get(path).text
    for path in (f"/find?code={floor.toe_kick}", f"/boxes/{follow_up}", "/missing", "/loads/new"):
        page = client.get(path).text
        assert "101, complementaria" in page, path
        assert "follow-up" not in page, path


def test_the_calls_answer_in_english_whoever_asks(shop: tuple[Flask, Floor]) -> None:
    token = make_token(shop[1].database, "a program", Role.FOREMAN, secret=lambda: "a token of tests", now=START)
    asks = {"Authorization": f"Bearer {token}", "Accept-Language": "es"}
    answer = shop[0].test_client().post("/api/v1/jobs/J-1/resume", headers=asks)
    assert answer.status_code == 409
    assert answer.json is not None
    assert answer.json["detail"] == "Job J-1 is open: it cannot be resumed."


# What every sentence keeps

HOUSE = Path("tracker")
_PLACE = re.compile(r"%(?:%|\((\w+)\)[sd])")
_CATALOGUE = Translations.load(str(HOUSE / "translations"), ["es"])


def said_in_code() -> Iterator[tuple[str, list[str], set[str] | None]]:
    """Each sentence of the code: where, its patterns, and what it fills in; None where that is not written out."""
    for path in sorted(HOUSE.rglob("*.py")):
        for call in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(call, ast.Call) or not isinstance(call.func, ast.Name):
                continue
            if call.func.id in ("say", "say_many"):
                texts = call.args[: 1 if call.func.id == "say" else 2]
                patterns = [each.value for each in texts if isinstance(each, ast.Constant)]
                names = {each.arg for each in call.keywords if each.arg}
                if call.func.id == "say_many":
                    names.add("num")
                whole = all(each.arg for each in call.keywords)
                yield f"{path}:{call.lineno}", [str(each) for each in patterns], names if whole else None


def test_every_sentence_fills_in_what_its_pattern_names_and_nothing_else() -> None:
    found = list(said_in_code())
    assert len(found) > 300
    for place, patterns, names in found:
        for pattern in patterns:
            assert _PLACE.sub("", pattern).count("%") == 0, place
            used = {each for each in _PLACE.findall(pattern) if each}
            assert names is None or used <= names | {"num"}, place
            assert names is None or names - {"num"} <= used or len(patterns) > 1, place


def in_spanish(text: str) -> str:
    def pattern(one: str, many: str, num: int) -> str:
        return _CATALOGUE.gettext(one) if one == many else _CATALOGUE.ngettext(one, many, num)

    return spoken(text, Tongue(pattern=pattern, length=lambda mm: length_text(mm, Units.INCH), language="es"))


def check_said(refused: ShopError) -> None:
    faults = refused.faults if isinstance(refused, InvalidInputError | TooLargeError) else ()
    for text in (refused.detail, *(fault.what for fault in faults)):
        assert isinstance(text, Said), text
        said = in_spanish(text)
        assert said != text or not ENGLISH.search(text), text
        assert "%(" not in said


texts = st.text(max_size=12) | st.sampled_from(["", "564", "0", "1e9", "23 9/4", "L1 L9", "#N/A", "bought", "x" * 201])
numbers = st.floats() | st.integers(min_value=-(10**20), max_value=10**20) | st.just(10**400)
cells = texts | numbers | st.none() | st.booleans() | st.lists(texts, max_size=2)


@given(st.lists(st.dictionaries(st.sampled_from(PART_COLUMNS) | st.just("colour"), cells), max_size=3))
def test_whatever_is_wrong_with_a_cut_list_is_said_in_spanish(rows: list[dict[str, Any]]) -> None:
    try:
        parts_from_rows(rows, Units.MM)
    except (InvalidInputError, TooLargeError) as refused:
        check_said(refused)


sizes = st.floats(min_value=1, max_value=4000).map(lambda size: f"{size:.3f}")
ordered = st.fixed_dictionaries(
    {
        "cabinet": st.sampled_from(["1", "", "a/b"]),
        "family": st.sampled_from([each.value for each in Family]),
        "fronts": st.sampled_from([each.value for each in Fronts]),
        "hinge": st.sampled_from([each.value for each in Hinge]),
        "width": sizes,
        "height": sizes,
        "depth": sizes,
    }
)


@given(ordered | st.dictionaries(st.sampled_from(CABINET_COLUMNS), cells))
def test_whatever_is_wrong_with_a_cabinet_is_said_in_spanish(row: dict[str, Any]) -> None:
    try:
        design_cabinet(order_from_cells(row, Units.MM), shipped_standard())
    except InvalidInputError as refused:
        check_said(refused)


_LINES = CARTONS.splitlines() + shipped_standard_text().splitlines()[:60] + ["[[board]]", "x =", '"', "a = [1", "= 3"]


@given(
    st.lists(st.sampled_from(_LINES) | st.text(max_size=20), max_size=12).map("\n".join),
    st.sampled_from([read_packing, read_boards, read_standard]),
)
def test_whatever_is_wrong_with_a_list_is_said_in_spanish(text: str, read: Any) -> None:
    try:
        read(text)
    except InvalidInputError as refused:
        check_said(refused)
