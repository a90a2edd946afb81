"""The log is written once: the database itself refuses to change it."""

import pytest
from sqlalchemy import Executable, delete, insert, select, text, update
from sqlalchemy.exc import DBAPIError

from tests.floor import Floor
from tracker.records.tables import log


def test_no_row_of_the_log_can_be_changed_or_deleted(floor: Floor) -> None:
    floor.scan(floor.deck, "CUT-1")
    for statement in (update(log).values(outcome="again"), delete(log), delete(log).where(log.c.seq == 1)):
        with pytest.raises(DBAPIError, match="written once"), floor.database.write() as connection:
            connection.execute(statement)
    floor.check()


def test_no_row_of_the_log_can_be_replaced_or_the_table_emptied(floor: Floor) -> None:
    with floor.database.read() as connection:
        row = dict(connection.execute(select(log).where(log.c.seq == 1)).one()._mapping)
    replacing: Executable = insert(log).prefix_with("OR REPLACE").values(row)
    statement = replacing if floor.database.is_sqlite else text("TRUNCATE log")
    with pytest.raises(DBAPIError, match="written once"), floor.database.write() as connection:
        connection.execute(statement)


def test_a_reader_can_change_nothing(floor: Floor) -> None:
    with pytest.raises(DBAPIError, match=r"readonly|read-only"), floor.database.read() as connection:
        connection.execute(text("UPDATE job SET customer = 'x'"))


def test_a_transaction_that_fails_leaves_nothing_behind(floor: Floor) -> None:
    before = floor.job()

    def fail_halfway() -> None:
        with floor.database.write() as connection:
            connection.execute(text("UPDATE job SET status = 'held'"))
            raise RuntimeError("halfway")

    with pytest.raises(RuntimeError, match="halfway"):
        fail_halfway()
    assert floor.job() == before


def test_every_log_number_is_given_once_and_in_order(floor: Floor) -> None:
    floor.pack_all()
    with floor.database.read() as connection:
        numbers = list(connection.execute(select(log.c.seq).order_by(log.c.seq)).scalars())
    assert numbers == list(range(1, len(numbers) + 1))
