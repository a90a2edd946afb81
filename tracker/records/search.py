"""Find by what is written on a label: job, customer, cabinet, part, programme, box, station, slot.

Nothing here reads rows without a bound: jobs are looked through while they are open and as far back as LATEST_JOBS, the
names of parts and boxes within the open jobs due soonest, up to LOOKED_THROUGH parts. A whole code needs no search.
"""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Final
from unicodedata import combining, normalize

from sqlalchemy import ColumnElement, Connection, Select, and_, func, or_, select

from tracker.records.access import list_slots, list_stations
from tracker.records.boxes import ALL_BOXES, Box, boxes_where
from tracker.records.jobs import JOB, Job
from tracker.records.parts import ALL_PARTS, Part, parts_where
from tracker.records.tables import box, cabinet, job, part
from tracker.shop.codes import Code, Kind, box_code
from tracker.shop.job_states import UNFINISHED
from tracker.shop.progress import DEAD_STATUSES

LATEST_JOBS: Final = 2_000
OPEN_JOBS: Final = 5_000
LOOKED_THROUGH: Final = 50_000
MOST_WORDS: Final = 5
LONGEST_TEXT: Final = 100
SHOWN: Final = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundCabinet:
    """A cabinet of a job; ``designed`` when it has a sheet."""

    job: str
    name: str
    parts: int
    designed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundProgramme:
    """A programme at the machine, and how many parts of a job want it."""

    job: str
    name: str
    parts: int


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundPlace:
    """A station or a slot by its name; ``step`` is empty for a slot."""

    code: str
    name: str
    step: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """What was found, each list cut at SHOWN; ``more`` names the lists that were cut.

    ``jobs_through`` of ``jobs_open`` are the open jobs whose parts were looked through, those due soonest.
    """

    jobs: Sequence[Job]
    cabinets: Sequence[FoundCabinet]
    parts: Sequence[Part]
    programmes: Sequence[FoundProgramme]
    boxes: Sequence[Box]
    places: Sequence[FoundPlace]
    more: Collection[str]
    jobs_through: int
    jobs_open: int

    @property
    def count(self) -> int:
        lists = (self.jobs, self.cabinets, self.parts, self.programmes, self.boxes, self.places)
        return sum(map(len, lists))


def folded(text: str) -> str:
    """Return a text without case and accents, as it is compared: ``Ávila`` is found by ``avila``."""
    return "".join(sign for sign in normalize("NFKD", text.casefold()) if not combining(sign))


def words_of(text: str) -> list[str]:
    """Return the words to look for: at most MOST_WORDS, from at most LONGEST_TEXT characters."""
    return text[:LONGEST_TEXT].split()[:MOST_WORDS]


def find(connection: Connection, text: str, *, looked_through: int = LOOKED_THROUGH) -> Found:
    """Return all that a text names; every word of it must be met. ``looked_through`` bounds the parts that are read."""
    words = words_of(text)
    unfinished = _open_jobs(connection)
    through = _soonest(_named_first(unfinished, words), looked_through)
    if not words:
        return _found({}, through=len(through), unfinished=len(unfinished))
    inside = _Inside(words, through)
    return _found(
        {
            "jobs": _jobs(connection, words, unfinished),
            "cabinets": inside.cabinets(connection),
            "parts": inside.parts(connection),
            "programmes": inside.programmes(connection),
            "boxes": inside.boxes(connection),
            "places": _places(connection, words),
        },
        through=len(through),
        unfinished=len(unfinished),
    )


def _found(lists: dict[str, list[Any]], *, through: int, unfinished: int) -> Found:
    def cut(name: str) -> list[Any]:
        return lists.get(name, [])[:SHOWN]

    return Found(
        jobs=cut("jobs"),
        cabinets=cut("cabinets"),
        parts=cut("parts"),
        programmes=cut("programmes"),
        boxes=cut("boxes"),
        places=cut("places"),
        more={name for name, rows in lists.items() if len(rows) > SHOWN},
        jobs_through=through,
        jobs_open=unfinished,
    )


