"""Backup and restore: a copy is whole, checked, and good for both databases."""

from pathlib import Path

import pytest

from tests.conftest import Cluster
from tests.floor import Floor
from tracker.records import look
from tracker.records.copies import LEFT_OUT, check_copy, copy_to, restore_from
from tracker.records.database import Database
from tracker.shop.codes import box_code, part_code, read_code
from tracker.shop.errors import ConflictError, InvalidInputError
from tracker.work.access import add_slot
from tracker.work.verify import verify


def test_a_copy_made_in_the_middle_of_the_work_is_whole_and_restores(floor: Floor, tmp_path: Path) -> None:
    floor.seal_both()
    copy_to(floor.database, tmp_path / "copy.db")
    floor.plan(floor.box_101)
    restored = Database(f"sqlite:///{tmp_path / 'restored.db'}")
    assert restore_from(restored, tmp_path / "copy.db") is None
    assert list(verify(restored)) == []
    floor.database = restored
    assert floor.box(floor.box_101).state == "sealed"
    assert floor.box(floor.box_101).load is None
    assert floor.plan(floor.box_101)
    restored.close()


def test_a_copy_of_sqlite_restores_into_an_empty_postgresql(sqlite: Database, cluster: Cluster, tmp_path: Path) -> None:
    floor = Floor(sqlite)
    floor.seal_both()
    copy_to(sqlite, tmp_path / "copy.db")
    target = Database(cluster.make("restored_shop", None))
    restore_from(target, tmp_path / "copy.db")
    assert list(verify(target)) == []
    with pytest.raises(ConflictError, match="empty"):
        restore_from(target, tmp_path / "copy.db")
    floor.database = target
    load = floor.plan(floor.box_101)
    assert floor.scan(floor.box_101, "SHIP-1").ok
    floor.ship(load, floor.box_102)
    floor.check()
    target.close()
    cluster.drop("restored_shop")


def test_what_a_restore_replaces_is_kept_beside_it(sqlite: Database, tmp_path: Path) -> None:
    floor = Floor(sqlite)
    copy_to(sqlite, tmp_path / "copy.db")
    floor.pack_all()
    kept = restore_from(sqlite, tmp_path / "copy.db")
    assert kept is not None
    assert floor.part(floor.deck).status == "waiting"
    before = Database(f"sqlite:///{kept}")
    assert Floor.part(_on(floor, before), floor.deck).status == "packed"
    before.close()


def test_after_a_restore_no_code_is_given_that_may_be_on_a_label_already(sqlite: Database, tmp_path: Path) -> None:
    floor = Floor(sqlite)
    copy_to(sqlite, tmp_path / "copy.db")
    floor.take("J-2")
    load = floor.plan(floor.box_101)
    lost = {floor.part(part_code(number)).code for number in (4, 5, 6)} | {box_code(3), box_code(4), load}
    restore_from(sqlite, tmp_path / "copy.db")
    floor.take("J-3")
    with sqlite.read() as connection:
        parts = look.parts_of_job(connection, floor.job("J-3").id, limit=10)
    new = {part.code for part in parts} | {part.box for part in parts} | {floor.plan(floor.box_101)}
    assert not new & lost
    assert min(read_code(part.code).number for part in parts) == 6 + LEFT_OUT + 1
    slots = [read_code(code).number for code in (floor.slot, add_slot(sqlite, "CART-2"))]
    assert slots == [1, 1 + LEFT_OUT + 1]
    floor.check()


def _on(floor: Floor, database: Database) -> Floor:
    other = object.__new__(Floor)
    other.__dict__.update(floor.__dict__, database=database)
    return other


def test_a_file_that_is_there_is_never_overwritten(sqlite: Database, tmp_path: Path) -> None:
    (tmp_path / "copy.db").write_text("precious")
    with pytest.raises(ConflictError, match="there already"):
        copy_to(sqlite, tmp_path / "copy.db")
    assert (tmp_path / "copy.db").read_text() == "precious"


def test_a_damaged_cut_or_foreign_file_is_refused_and_changes_nothing(sqlite: Database, tmp_path: Path) -> None:
    floor = Floor(sqlite)
    floor.pack_all()
    copy_to(sqlite, tmp_path / "copy.db")
    whole = (tmp_path / "copy.db").read_bytes()
    bad = tmp_path / "bad.db"
    spoiled = bytearray(whole)
    spoiled[len(spoiled) // 2 : len(spoiled) // 2 + 8_000] = b"\xff" * 8_000
    for content in (whole[: len(whole) // 2], b"not a database at all" * 100, bytes(spoiled), b""):
        bad.write_bytes(content)
        with pytest.raises(InvalidInputError):
            restore_from(sqlite, bad)
    with pytest.raises(InvalidInputError, match="no file"):
        check_copy(tmp_path / "nowhere.db")
    assert floor.part(floor.deck).status == "packed"
    floor.check()
