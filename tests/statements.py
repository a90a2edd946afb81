"""Statements that are compiled once for all databases of a run: each test has a database of its own, and its own cache.

Compiling them anew was a third of what most tests cost. SQLAlchemy's caches are by engine; this one is by kind of
database, which is what a compiled statement depends on.
"""

from typing import Any

from sqlalchemy import Connection, Engine, event


class _Compiled(dict[Any, Any]):
    """A cache whose keys name the kind of a dialect instead of the dialect of one engine."""

    def get(self, key: Any, default: Any = None) -> Any:
        return super().get(_of_kind(key), default)

    def __setitem__(self, key: Any, compiled: Any) -> None:
        super().__setitem__(_of_kind(key), compiled)


def _of_kind(key: tuple[Any, ...]) -> tuple[Any, ...]:
    dialect, *statement = key
    return (type(dialect), dialect.paramstyle, *statement)


def share_compiled_statements() -> None:
    """Let all engines that are made from now on share what was compiled."""
    compiled = _Compiled()

    @event.listens_for(Engine, "engine_connect")
    def share(connection: Connection) -> None:
        connection.execution_options(compiled_cache=compiled)
