"""Backup and restore: a copy is whole, checked, and good for both databases."""

import os
import shutil
import signal
import subprocess
import sys
from contextlib import closing, suppress
from pathlib import Path
from types import FrameType

import pytest
from alembic import command
from sqlalchemy import Connection, inspect
from sqlalchemy.exc import DBAPIError

from tests.conftest import Cluster
from tests.floor import Floor
from tests.waiting import until
from tracker.files import put_file
from tracker.records import copies
from tracker.records.copies import LEFT_OUT, check_copy, copy_to, restore_from
from tracker.records.database import Database, companions, sqlite_module
from tracker.records.holding import hold
from tracker.records.integrity import damage
from tracker.records.migrate import _config
from tracker.records.parts import parts_of_job
from tracker.records.restoring import finish_restore
from tracker.settings import Settings
from tracker.shop.codes import box_code, part_code, read_code
from tracker.shop.errors import ConflictError, InvalidInputError
from tracker.work.access import add_slot
from tracker.work.verify import Damage, verify

KEY = "the key of a test"


def _settings(folder: Path, key: str = KEY) -> Settings:
    return Settings(data_dir=folder, database_url="", secret_key=key)


def test_a_copy_made_in_the_middle_of_the_work_is_whole_and_restores(floor: Floor, tmp_path: Path) -> None:
    floor.seal_both()
    copy_to(floor.database, tmp_path / "copy.db", secret_key=KEY)
    floor.plan(floor.box_101)
    restored = Database(f"sqlite:///{tmp_path / 'restored.db'}")
    assert restore_from(restored, tmp_path / "copy.db", _settings(tmp_path)).kept is None
    assert list(verify(restored)) == []
    floor.database = restored
    assert floor.box(floor.box_101).state == "sealed"
    assert floor.box(floor.box_101).load is None
    assert floor.plan(floor.box_101)
    restored.close()


def test_a_copy_of_sqlite_restores_into_an_empty_postgresql(sqlite: Database, cluster: Cluster, tmp_path: Path) -> None:
    floor = Floor(sqlite)
    floor.seal_both()
    copy_to(sqlite, tmp_path / "copy.db", secret_key=KEY)
    target = Database(cluster.make("restored_shop", None))
    restore_from(target, tmp_path / "copy.db", _settings(tmp_path))
    assert list(verify(target)) == []
    with pytest.raises(ConflictError, match="empty"):
        restore_from(target, tmp_path / "copy.db", _settings(tmp_path))
    floor.database = target
    load = floor.plan(floor.box_101)
    assert floor.scan(floor.box_101, "SHIP-1").ok
    floor.ship(load, floor.box_102)
    floor.check()
    target.close()
    cluster.drop("restored_shop")


def test_what_a_restore_replaces_is_kept_beside_it(sqlite: Database, tmp_path: Path) -> None:
    floor = Floor(sqlite)
    copy_to(sqlite, tmp_path / "copy.db", secret_key=KEY)
    floor.pack_all()
    kept = restore_from(sqlite, tmp_path / "copy.db", _settings(tmp_path)).kept
    assert kept is not None
    assert floor.part(floor.deck).status == "waiting"
    before = Database(f"sqlite:///{kept}")
    assert Floor.part(_on(floor, before), floor.deck).status == "packed"
    before.close()


def test_after_a_restore_no_code_is_given_that_may_be_on_a_label_already(sqlite: Database, tmp_path: Path) -> None:
    floor = Floor(sqlite)
    copy_to(sqlite, tmp_path / "copy.db", secret_key=KEY)
    floor.take("J-2")
    load = floor.plan(floor.box_101)
    lost = {floor.part(part_code(number)).code for number in (4, 5, 6)} | {box_code(3), box_code(4), load}
    restore_from(sqlite, tmp_path / "copy.db", _settings(tmp_path))
    floor.take("J-3")
    with sqlite.read() as connection:
        parts = parts_of_job(connection, floor.job("J-3").id, limit=10)
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
        copy_to(sqlite, tmp_path / "copy.db", secret_key=KEY)
    assert (tmp_path / "copy.db").read_text() == "precious"


