"""The commands, as a person or a script runs them."""

import fcntl
import json
import os
import re
import shutil
import subprocess
import sys
import urllib.request
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from openpyxl import Workbook
from PIL import Image
from pypdf import PdfReader

from tests.conftest import Cluster, missing_tool
from tests.reading import codes_in
from tests.waiting import HANGS_AFTER_S
from tracker.cli import main
from tracker.records.database import Database, sqlite_module
from tracker.shop.codes import Code, Kind, box_code, part_code
from tracker.work.label_setup import label_key

Run = Callable[..., Result]
LIST = "cabinet,part,quantity,length,width,thickness,edges\n101,Deck,2,22 1/4,22,3/4,L1\n102,End,1,28 3/8,22,3/4,\n"

_ORDER = ("--job", "J-9", "--customer", "Invented", "--due", "2027-03-05")


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    monkeypatch.setenv("TRACKER_DATA_DIR", str(tmp_path / "data"))
    monkeypatch.delenv("TRACKER_DATABASE_URL", raising=False)
    runner = CliRunner()

    def call(*arguments: str) -> Result:
        return runner.invoke(main, list(arguments))

    return call


@pytest.fixture(scope="session")
def ready(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The data folder of a shop that ``tracker init`` made, to be copied."""
    data = tmp_path_factory.mktemp("ready") / "data"
    assert CliRunner().invoke(main, ["init"], env={"TRACKER_DATA_DIR": str(data)}).exit_code == 0
    return data


@pytest.fixture
def shop(run: Run, ready: Path, tmp_path: Path) -> Run:
    shutil.copytree(ready, tmp_path / "data")
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
    assert (refused.exit_code, "prefix: wanted: the prefix of a company" in refused.stderr) == (1, True)
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
    told: dict[str, Any] = {
        "code": "J-1",
        "parts": 3,
        "cabinets": 2,
        "boxes": [],
        "columns": {},
        "warnings": [],
        "ways": [],
    }
    told["dry_run"] = True
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
    own, fewest = shop(*_import(tmp_path, "--dry-run")).stdout.splitlines()[1:]
    assert own.startswith("Kept together: cabinet. ")
    assert "stops at most 1 cabinet, 1.0 on average" in own
    assert fewest.startswith("Kept together: fewest boxes. ")
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


def test_a_refusal_says_its_place_and_its_reason_once(shop: Run, tmp_path: Path) -> None:
    (tmp_path / "cartons.toml").write_text("[[carton]]\nname = = 1\n")
    refused = shop("list", "cartons", str(tmp_path / "cartons.toml"))
    assert (refused.exit_code, refused.stderr.count("line 2"), refused.stderr.count("TOML")) == (1, 1, 1)
    assert shop("gs1", "0412345").stderr.count("the prefix of a company") == 1
    book = Workbook()
    for row in (["cabinet", "part", "length", "width", "thickness"], ["101", "Deck", "=500+64", 560, 18]):
        book.worksheets[0].append(row)
    book.save(tmp_path / "list.xlsx")
    refused = shop("import", str(tmp_path / "list.xlsx"), *_ORDER)
    assert "  line 2, cell C2, column length: a formula without a value" in refused.stderr


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


def test_damage_is_told_in_a_few_lines_with_the_step_that_mends_it(job: Run, tmp_path: Path) -> None:
    copy, bad = tmp_path / "copy.db", tmp_path / "bad.db"
    job("backup", str(copy))
    with closing(sqlite_module.connect(str(copy))) as raw:
        pages = [page for (page,) in raw.execute("SELECT rootpage FROM sqlite_master WHERE rootpage > 9")]
        (size,) = raw.execute("PRAGMA page_size").fetchone()
    content = bytearray(copy.read_bytes())
    for page in pages:
        content[size * (page - 1) : size * page] = b"\x91" * size
    bad.write_bytes(content)
    refused = job("restore", str(bad))
    assert "is damaged: " in refused.stderr
    assert "Restore another backup; nothing was changed." in refused.stderr
    shutil.copyfile(bad, tmp_path / "data" / "tracker.db")
    for arguments in (("verify",), ("verify", "--json"), ("backup", str(tmp_path / "none.db"))):
        told = job(*arguments)
        assert (told.exit_code, told.stderr.endswith("restore the last good backup.\n")) == (1, True), told.stderr
        assert len(told.output.splitlines()) <= 5
        assert max(map(len, told.output.splitlines())) < 200


def test_verify_says_where_the_kept_state_is_not_what_the_log_says(shop: Run, tmp_path: Path) -> None:
    from sqlalchemy import text

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
    *lines, last = (json.loads(line) for line in result.stdout.splitlines())
    found = [line["what"] for line in lines]
    assert (len(found), last) == (4, {"findings": 4, "whole": True})
    assert {what.split()[0] for what in found} == {"part", "box", "tally", "job"}


# Where results go, and what goes wrong there


@pytest.fixture
def job(shop: Run, tmp_path: Path) -> Run:
    assert shop(*_import(tmp_path)).exit_code == 0
    return shop


def test_a_result_goes_to_standard_output_and_its_sentence_elsewhere(job: Run) -> None:
    written = job("labels", "J-1", "--out", "-", "--json")
    assert (written.exit_code, written.stdout_bytes[:5]) == (0, b"%PDF-")
    assert json.loads(written.stderr)["labels"] == 5
    assert "5 labels on standard output." in job("labels", "J-1", "--out", "-").stderr


def test_a_result_goes_through_a_pipe_a_device_and_a_link_and_leaves_them_what_they_are(
    job: Run, tmp_path: Path
) -> None:
    pipe, link, file = tmp_path / "pipe", tmp_path / "link", tmp_path / "labels.pdf"
    os.mkfifo(pipe)
    link.symlink_to(file)
    file.write_text("an older one")
    file.chmod(0o640)
    reader = os.open(pipe, os.O_RDONLY | os.O_NONBLOCK)
    fcntl.fcntl(reader, fcntl.F_SETPIPE_SZ, 1 << 20)
    assert job("labels", "J-1", "--out", str(pipe)).exit_code == 0
    assert os.read(reader, 5) == b"%PDF-"
    os.close(reader)
    assert job("labels", "J-1", "--out", str(link)).exit_code == 0
    assert job("labels", "J-1", "--out", "/dev/null").exit_code == 0
    assert (pipe.is_fifo(), link.is_symlink(), Path("/dev/null").is_char_device()) == (True, True, True)
    assert (file.read_bytes()[:5], file.stat().st_mode & 0o777) == (b"%PDF-", 0o640)
    assert sorted(path.name for path in tmp_path.glob("*.partial")) == []


@pytest.mark.parametrize("command", [("labels", "J-1", "--check"), ("boards", "J-1"), ("cards",), ("readrates",)])
def test_a_place_that_cannot_be_written_is_told_before_the_work(
    job: Run, tmp_path: Path, command: tuple[str, ...]
) -> None:
    for place in (tmp_path / "nowhere" / "x", tmp_path / "list.csv" / "x", "/proc/x"):
        refused = job(*command, "--out", str(place))
        _told_in_a_sentence(refused)
        assert (refused.stdout, "cannot be written" in refused.stderr) == ("", True)
    with Database(f"sqlite:///{tmp_path / 'data' / 'tracker.db'}").read() as connection:
        assert connection.exec_driver_sql("SELECT count(*) FROM board").scalar_one() == 0


def test_what_is_no_folder_takes_no_sheets_and_what_is_no_file_gives_no_shop(
    job: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    for place in ("-", "/dev/full", "list.csv"):
        for command in (("sheets", "J-1"), ("tls", "shop")):
            refused = job(*command, "--out", place)
            assert (refused.exit_code, f"{place} is no folder." in refused.stderr) == (2, True), refused.stderr
    assert not (tmp_path / "-").exists()
    missing = job("backup", "missing/one.db").stderr
    assert missing == "Error: missing/one.db cannot be written: there is no folder missing. Make it, or name another.\n"
    assert "/dev/zero is no regular file." in job("restore", "/dev/zero").stderr
    assert ". is a folder." in job("restore", ".").stderr


def test_a_backup_is_never_written_to_standard_output_or_to_a_file_of_that_name(
    job: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    refused = job("backup", "-")
    assert (refused.exit_code, refused.stdout, "Name a file" in refused.stderr) == (2, "", True)
    assert not (tmp_path / "-").exists()


def test_standard_output_by_its_name_as_a_file_is_written_through(job: Run, tmp_path: Path) -> None:
    for name in ("/dev/stdout", "/dev/fd/1"):
        with (tmp_path / "got").open("wb") as got:
            done = _in_a_process(["cards", "--out", name], stdout=got)
        assert (done.returncode, "labels on standard output" in done.stderr) == (0, True)
        assert (tmp_path / "got").read_bytes().startswith(b"%PDF-")
    assert Path("/dev/stdout").is_symlink()


def _in_a_process(arguments: list[str], **more: Any) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-c", "from tracker.cli import main; main()", *arguments]
    return subprocess.run(command, stderr=subprocess.PIPE, text=True, check=False, timeout=HANGS_AFTER_S, **more)


_NOWHERE = "/nowhere/at/all"
_OUTS = [("labels", "J-1"), ("boards", "J-1"), ("cards",)]
_TROUBLES = [
    *((*command, "--out", where) for command in _OUTS for where in (f"{_NOWHERE}/x", "/dev/full", "list.csv/x", ".")),
    ("sheets", "J-2", "--out", "list.csv/sheets"),
    ("tls", "shop", "--out", "list.csv/tls"),
    ("backup", f"{_NOWHERE}/copy.db"),
    ("backup", "list.csv/copy.db"),
    ("backup", "."),
    ("restore", f"{_NOWHERE}/copy.db"),
    ("restore", "."),
    ("restore", "list.csv"),
    ("restore", "/proc/self/mem"),
    *(("import", where, *_ORDER) for where in (_NOWHERE, ".", "/proc/self/mem", "/dev/null", "/dev/zero")),
    ("import", "list.csv", "--units", "in", "--items", "/dev/zero", *_ORDER),
    *(
        (kind, *more, where)
        for kind, *more in (("list", "boards"), ("layout",))
        for where in (_NOWHERE, ".", "/proc/self/mem", "/dev/zero")
    ),
    *(("person", "Ida", "--role", "admin", "--password-file", where) for where in ("/proc/self/mem", "/dev/zero")),
    ("restore", "/dev/zero"),
    ("layout", "--choose", "/dev/zero"),
    ("serve", "--certificate", "/dev/zero", "--key", "/dev/zero"),
    ("serve", "--certificate", _NOWHERE, "--key", _NOWHERE),
    ("serve", "--host", "192.0.2.1", "--port", "8000"),
    ("print", "J-1", "--printer", "NONE"),
]


@pytest.mark.parametrize("arguments", _TROUBLES, ids=" ".join)
def test_a_file_or_folder_that_cannot_be_used_is_told_in_a_sentence(
    job: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, arguments: tuple[str, ...]
) -> None:
    monkeypatch.chdir(tmp_path)
    _told_in_a_sentence(job(*arguments))
    assert [path for path in tmp_path.rglob("*partial*") if path.exists()] == []


def _told_in_a_sentence(result: Result) -> None:
    assert isinstance(result.exception, SystemExit), result.exception
    assert result.exit_code in (1, 2)
    assert "Traceback" not in result.output
    told = result.stderr.splitlines()
    assert told[-1].startswith("Error: ") or told[-1].startswith("  ")
    assert len([line for line in told if line.startswith("Error: ")]) == 1
    assert len(told) <= 4


_BAD_SURROUNDINGS = {
    "address without sense": {"TRACKER_DATABASE_URL": "nonsense"},
    "address of another kind": {"TRACKER_DATABASE_URL": "oracle://shop@host/x"},
    "address without a file": {"TRACKER_DATABASE_URL": "sqlite://"},
    "port that is none": {"TRACKER_DATABASE_URL": "postgresql://shop@host:port/x"},
    "server that is away": {"TRACKER_DATABASE_URL": "postgresql://shop@127.0.0.1:1/x"},
    "option that there is not": {"TRACKER_DATABASE_URL": "postgresql://shop@127.0.0.1:1/x?nonsense=1"},
    "file in no folder": {"TRACKER_DATABASE_URL": f"sqlite:///{_NOWHERE}/x.db"},
    "file that is a folder": {"TRACKER_DATABASE_URL": "sqlite:///folder"},
    "file that is no database": {"TRACKER_DATABASE_URL": "sqlite:///list.csv"},
    "folder below a file": {"TRACKER_DATA_DIR": "/dev/null/data"},
    "folder that cannot be made": {"TRACKER_DATA_DIR": "/proc/data"},
    "time zone that is none": {"TRACKER_TIMEZONE": "Mars/Olympus"},
}
_COMMANDS = [
    *(("init",), ("serve", "--port", "0"), ("token", "x", "--role", "admin"), ("withdraw", "x"), ("slot", "x")),
    *(("person", "x", "--role", "admin", "--badge-only"), ("station", "x", "--step", "cut"), ("list", "boards")),
    *(("import", "list.csv", *_ORDER), ("layout",), ("gs1",), ("labels", "J-1", "--out", "x"), ("cards", "--out", "x")),
    *(("labels", "J-1", "--check"), ("boards", "J-1", "--out", "x"), ("sheets", "J-1", "--out", "x"), ("verify",)),
    *(("printer", "list"), ("printer", "withdraw", "x"), ("print", "J-1", "--printer", "x"), ("backup", "x.db")),
    *(("restore", "copy.db"), ("printer", "add", "x", "ipp://127.0.0.1:1/x", "--width", "9", "--height", "9")),
    *(("jobs",), ("missing",), ("job", "J-1"), ("part", part_code(1)), ("box", box_code(1))),
]


@pytest.mark.parametrize("bad", _BAD_SURROUNDINGS)
def test_surroundings_that_are_wrong_are_told_in_a_sentence_by_every_command(
    job: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, bad: str
) -> None:
    monkeypatch.chdir(tmp_path)
    assert job("backup", "copy.db").exit_code == 0
    (tmp_path / "folder").mkdir(mode=0o755)
    before = (tmp_path.stat().st_mode, (tmp_path / "folder").stat().st_mode, (tmp_path / "list.csv").stat().st_mode)
    for name, value in _BAD_SURROUNDINGS[bad].items():
        monkeypatch.setenv(name, value)
    damaged = bad == "file that is no database"  # of which a restore is the cure
    for arguments in _COMMANDS if not damaged else [each for each in _COMMANDS if each[0] != "restore"]:
        _told_in_a_sentence(job(*arguments))
    assert (tmp_path / "list.csv").read_text() == LIST
    after = (tmp_path.stat().st_mode, (tmp_path / "folder").stat().st_mode, (tmp_path / "list.csv").stat().st_mode)
    assert after == before


def test_every_command_is_tried_in_wrong_surroundings() -> None:
    own_surroundings = {"demo", "bench", "readrates", "tls"}
    tried = {arguments[0] for arguments in _COMMANDS}
    assert tried == set(main.commands) - own_surroundings


def test_what_this_user_may_not_read_or_write_is_told_in_a_sentence(job: Run, tmp_path: Path) -> None:
    """Asked in a process that is nobody where the tests are root: root may do everything."""
    program = (
        "import os, tracker.records.holding, tracker.work.verify; from tracker.cli import main\n"
        "os.getuid() or os.setuid(65534)\n"
        "main(['verify'])"
    )
    (tmp_path / "data").chmod(0)
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=False, timeout=HANGS_AFTER_S
    )
    (tmp_path / "data").chmod(0o700)
    assert (done.returncode, done.stderr.count("\n"), done.stderr[:7]) == (1, 1, "Error: "), done.stderr
    assert "Permission denied" in done.stderr


@pytest.mark.parametrize(
    "arguments",
    [["verify", "--json"], ["layout"], ["labels", "J-1", "--out", "-"], ["token", "x", "--role", "station"]],
)
def test_a_full_disk_behind_standard_output_is_told_in_a_sentence(job: Run, arguments: list[str]) -> None:
    with Path("/dev/full").open("wb") as full:
        done = _in_a_process(arguments, stdout=full)
    assert (done.returncode, done.stderr.count("\n")) == (1, 1), done.stderr
    assert "No space left" in done.stderr


def test_verify_prints_json_whatever_it_finds(job: Run, tmp_path: Path) -> None:
    assert json.loads(job("verify", "--json").stdout) == {"findings": 0, "whole": True}
    file = tmp_path / "data" / "tracker.db"
    content = bytearray(file.read_bytes())
    content[8_192 : len(content) // 2] = bytes(len(content) // 2 - 8_192)
    file.write_bytes(content)
    damaged = job("verify", "--json")
    *lines, last = (json.loads(line) for line in damaged.stdout.splitlines())
    assert (damaged.exit_code, last) == (1, {"findings": len(lines), "whole": False})
    assert {line["what"] for line in lines} == {"the database's file"}
    file.unlink()
    missing = job("verify", "--json")
    assert (missing.exit_code, json.loads(missing.stdout)) == (1, {"findings": 0, "whole": False})


def test_a_restore_is_refused_while_the_service_runs_and_brings_back_the_key(
    job: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    copy = str(tmp_path / "copy.db")
    key = (tmp_path / "data" / "secret_key").read_text()
    assert job("backup", copy).exit_code == 0
    command = [sys.executable, "-c", "from tracker.cli import main; main()", "serve", "--port", "0"]
    with subprocess.Popen(command, stderr=subprocess.PIPE, text=True) as service:
        assert service.stderr is not None
        while "Serving on" not in service.stderr.readline():
            assert service.poll() is None
        refused = job("restore", copy)
        assert (refused.exit_code, "Stop the service" in refused.stderr) == (1, True)
        service.terminate()
        service.wait(30)
    assert job("restore", copy).exit_code == 0
    monkeypatch.setenv("TRACKER_DATA_DIR", str(tmp_path / "elsewhere"))
    assert job("restore", copy).exit_code == 0
    assert (tmp_path / "elsewhere" / "secret_key").read_text() == key
    monkeypatch.setenv("TRACKER_SECRET_KEY", "another")
    assert "TRACKER_SECRET_KEY is another key" in job("restore", copy).stdout


def test_after_a_restore_that_could_not_write_the_key_the_next_start_writes_it(
    job: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    copy, new = str(tmp_path / "copy.db"), tmp_path / "new"
    key = (tmp_path / "data" / "secret_key").read_text()
    assert job("backup", copy).exit_code == 0
    monkeypatch.setenv("TRACKER_DATA_DIR", str(new))
    (new / "secret_key").mkdir(parents=True)  # no file takes the place of a folder
    monkeypatch.setenv("TRACKER_SECRET_KEY", "another")
    refused = job("restore", copy)
    _told_in_a_sentence(refused)
    assert (refused.exit_code, "secret_key" in refused.stderr) == (1, True)
    monkeypatch.delenv("TRACKER_SECRET_KEY")
    (new / "secret_key").rmdir()
    (new / "restoring.db").write_text("left by one that was killed")
    command = [sys.executable, "-c", "from tracker.cli import main; main()", "serve", "--port", "0"]
    with subprocess.Popen(command, stderr=subprocess.PIPE, text=True) as service:
        assert service.stderr is not None
        while (found := re.search(r"Serving on (\S+)", service.stderr.readline())) is None:
            assert service.poll() is None
        code = part_code(1)
        try:
            link = f"{found.group(1)}/q/{code}/{label_key(key, code)}"  # as it stands on a label
            with urllib.request.urlopen(link, timeout=HANGS_AFTER_S) as answer:
                assert answer.status == 200
        finally:
            service.terminate()
    assert (new / "secret_key").read_text() == key
    assert sorted(path.name for path in new.glob("restoring*")) == []


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
        assert (boxes.exit_code, "labels of 100 × 50 mm are loaded" in boxes.stderr) == (1, True)
        assert len(device.got()) == 1
        device.switch_off()
        off = shop("print", "J-1", "--printer", "LABEL-1", "--cabinet", "102", "--reason", "lost", "--json")
        assert (off.exit_code, "Nothing was printed" in off.stderr) == (1, True)
        assert "off, or not on the network" in shop("printer", "list").stdout
    assert shop("printer", "withdraw", "LABEL-1").exit_code == 0
    assert "There are: –" in shop("print", "J-1", "--printer", "LABEL-1").stderr


def test_settings_may_stand_in_a_file_where_the_command_is_given_and_the_environment_goes_before_it(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / ".env").write_text(f"TRACKER_DATABASE_URL='sqlite:///{tmp_path}/other.db'\nPATH=nothing\n")
    assert run("init").exit_code == 0
    assert (tmp_path / "other.db").exists()
    (tmp_path / "url").write_text(f"sqlite:///{tmp_path}/first.db")
    monkeypatch.setenv("TRACKER_DATABASE_URL_FILE", str(tmp_path / "url"))
    assert run("init").exit_code == 0
    assert (tmp_path / "first.db").exists()


def test_a_password_in_a_settings_file_is_taken_as_it_is_and_a_file_that_is_no_text_is_refused(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / ".env").write_text("TRACKER_TIMEZONE='${HOME}'\n")
    assert "${HOME} is not known" in run("init").output
    (tmp_path / ".env").write_bytes(b"\xff\xfe\x00")
    refused = run("init")
    assert refused.exit_code == 1
    assert "not a text in UTF-8" in refused.output
