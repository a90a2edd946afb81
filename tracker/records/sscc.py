"""The SSCCs on boxes, and how far each series of them was given."""

from collections.abc import Collection, Mapping

from sqlalchemy import Connection, bindparam, insert, inspect, select, update

from tracker.records.tables import box, sscc_series

_OF_SSCCS = select(box.c.sscc, box.c.id).where(box.c.sscc.in_(bindparam("ssccs", expanding=True)))


def boxes_of_ssccs(connection: Connection, ssccs: Collection[str]) -> dict[str, int]:
    """Return the numbers of the boxes that have these SSCCs; an SSCC of no box is left out."""
    return {row.sscc: row.id for row in connection.execute(_OF_SSCCS, {"ssccs": list(ssccs)})}


def unnumbered(connection: Connection, box_ids: Collection[int]) -> list[int]:
    """Return those of the boxes that have no SSCC yet, in order."""
    query = select(box.c.id).where(box.c.id.in_(list(box_ids)), box.c.sscc.is_(None)).order_by(box.c.id)
    return list(connection.execute(query).scalars())


def keep_ssccs(connection: Connection, numbers: Mapping[int, str]) -> None:
    """Put an SSCC on each of these boxes, for good."""
    statement = update(box).where(box.c.id == bindparam("the_id"), box.c.sscc.is_(None)).values(sscc=bindparam("given"))
    if numbers:
        connection.execute(statement, [{"the_id": each, "given": sscc} for each, sscc in numbers.items()])


def last_serials(connection: Connection) -> dict[str, int]:
    """Return the last serial number given of each series, by the digits that it begins with; of old tables, nothing."""
    if not inspect(connection).has_table(sscc_series.name):
        return {}
    return {row.series: row.last for row in connection.execute(select(sscc_series))}


def last_serial(connection: Connection, series: str) -> int:
    """Return the last serial number given of a series, 0 for a new one."""
    found = connection.execute(select(sscc_series.c.last).where(sscc_series.c.series == series)).scalar()
    return 0 if found is None else int(found)


def keep_last_serial(connection: Connection, series: str, last: int) -> None:
    """Keep how far a series was given. It never goes back: a lower number changes nothing."""
    mine = sscc_series.c.series == series
    kept = connection.execute(select(sscc_series.c.last).where(mine)).scalar()
    if kept is None:
        connection.execute(insert(sscc_series).values(series=series, last=last))
    else:
        connection.execute(update(sscc_series).where(mine, sscc_series.c.last < last).values(last=last))