# Jobs

_JOB = select(*JOB)


def _open_jobs(connection: Connection) -> Sequence[Any]:
    """The unfinished jobs, soonest due first."""
    query = _JOB.where(job.c.status.in_(UNFINISHED)).order_by(job.c.due, job.c.id)
    return connection.execute(query.limit(OPEN_JOBS)).all()


def _named_first(unfinished: Sequence[Any], words: Sequence[str]) -> list[Any]:
    """The jobs whose code a word is in come first: who names the job finds its parts, however late it is due."""
    wanted = [folded(word) for word in words]
    return sorted(unfinished, key=lambda row: not any(word in folded(row.code) for word in wanted))


def _soonest(unfinished: Iterable[Any], most_parts: int) -> list[Any]:
    """As many of the jobs as have so many parts together, but one at least."""
    taken: list[Any] = []
    parts = 0
    for row in unfinished:
        parts += row.parts_total
        if taken and parts > most_parts:
            break
        taken.append(row)
    return taken


def _jobs(connection: Connection, words: Sequence[str], unfinished: Sequence[Any]) -> list[Job]:
    latest = connection.execute(_JOB.order_by(job.c.id.desc()).limit(LATEST_JOBS)).all()
    whole = _whole_codes(connection, " ".join(words))
    wanted = [folded(word) for word in words]
    rows = {row.id: row for row in (*unfinished, *latest) if _has_all(f"{row.code} {row.customer}", wanted)}
    rows = {**{row.id: row for row in whole}, **rows}
    ordered = sorted(rows.values(), key=lambda row: (row.status not in UNFINISHED, row.due))
    return [Job(**JOB.read(row)) for row in ordered]


def _whole_codes(connection: Connection, text: str) -> Sequence[Any]:
    """Jobs of any age by their whole code, as it was typed or in capitals."""
    return connection.execute(_JOB.where(job.c.code.in_({text, text.upper()}))).all()


def _has_all(text: str, wanted: Sequence[str]) -> bool:
    kept = folded(text)
    return all(word in kept for word in wanted)


def _places(connection: Connection, words: Sequence[str]) -> list[FoundPlace]:
    wanted = [folded(word) for word in words]
    stations = [
        FoundPlace(code=str(Code(Kind.STATION, each.id)), name=each.name, step=each.step)
        for each in list_stations(connection)
        if _has_all(each.name, wanted)
    ]
    slots = [
        FoundPlace(code=str(Code(Kind.SLOT, number)), name=name, step="")
        for number, name in list_slots(connection).items()
        if _has_all(name, wanted)
    ]
    return [*stations, *slots]


# Inside the open jobs that are due soonest


