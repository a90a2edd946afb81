"""The commands, as a person or a script runs them."""

import json
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from PIL import Image
from pypdf import PdfReader

from tests.conftest import Cluster, missing_tool
from tests.reading import codes_in
from tracker.cli import main
from tracker.shop.codes import Code, Kind

Run = Callable[..., Result]
LIST = "cabinet,part,quantity,length,width,thickness,edges\n101,Deck,2,22 1/4,22,3/4,L1\n102,End,1,28 3/8,22,3/4,\n"


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    monkeypatch.setenv("TRACKER_DATA_DIR", str(tmp_path / "data"))
    monkeypatch.delenv("TRACKER_DATABASE_URL", raising=False)
    runner = CliRunner()

    def call(*arguments: str) -> Result:
        return runner.invoke(main, list(arguments))

    return call


@pytest.fixture
def shop(run: Run, tmp_path: Path) -> Run:
    assert run("init").exit_code == 0
    (tmp_path / "list.csv").write_text(LIST)
    (tmp_path / "items.csv").write_text("box,item,quantity\n101,spring pin 8 mm,2\n")
    return run


def _import(tmp_path: Path, *more: str) -> list[str]:
    where = [str(tmp_path / "list.csv"), "--items", str(tmp_path / "items.csv"), "--units", "in"]
    return ["import", *where, "--job", "J-1", "--customer", "Invented", "--due", "2027-03-05", *more]


def test_every_command_has_help_with_an_example(run: Run) -> None:
    for name in main.commands:
        result = run(name, "--help")
        assert result.exit_code == 0
        assert f"Example: tracker {name}" in result.output


def test_init_is_safe_to_repeat_and_keeps_a_secret_key_that_only_its_owner_reads(run: Run, tmp_path: Path) -> None:
    for _time in range(2):
        result = run("init")
        assert (result.exit_code, "ready at version" in result.output) == (0, True)
    key = tmp_path / "data" / "secret_key"
    assert len(key.read_text()) == 64
    assert key.stat().st_mode & 0o077 == 0


def test_a_person_is_added_with_a_password_that_is_asked_for_or_read_from_a_file(run: Run, tmp_path: Path) -> None:
    run("init")
    asked = CliRunner().invoke(main, ["person", "Ida", "--role", "admin"], input="a long password\na long password\n")
    assert (asked.exit_code, "Ida was added as admin." in asked.stdout) == (0, True)
    assert "a long password" not in asked.output
    (tmp_path / "password").write_text("another password\n")
    made = run("person", "Ola", "--role", "packer", "--password-file", str(tmp_path / "password"), "--json")
    assert json.loads(made.stdout) == {"number": 2, "name": "Ola", "role": "packer"}
    assert run("person", "Per", "--role", "station", "--badge-only").exit_code == 0
    again = run("person", "Ida", "--role", "admin", "--badge-only")
    assert (again.exit_code, "already" in again.stderr) == (1, True)
    (tmp_path / "password").write_text("short\n")
    refused = run("person", "Una", "--role", "packer", "--password-file", str(tmp_path / "password"))
    assert (refused.exit_code, "password: wanted: 10 to 200 characters" in refused.stderr) == (1, True)


def test_the_gs1_prefix_is_set_and_tells_how_far_its_numbers_are(run: Run, tmp_path: Path) -> None:
    run("init")
    assert "No GS1 prefix is set" in run("gs1").stdout
    assert run("gs1", "4012345", "--extension", "3").exit_code == 0
    assert run("gs1").stdout == "The next box gets SSCC 340123450000000017; 999,999,999 are left.\n"
    assert json.loads(run("gs1", "--json").stdout) == {
        "prefix": "4012345",
        "extension": 3,
        "next": 1,
        "left": 999_999_999,
    }
    refused = run("gs1", "0412345")
    assert (refused.exit_code, "field prefix: wanted: the prefix of a company" in refused.stderr) == (1, True)
    assert run("gs1", "4012345", "--off").exit_code == 2
    assert run("backup", str(tmp_path / "copy.db")).exit_code == 0
    restored = run("restore", str(tmp_path / "copy.db"))
    assert "The next box gets SSCC 340123450100000016; 989,999,999 are left." in restored.stdout
    assert "No GS1 prefix is set" in run("gs1", "--off").stdout