def test_a_damaged_cut_or_foreign_file_is_refused_and_changes_nothing(sqlite: Database, tmp_path: Path) -> None:
    floor = Floor(sqlite)
    floor.pack_all()
    copy_to(sqlite, tmp_path / "copy.db", secret_key=KEY)
    whole = (tmp_path / "copy.db").read_bytes()
    bad = tmp_path / "bad.db"
    spoiled = bytearray(whole)
    spoiled[len(spoiled) // 2 : len(spoiled) // 2 + 8_000] = b"\xff" * 8_000
    for content in (whole[: len(whole) // 2], b"not a database at all" * 100, bytes(spoiled), b""):
        bad.write_bytes(content)
        with pytest.raises(InvalidInputError):
            restore_from(sqlite, bad, _settings(tmp_path))
    with pytest.raises(InvalidInputError, match="no file"):
        check_copy(tmp_path / "nowhere.db")
    assert floor.part(floor.deck).status == "packed"
    floor.check()


def test_a_copy_holds_the_key_and_gives_it_to_the_folder_where_it_is_restored(
    database: Database, tmp_path: Path
) -> None:
    copy_to(database, tmp_path / "copy.db", secret_key=KEY)
    new = Database(f"sqlite:///{tmp_path / 'new.db'}")
    settings = _settings(tmp_path, key="made a moment ago")
    assert restore_from(new, tmp_path / "copy.db", settings).secret_key == KEY
    assert settings.secret_file.read_text() == KEY
    assert settings.secret_file.stat().st_mode & 0o777 == 0o600
    kept = restore_from(new, tmp_path / "copy.db", _settings(tmp_path, key="another")).kept
    new.close()
    assert kept is not None
    with closing(sqlite_module.connect(str(kept))) as raw:
        assert raw.execute("SELECT secret_key FROM copied_key").fetchall() == [("another",)]
    with closing(sqlite_module.connect(str(tmp_path / "new.db"))) as raw:
        assert raw.execute("SELECT name FROM sqlite_master WHERE name LIKE '%_key'").fetchall() == []


@pytest.mark.parametrize("gone", ["DROP TABLE copied_key", "UPDATE copied_key SET secret_key = ' '"])
def test_a_copy_without_a_key_leaves_the_key_that_is_there(sqlite: Database, tmp_path: Path, gone: str) -> None:
    copy_to(sqlite, tmp_path / "copy.db", secret_key=KEY)
    with closing(sqlite_module.connect(str(tmp_path / "copy.db"))) as raw, raw:
        raw.execute(gone)
    assert restore_from(sqlite, tmp_path / "copy.db", _settings(tmp_path)).secret_key is None
    assert not _settings(tmp_path).secret_file.exists()


def test_the_owner_alone_reads_the_database_what_lies_beside_it_and_its_copies(
    sqlite: Database, tmp_path: Path
) -> None:
    sqlite.close()
    sqlite.file.chmod(0o644)
    with sqlite.write():
        copy_to(sqlite, tmp_path / "copy.db", secret_key=KEY)
        names = [sqlite.file, *companions(sqlite.file), tmp_path / "copy.db"]
        assert [oct(name.stat().st_mode & 0o777) for name in names] == ["0o600"] * 4
    kept = restore_from(sqlite, tmp_path / "copy.db", _settings(tmp_path)).kept
    assert kept is not None
    assert kept.stat().st_mode & 0o777 == 0o600
    with sqlite.read():
        assert sqlite.file.stat().st_mode & 0o777 == 0o600


def test_a_copy_is_one_file_that_is_read_without_writing_beside_it(database: Database, tmp_path: Path) -> None:
    copy_to(database, tmp_path / "copies.db", secret_key=KEY)
    check_copy(tmp_path / "copies.db")
    assert [path.name for path in tmp_path.glob("copies.db*")] == ["copies.db"]
    with closing(sqlite_module.connect(str(tmp_path / "copies.db"))) as raw:
        assert raw.execute("PRAGMA journal_mode").fetchone() == ("delete",)


def test_a_restore_is_refused_while_anybody_has_the_database_and_nobody_gets_it_meanwhile(
    database: Database, tmp_path: Path
) -> None:
    copy_to(database, tmp_path / "copy.db", secret_key=KEY)
    services = [Database(str(database.url)) for _each in range(2)]
    with hold(services[0]), hold(services[1]):  # several services share it
        for service in services:
            with service.read():
                pass
        with pytest.raises(ConflictError, match="Stop the service"):
            restore_from(database, tmp_path / "copy.db", _settings(tmp_path))
    with hold(database, alone=True), pytest.raises(ConflictError, match="being restored"), hold(services[0]):
        pass
    restore_from(database, tmp_path / "copy.db", _settings(tmp_path))
    for service in services:
        service.close()


def test_a_service_that_is_killed_has_the_database_no_more(database: Database, tmp_path: Path) -> None:
    copy_to(database, tmp_path / "copy.db", secret_key=KEY)
    program = (
        "from tracker.records.database import Database; from tracker.records.holding import hold\n"
        f"with hold(Database({database.url.render_as_string(hide_password=False)!r})):\n"
        "    print('held', flush=True); input()"
    )
    with subprocess.Popen(
        [sys.executable, "-c", program], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as service:
        assert service.stdout is not None
        assert service.stdout.readline() == "held\n"
        with pytest.raises(ConflictError, match="in use"):
            restore_from(database, tmp_path / "copy.db", _settings(tmp_path))
        service.kill()
        service.wait()
    until(lambda: _is_free(database))  # PostgreSQL notices a moment later that its client is gone
    restore_from(database, tmp_path / "copy.db", _settings(tmp_path))


def _is_free(database: Database) -> bool:
    with suppress(ConflictError), hold(database, alone=True):
        return True
    return False


@pytest.mark.parametrize("revision", ["0001", "0004", "0006"])
def test_a_copy_of_an_earlier_version_restores_on_both_databases(
    database: Database, sqlite_template: Path, tmp_path: Path, revision: str
) -> None:
    shutil.copyfile(sqlite_template, tmp_path / "older.db")
    older = Database(f"sqlite:///{tmp_path / 'older.db'}")
    floor = Floor(older)
    floor.seal_both()
    config = _config()
    with older.engine.begin() as connection:
        config.attributes["connection"] = connection
        command.downgrade(config, revision)
    older.close()
    restore_from(database, tmp_path / "older.db", _settings(tmp_path))
    assert list(verify(database)) == []
    floor.database = database
    assert floor.box(floor.box_101).state == "sealed"


def test_killed_at_any_moment_a_restore_leaves_the_former_shop_or_the_whole_new_one(
    sqlite: Database, tmp_path: Path
) -> None:
    """A child restores and is killed at the first, the second … step of it, until one comes through.

    Whoever opens the database next finishes it: the new shop has its own key, and nothing lies about.
    """
    floor = Floor(sqlite)
    copy_to(sqlite, tmp_path / "copy.db", secret_key=KEY)
    floor.take("J-2")
    sqlite.close()
    seen: set[int] = set()
    for moment in range(1, 10_000):
        folder = tmp_path / str(moment)
        folder.mkdir()
        shutil.copyfile(sqlite.file, folder / "shop.db")
        child = os.fork()
        if not child:
            _restore_and_be_killed(folder, tmp_path / "copy.db", moment)
        status = os.waitpid(child, 0)[1]
        after = Database(f"sqlite:///{folder / 'shop.db'}")
        finish_restore(after, _settings(folder, "the former key"))
        assert list(verify(after)) == []
        with after.read() as connection:
            assert not _tables_of_keys(connection)
            jobs = connection.exec_driver_sql("SELECT count(*) FROM job").scalar_one()
            last = connection.exec_driver_sql("SELECT last FROM counter WHERE name = 'part'").scalar_one()
        after.close()
        seen.add(jobs)
        assert (jobs, last) in ((2, 6), (1, 6 + LEFT_OUT))
        key = _settings(folder).secret_file
        assert (key.read_text() if key.exists() else None) == {2: None, 1: KEY}[jobs]
        assert list(folder.glob("restoring*")) == []
        shutil.rmtree(folder)
        if os.WIFEXITED(status):
            assert os.WEXITSTATUS(status) == 0
            break
    assert seen == {1, 2}


def test_a_key_that_could_not_be_written_stays_in_the_database_until_it_can(database: Database, tmp_path: Path) -> None:
    copy_to(database, tmp_path / "copy.db", secret_key=KEY)
    settings = _settings(tmp_path / "data", key="the former key")
    settings.secret_file.mkdir(parents=True)  # no file takes the place of a folder
    with pytest.raises(IsADirectoryError):
        restore_from(database, tmp_path / "copy.db", settings)
    copy_to(database, tmp_path / "later.db", secret_key="the former key")  # noqa: S106
    with closing(sqlite_module.connect(str(tmp_path / "later.db"))) as raw:
        assert raw.execute("SELECT secret_key FROM copied_key").fetchall() == [(KEY,)]
        assert raw.execute("SELECT name FROM sqlite_master WHERE name = 'restored_key'").fetchall() == []
    settings.secret_file.rmdir()
    for _again in range(2):
        finish_restore(database, settings)
        assert settings.secret_file.read_text() == KEY
        with database.read() as connection:
            assert not _tables_of_keys(connection)


def _tables_of_keys(connection: Connection) -> set[str]:
    return {"copied_key", "restored_key"} & set(inspect(connection).get_table_names())


def test_a_copy_that_is_opened_as_a_database_keeps_its_key(database: Database, tmp_path: Path) -> None:
    copy_to(database, tmp_path / "copy.db", secret_key=KEY)
    opened, settings = Database(f"sqlite:///{tmp_path / 'copy.db'}"), _settings(tmp_path, key="the shop's own key")
    finish_restore(opened, settings)
    assert not settings.secret_file.exists()
    with opened.read() as connection:
        assert _tables_of_keys(connection) == {"copied_key"}
    opened.close()


_STEPS = {
    function.__name__
    for function in (restore_from, copies._prepare, copies._put_in_place, copies._overwrite, finish_restore, put_file)
}


def _restore_and_be_killed(folder: Path, copy: Path, moment: int) -> None:
    left = moment

    def count(frame: FrameType, event: str, _what: object) -> None:
        nonlocal left
        if event in ("call", "c_call") and frame.f_code.co_name in _STEPS:
            left -= 1
            if not left:
                os.kill(os.getpid(), signal.SIGKILL)

    try:
        database = Database(f"sqlite:///{folder / 'shop.db'}")
        sys.setprofile(count)
        restore_from(database, copy, _settings(folder, "the former key"))
        sys.setprofile(None)
        os._exit(0)
    finally:
        os._exit(1)


@pytest.mark.parametrize("spoil", ["noise", "no head", "cut", "empty"])
def test_a_good_copy_takes_the_place_of_a_damaged_database_which_is_kept_as_it_is(
    sqlite: Database, tmp_path: Path, spoil: str
) -> None:
    floor = Floor(sqlite)
    copy_to(sqlite, tmp_path / "copy.db", secret_key=KEY)
    sqlite.close()
    content = bytearray(sqlite.file.read_bytes())
    if spoil == "noise":
        content[4_096 : len(content) // 2] = b"\xa5" * (len(content) // 2 - 4_096)
    elif spoil == "no head":
        content[:100] = bytes(100)
    length = {"cut": 10_000, "empty": 0}.get(spoil, len(content))
    sqlite.file.write_bytes(content[:length])
    kept = restore_from(sqlite, tmp_path / "copy.db", _settings(tmp_path)).kept
    assert list(verify(sqlite)) == []
    floor.check()
    assert (kept is None) == (spoil == "empty")


def test_a_damaged_database_is_told_by_verify_and_gives_no_copy(sqlite: Database, tmp_path: Path) -> None:
    Floor(sqlite).pack_all()
    with sqlite.read() as connection:
        page = connection.exec_driver_sql("SELECT rootpage FROM sqlite_master WHERE name = 'log'").scalar_one()
    with sqlite.engine.connect() as connection:
        connection.exec_driver_sql("COMMIT")
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
        connection.exec_driver_sql("BEGIN")
    sqlite.close()
    content = bytearray(sqlite.file.read_bytes())
    content[4_096 * (page - 1) : 4_096 * page] = b"\xa5" * 4_096
    sqlite.file.write_bytes(content)
    found = list(verify(sqlite))
    assert found
    assert all(isinstance(each, Damage) for each in found)
    with pytest.raises(InvalidInputError, match="The database"):
        copy_to(sqlite, tmp_path / "copy.db", secret_key=KEY)
    assert not (tmp_path / "copy.db").exists()


def test_a_file_with_noise_in_it_is_called_damaged_and_never_foreign(sqlite: Database, tmp_path: Path) -> None:
    Floor(sqlite).seal_both()
    copy_to(sqlite, tmp_path / "copy.db", secret_key=KEY)
    whole = (tmp_path / "copy.db").read_bytes()
    with closing(sqlite_module.connect(str(tmp_path / "copy.db"))) as raw:
        (size,) = raw.execute("PRAGMA page_size").fetchone()
        pages = [page for (page,) in raw.execute("SELECT rootpage FROM sqlite_master WHERE name IN ('job', 'log')")]
    name = whole.index(b"ix_box_job_id_state")
    for begin, end in ((100, size), *((size * (page - 1), size * page) for page in pages), (name, name + 9)):
        _spoil(tmp_path / "bad.db", whole, begin, end)
        with pytest.raises(InvalidInputError, match="is damaged: "):
            check_copy(tmp_path / "bad.db")
        database = Database(f"sqlite:///{tmp_path / 'bad.db'}")
        assert list(damage(database))
        with pytest.raises((InvalidInputError, ConflictError, DBAPIError), match=r"damaged|malformed"):
            copy_to(database, tmp_path / "none.db", secret_key=KEY)
        database.close()
    _spoil(tmp_path / "bad.db", whole, 0, 16)
    with pytest.raises(InvalidInputError, match="is not a copy of a tracker database"):
        check_copy(tmp_path / "bad.db")


def _spoil(file: Path, whole: bytes, begin: int, end: int) -> None:
    file.write_bytes(whole[:begin] + b"\x91" * (end - begin) + whole[end:])
