"""The shop's own lists, kept as the text that was given: cartons, boards, construction standards."""

from datetime import datetime

from sqlalchemy import Connection, delete, insert, select

from tracker.records.tables import setting


def setting_text(connection: Connection, name: str) -> str | None:
    """Return a list as it was last given, or None."""
    return connection.execute(select(setting.c.text).where(setting.c.name == name)).scalar()


def setting_names(connection: Connection) -> list[str]:
    """Return the names of all lists that are kept."""
    return list(connection.execute(select(setting.c.name).order_by(setting.c.name)).scalars())


def keep_setting(connection: Connection, name: str, text: str, *, who: str, now: datetime) -> None:
    """Put a list in the place of the one of its name."""
    connection.execute(delete(setting).where(setting.c.name == name))
    connection.execute(insert(setting).values(name=name, text=text, at=now, who=who))


def drop_setting(connection: Connection, name: str) -> None:
    """Forget a list."""
    connection.execute(delete(setting).where(setting.c.name == name))