def test_an_import_says_what_it_read_by_another_name_and_what_to_look_at(shop: Run, tmp_path: Path) -> None:
    table = tmp_path / "other.csv"
    table.write_text("cab,part,qty,l,w,t,price\n1,End,2,700,500,18,9\n")
    order = ("import", str(table), "--job", "J-3", "--customer", "Invented", "--due", "2020-01-31")
    refused = shop(*order)
    assert (refused.exit_code, "price" in refused.stderr) == (1, True)
    taken = shop(*order, "--ignore", "price", "--json")
    assert taken.exit_code == 0, taken.stderr
    assert "The column qty is read as quantity." in taken.stderr
    assert "2020-01-31" in taken.stderr
    told = json.loads(taken.stdout)
    assert (told["parts"], told["columns"]["cab"], len(told["warnings"])) == (2, "cabinet", 1)


def test_a_cut_list_becomes_a_job_and_its_labels(shop: Run, tmp_path: Path) -> None:
    dry = shop(*_import(tmp_path, "--dry-run", "--json"))
    told = {"code": "J-1", "parts": 3, "cabinets": 2, "boxes": [], "columns": {}, "warnings": [], "dry_run": True}
    assert json.loads(dry.stdout) == told
    made = shop(*_import(tmp_path))
    assert (made.exit_code, made.stdout) == (0, "Job J-1: made 3 parts of 2 cabinets in 2 boxes.\n")
    again = shop(*_import(tmp_path))
    assert again.exit_code == 1
    assert "taken before" in again.stderr
    labels = shop("labels", "J-1", "--out", str(tmp_path / "labels.pdf"), "--dpi", "300", "--json")
    assert json.loads(labels.stdout)["labels"] == 5
    assert (tmp_path / "labels.pdf").read_bytes().startswith(b"%PDF")
    assert shop("labels", "J-9", "--out", str(tmp_path / "no.pdf")).exit_code == 1
    assert list(tmp_path.glob("no.pdf*")) == []


def test_one_of_a_thing_is_told_as_one(shop: Run, tmp_path: Path) -> None:
    cut_list = tmp_path / "one.csv"
    cut_list.write_text("cabinet,part,quantity,length,width,thickness\n1,Shelf,1,700,300,18\n")
    made = shop("import", str(cut_list), "--job", "J-1", "--customer", "Invented", "--due", "2027-03-05")
    assert made.stdout == "Job J-1: made 1 part of 1 cabinet in 1 box.\n"
    drawn = shop("labels", "J-1", "--out", str(tmp_path / "labels.pdf"))
    assert drawn.stdout.startswith("2 labels in ")


ROW = "base,18,34 1/2,24,drawer over door,left"
CABINETS = f"cabinet,family,width,height,depth,fronts,hinge\n101,{ROW}\n102,{ROW}\n"
CARTONS = "[[carton]]\nname = 'flat'\nlength = 960\nwidth = 640\nheight = 180\nmax_mass = 30\n"


def test_a_table_of_cabinets_becomes_parts_boxes_boards_and_sheets(shop: Run, tmp_path: Path) -> None:
    (tmp_path / "cartons.toml").write_text(CARTONS)
    assert shop("list", "cartons", str(tmp_path / "cartons.toml")).exit_code == 0
    assert shop("list", "cartons").stdout.strip() == CARTONS.strip()
    (tmp_path / "list.csv").write_text(CABINETS)
    made = shop(*_import(tmp_path))
    assert made.stdout.startswith("Job J-1: made 34 parts of 2 cabinets in")
    planned = json.loads(shop("boards", "J-1", "--out", str(tmp_path / "boards.pdf"), "--json").stdout)
    assert planned["boards"] == sum(planned["need"].values()) == len(PdfReader(tmp_path / "boards.pdf").pages)
    assert json.loads(shop("sheets", "J-1", "--out", str(tmp_path / "sheets"), "--json").stdout)["sheets"] == 2
    assert [file.name for file in sorted((tmp_path / "sheets").iterdir())] == ["J-1-101.pdf", "J-1-102.pdf"]
    assert shop("sheets", "J-1", "--out", str(tmp_path / "hojas"), "--language", "es").exit_code == 0
    assert "Antes de empezar" in PdfReader(tmp_path / "hojas" / "J-1-101.pdf").pages[0].extract_text()
    assert shop("sheets", "J-9", "--out", str(tmp_path / "none")).exit_code == 1
    assert not (tmp_path / "none").exists()


