"""Rows as values: a value names the columns of its table that it takes, in one place for every query that reads it.

Columns go by their places in a row, so that things that are read together may have columns of one name.
"""

from collections.abc import Iterator, Sequence
from dataclasses import fields
from typing import Any

from sqlalchemy import ColumnElement, FromClause


class Columns:
    """The columns of a table that are fields of a value, in the order of its fields."""

    def __init__(self, value: type, table: FromClause) -> None:
        self._names = tuple(each.name for each in fields(value) if each.name in table.c)
        self._columns = [table.c[name] for name in self._names]

    def __iter__(self) -> Iterator[ColumnElement[Any]]:
        return iter(self._columns)

    def __len__(self) -> int:
        return len(self._columns)

    def read(self, row: Sequence[Any], start: int = 0) -> dict[str, Any]:
        """Return the fields by name, of a row that has them from ``start`` on."""
        return dict(zip(self._names, row[start : start + len(self._names)], strict=True))