class _Inside:
    """What the words meet within some jobs: a word may be in the job's code or its customer, or in the thing itself."""

    def __init__(self, words: Sequence[str], jobs: Sequence[Any]) -> None:
        self._words = words
        self._ids = [row.id for row in jobs]
        self._codes = {row.id: row.code for row in jobs}
        self._of_job = {
            word: [row.id for row in jobs if folded(word) in folded(f"{row.code} {row.customer}")] for word in words
        }

    def _met(self, *columns: ColumnElement[Any], needed: ColumnElement[Any]) -> ColumnElement[bool]:
        """Every word is met by a column or the job, and at least one by the column that the list is about."""
        each = [or_(*(_in(column, word) for column in columns), self._in_job(word)) for word in self._words]
        return and_(*each, or_(*(_in(needed, word) for word in self._words)))

    def _in_job(self, word: str) -> ColumnElement[bool]:
        return part.c.job_id.in_(self._of_job[word])

    def _living(self, query: Select[Any]) -> Select[Any]:
        return query.where(part.c.job_id.in_(self._ids), part.c.status.not_in(sorted(DEAD_STATUSES)))

    def parts(self, connection: Connection) -> list[Part]:
        columns = (part.c.name, part.c.cabinet, part.c.machining, part.c.material)
        query = self._living(ALL_PARTS).where(self._met(*columns, needed=part.c.name))
        return parts_where(connection, query.order_by(part.c.id).limit(SHOWN + 1))

    def cabinets(self, connection: Connection) -> list[FoundCabinet]:
        group = (part.c.job_id, part.c.cabinet)
        query = self._living(select(*group, func.count().label("parts"))).group_by(*group).order_by(*group)
        rows = connection.execute(query.where(self._met(part.c.cabinet, needed=part.c.cabinet)).limit(SHOWN + 1)).all()
        designed = self._designed(connection, {row.job_id for row in rows}, {row.cabinet for row in rows})
        return [
            FoundCabinet(
                job=self._codes[row.job_id],
                name=row.cabinet,
                parts=row.parts,
                designed=(row.job_id, row.cabinet) in designed,
            )
            for row in rows
        ]

    @staticmethod
    def _designed(connection: Connection, jobs: Collection[int], names: Collection[str]) -> set[tuple[int, str]]:
        query = select(cabinet.c.job_id, cabinet.c.name)
        rows = connection.execute(query.where(cabinet.c.job_id.in_(sorted(jobs)), cabinet.c.name.in_(sorted(names))))
        return {(row.job_id, row.name) for row in rows}

    def programmes(self, connection: Connection) -> list[FoundProgramme]:
        group = (part.c.job_id, part.c.machining)
        query = self._living(select(*group, func.count().label("parts"))).group_by(*group).order_by(*group)
        met = self._met(part.c.machining, needed=part.c.machining)
        rows = connection.execute(query.where(part.c.machining != "", met).limit(SHOWN + 1))
        return [FoundProgramme(job=self._codes[row.job_id], name=row.machining, parts=row.parts) for row in rows]

    def boxes(self, connection: Connection) -> list[Box]:
        each = [or_(_in(box.c.name, word), box.c.job_id.in_(self._of_job[word])) for word in self._words]
        named = or_(*(_in(box.c.name, word) for word in self._words))
        query = ALL_BOXES.where(box.c.job_id.in_(self._ids), and_(*each), named)
        return boxes_where(connection, query.order_by(box.c.id).limit(SHOWN + 1))


def _in(column: ColumnElement[Any], word: str) -> ColumnElement[bool]:
    """The column holds the word, whatever the case of letters from a to z."""
    return func.lower(column).contains(word.lower(), autoescape=True)


def parts_in_slot(connection: Connection, slot_id: int, *, limit: int) -> list[Part]:
    """Return the parts of open jobs that were last seen in a slot, soonest due first, within LOOKED_THROUGH parts."""
    jobs = [row.id for row in _soonest(_open_jobs(connection), LOOKED_THROUGH)]
    query = (
        ALL_PARTS.where(part.c.job_id.in_(jobs), part.c.slot_id == slot_id)
        .where(part.c.status.not_in(sorted(DEAD_STATUSES)))
        .order_by(job.c.due, part.c.id)
    )
    return parts_where(connection, query.limit(limit))


def cabinet_names(connection: Connection, job_id: int, *, limit: int) -> list[str]:
    """Return the numbers of a job's cabinets."""
    query = select(part.c.cabinet).distinct().where(part.c.job_id == job_id).order_by(part.c.cabinet).limit(limit)
    return list(connection.execute(query).scalars())


def box_names(connection: Connection, job_id: int, *, limit: int) -> list[tuple[str, str]]:
    """Return the code and the name of a job's boxes, in the order of their numbers."""
    query = select(box.c.id, box.c.name).where(box.c.job_id == job_id).order_by(box.c.number).limit(limit)
    return [(box_code(row.id), row.name) for row in connection.execute(query)]


def open_job_codes(connection: Connection, *, limit: int) -> list[tuple[str, str]]:
    """Return the code and the customer of the open jobs, soonest due first."""
    query = select(job.c.code, job.c.customer).where(job.c.status.in_(UNFINISHED)).order_by(job.c.due, job.c.id)
    return [(row.code, row.customer) for row in connection.execute(query.limit(limit))]