def test_a_layout_of_ones_own_is_kept_and_chosen_and_a_bad_one_is_answered_by_its_place(
    shop: Run, tmp_path: Path
) -> None:
    assert shop(*_import(tmp_path)).exit_code == 0
    text = shop("layout", "--name", "part 63 x 38").stdout
    own, choice = tmp_path / "own.toml", tmp_path / "labels.toml"
    own.write_text(text.replace('name = "part 63 x 38"', 'name = "part small"'))
    assert shop("layout", str(own)).exit_code == 0
    choice.write_text('[part]\nlayout = "part small"\nstock = "sheet A4, 21 of 63.5 x 38.1 mm"\n')
    assert shop("layout", "--choose", str(choice)).exit_code == 0
    assert shop("labels", "J-1", "--out", str(tmp_path / "labels.pdf")).exit_code == 0
    widths = {round(float(page.mediabox.width) / 72 * 25.4) for page in PdfReader(tmp_path / "labels.pdf").pages}
    assert widths == {100, 210}
    own.write_text(own.read_text().replace("{size}", "{weight}"))
    refused = shop("layout", str(own))
    assert refused.exit_code == 1
    assert "text.4.says" in refused.stderr


def test_a_bad_list_or_cabinet_is_answered_by_its_place(shop: Run, tmp_path: Path) -> None:
    (tmp_path / "cartons.toml").write_text(CARTONS.replace("640", "-640"))
    refused = shop("list", "cartons", str(tmp_path / "cartons.toml"))
    assert (refused.exit_code, "carton.1.width" in refused.stderr) == (1, True)
    (tmp_path / "list.csv").write_text(CABINETS.replace("18,", "6,", 1))
    refused = shop(*_import(tmp_path))
    assert refused.exit_code == 1
    assert "line 2, rule pins.inset, column width: between the ends are 114.3 mm" in refused.stderr


def test_a_bad_cut_list_is_answered_with_every_fault_and_status_1(shop: Run, tmp_path: Path) -> None:
    (tmp_path / "list.csv").write_text(LIST.replace("22 1/4", "wide").replace("28 3/8", ""))
    result = shop(*_import(tmp_path))
    assert result.exit_code == 1
    assert "line 2, column length: 'wide'" in result.stderr
    assert "line 3, column length" in result.stderr
    assert result.stdout == ""


def test_wrong_use_has_status_2(shop: Run) -> None:
    for arguments in (["import"], ["token", "x", "--role", "king"], ["station", "x"], ["labels", "J-1"], ["nonsense"]):
        assert shop(*arguments).exit_code == 2


def test_stations_slots_and_tokens(shop: Run) -> None:
    assert shop("station", "SAW-1", "--step", "cut").stdout.strip().startswith("S00000001")
    assert json.loads(shop("station", "B-1", "--step", "band", "--strict", "--json").stdout)["strict"] is True
    assert shop("station", "SAW-1", "--step", "cut").exit_code == 1
    assert shop("slot", "CART-1").stdout.strip().startswith("R00000001")
    plain = shop("token", "saw tablet", "--role", "station", "--station", "SAW-1").stdout.strip()
    assert len(plain) >= 32
    assert shop("token", "x", "--role", "station", "--station", "NOWHERE").exit_code == 1
    assert shop("withdraw", "saw tablet").stdout == "1 withdrawn.\n"
    assert shop("withdraw", "saw tablet").exit_code == 1


def test_the_cards_of_the_walls_are_printed_and_read(shop: Run, tmp_path: Path) -> None:
    shop("station", "SAW-1", "--step", "cut")
    shop("slot", "CART-1")
    out = tmp_path / "cards.pdf"
    assert json.loads(shop("cards", "--out", str(out), "--json").stdout)["labels"] == 4
    if shutil.which("pdftoppm") is None:
        missing_tool("pdftoppm")
    subprocess.run(["pdftoppm", "-r", "203", "-gray", str(out), str(tmp_path / "page")], check=True)
    codes = [code for page in sorted(tmp_path.glob("page*.pgm")) for code in codes_in(Image.open(page))]
    assert [code[0] for code in codes] == ["S", "R", "C", "C"]
    assert codes[2:] == [str(Code(Kind.COMMAND, number)) for number in (1, 2)]


