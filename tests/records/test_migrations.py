"""Migrations: the tables are those of the program, up and down, with data in them, on both databases."""

import pytest
from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext
from sqlalchemy import CheckConstraint, inspect, text
from sqlalchemy.exc import DBAPIError

from tests.floor import Floor
from tracker.records.database import Database
from tracker.records.migrate import _config, expected_revision, revision_of, upgrade
from tracker.records.tables import metadata
from tracker.shop.acts import LeftBehind
from tracker.shop.codes import Code, Kind
from tracker.shop.steps import Step
from tracker.work.access import add_station
from tracker.work.ledger import Ledger


def test_the_migrated_tables_are_those_that_the_program_declares(database: Database) -> None:
    with database.engine.connect() as connection:
        assert compare_metadata(MigrationContext.configure(connection), metadata) == []


def test_the_checks_of_the_program_have_the_names_that_the_database_gave_them(database: Database) -> None:
    found = inspect(database.engine)
    for table in metadata.sorted_tables:
        declared = {str(each.name) for each in table.constraints if isinstance(each, CheckConstraint)}
        assert declared == {str(each["name"]) for each in found.get_check_constraints(table.name)}


def test_upgrading_again_changes_nothing(floor: Floor) -> None:
    floor.pack_all()
    before = floor.job()
    upgrade(floor.database)
    assert floor.job() == before
    floor.check()


def test_an_older_shop_keeps_its_jobs_through_the_upgrade(floor: Floor) -> None:
    floor.pack_all()
    before = (floor.job(), floor.box(floor.box_101), floor.part(floor.deck))
    config = _config()
    with floor.database.engine.begin() as connection:
        config.attributes["connection"] = connection
        command.downgrade(config, "0001")
    upgrade(floor.database)
    assert (floor.job(), floor.box(floor.box_101), floor.part(floor.deck)) == before
    floor.check()


def test_the_way_down_leaves_nothing_and_the_way_up_works_again(floor: Floor) -> None:
    floor.pack_all()
    config = _config()
    with floor.database.engine.begin() as connection:
        config.attributes["connection"] = connection
        command.downgrade(config, "base")
    with floor.database.engine.connect() as connection:
        assert set(inspect(connection).get_table_names()) <= {"alembic_version"}
        assert revision_of(connection) is None
    upgrade(floor.database)
    with floor.database.engine.connect() as connection:
        assert revision_of(connection) == expected_revision()


def test_the_log_takes_an_act_that_no_table_knows_and_goes_down_and_up_with_it(floor: Floor) -> None:
    floor.pack_all()
    with floor.database.write() as connection:
        ledger = Ledger(connection, "foreman", floor.tick())
        ledger.tell(LeftBehind(box_id=1, load_id=1, why="the door is late"))
        ledger.write()
    config = _config()
    with floor.database.engine.begin() as connection:
        config.attributes["connection"] = connection
        command.downgrade(config, "0006")
        known = connection.execute(text("SELECT action FROM log WHERE box_id = 1 AND part_id IS NULL")).scalars()
        assert list(known) == ["move"], "a word that the older program knows and that counts for nothing there"
    upgrade(floor.database)
    floor.check()
    with floor.database.read() as connection:
        indexes = {each["name"] for each in inspect(connection).get_indexes("log")}
    assert indexes == {index.name for index in metadata.tables["log"].indexes}
    with pytest.raises(DBAPIError, match="written once"), floor.database.write() as connection:
        connection.execute(text("DELETE FROM log"))


def test_readings_of_an_older_program_fold_as_before_and_are_taken_back_at_their_own_stations(floor: Floor) -> None:
    """Such as it answered ``again``, and took back nothing of, at a second station."""
    add_station(floor.database, "CUT-2", Step.CUT)
    for code, station in ((floor.deck, "CUT-1"), (floor.deck, "CUT-2"), (floor.deck, "CUT-2"), (floor.end, "CUT-1")):
        floor.scan(code, station)
    floor.undo("CUT-1")
    floor.undo("CUT-1")
    floor.scan(str(Code(Kind.COMMAND, 2)), "CUT-2")
    before = floor.part(floor.deck)
    config = _config()
    with floor.database.engine.begin() as connection:
        config.attributes["connection"] = connection
        command.downgrade(config, "0006")
    upgrade(floor.database)
    floor.check()
    assert floor.part(floor.deck) == before
    assert [floor.undo("CUT-2").outcome for _ in range(3)] == ["undone", "undone", "nothing_to_undo"]
    assert (floor.part(floor.deck).step, floor.part(floor.deck).damaged) == ("cut", False)
    floor.check()