def test_backup_verify_and_restore(shop: Run, tmp_path: Path) -> None:
    shop(*_import(tmp_path))
    copy = str(tmp_path / "copy.db")
    assert shop("backup", copy).exit_code == 0
    assert shop("backup", copy).exit_code == 1
    verified = shop("verify")
    assert (verified.exit_code, verified.stdout) == (0, "")
    restored = shop("restore", copy)
    assert (restored.exit_code, "is kept as" in restored.stdout) == (0, True)
    (tmp_path / "bad.db").write_bytes(Path(copy).read_bytes()[:10_000])
    assert shop("restore", str(tmp_path / "bad.db")).exit_code == 1


def test_verify_says_where_the_kept_state_is_not_what_the_log_says(shop: Run, tmp_path: Path) -> None:
    from sqlalchemy import text

    from tracker.records.database import Database

    shop(*_import(tmp_path))
    database = Database(f"sqlite:///{tmp_path / 'data' / 'tracker.db'}")
    with database.write() as connection:
        connection.execute(text("UPDATE part SET done = 1, status = 'working' WHERE id = 1"))
        connection.execute(text("UPDATE tally SET done = 1 WHERE what = 'sealed'"))
        connection.execute(text("UPDATE box SET state = 'packing', packed = 1 WHERE id = 2"))
        connection.execute(text("UPDATE job SET status = 'held'"))
    database.close()
    result = shop("verify", "--json")
    assert result.exit_code == 1
    found = [json.loads(line)["what"] for line in result.stdout.splitlines()]
    assert len(found) == 4
    assert {what.split()[0] for what in found} == {"part", "box", "tally", "job"}


def test_a_command_without_a_database_says_what_to_do(run: Run) -> None:
    result = run("station", "SAW-1", "--step", "cut")
    assert result.exit_code == 1
    assert "tracker init" in result.stderr


def test_the_commands_work_on_postgresql_and_move_a_shop_there(
    shop: Run, cluster: Cluster, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shop("station", "SAW-1", "--step", "cut")
    shop(*_import(tmp_path))
    copy = str(tmp_path / "sqlite.db")
    assert shop("backup", copy).exit_code == 0
    monkeypatch.setenv("TRACKER_DATABASE_URL", cluster.make("cli_shop", None))
    assert shop("restore", copy).exit_code == 0
    assert shop("verify").exit_code == 0
    assert shop("station", "SAW-1", "--step", "cut").exit_code == 1
    assert shop("station", "SAW-2", "--step", "cut").stdout.startswith("S00100002")  # 100,000 codes are left out
    assert shop(*_import(tmp_path)).exit_code == 1
    back = tmp_path / "postgresql.db"
    assert shop("backup", str(back)).exit_code == 0
    monkeypatch.delenv("TRACKER_DATABASE_URL")
    assert shop("restore", str(back)).exit_code == 0
    assert shop("station", "SAW-2", "--step", "cut").exit_code == 1
    assert shop("verify").exit_code == 0
    cluster.drop("cli_shop")


def test_labels_are_printed_on_a_network_printer_and_what_became_of_them_is_said(shop: Run, tmp_path: Path) -> None:
    from tests.network_printer import network_printer

    shop(*_import(tmp_path))
    with network_printer(tmp_path / "device") as device:
        size = ("--width", "100", "--height", "50")
        added = shop("printer", "add", "LABEL-1", device.address, *size)
        assert (added.exit_code, added.stdout) == (0, "LABEL-1 is added. It is ready.\n")
        printed = shop("print", "J-1", "--printer", "LABEL-1")
        assert (printed.exit_code, printed.stdout) == (0, "Print 1, 3 labels on LABEL-1: printed.\n")
        again = shop("print", "J-1", "--printer", "LABEL-1")
        assert (again.exit_code, "only with a reason" in again.stderr) == (1, True)
        boxes = shop("print", "J-1", "--printer", "LABEL-1", "--what", "boxes")
        assert (boxes.exit_code, "do not have the size that is loaded" in boxes.stderr) == (1, True)
        assert len(device.got()) == 1
        device.switch_off()
        off = shop("print", "J-1", "--printer", "LABEL-1", "--cabinet", "102", "--reason", "lost", "--json")
        assert (off.exit_code, "Nothing was printed" in off.stderr) == (1, True)
        assert "off, or not on the network" in shop("printer", "list").stdout
    assert shop("printer", "withdraw", "LABEL-1").exit_code == 0
    assert "There are: –" in shop("print", "J-1", "--printer", "LABEL-1").stderr
