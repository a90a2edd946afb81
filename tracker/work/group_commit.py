"""One writing transaction for all scans that wait: whoever comes first writes for those behind.

A commit that survives a power cut costs the same for one scan as for eight. Each request is answered only when the
transaction that holds its scans is on disk.
"""

import threading
from collections.abc import Sequence
from datetime import datetime

from tracker.records.database import Database
from tracker.shop.scans import Answer, Scan
from tracker.work.scanning.batch import Request, Sender, judge_requests


class _Waiting:
    """A request in the queue, and what becomes of it."""

    def __init__(self, request: Request) -> None:
        self.request = request
        self.answers: list[Answer] | None = None
        self.error: Exception | None = None


class GroupCommit:
    """Takes scans from any number of threads of one process."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._queue: list[_Waiting] = []
        self._queue_lock = threading.Lock()
        self._turn = threading.Lock()

    def take(
        self, scans: Sequence[Scan], sender: Sender, now: datetime, *, sent: datetime | None = None
    ) -> list[Answer]:
        """Judge and store ``scans``, together with whatever else waits; return one answer for each, in order.

        ``sent`` is the sender's own time of sending, by which a clock that is wrong is noticed. Raises BusyError when
        too many wait for a writer that is stuck.
        """
        mine = _Waiting(Request(scans=scans, sender=sender, now=now, sent=sent))
        with self._database.writers.place():
            with self._queue_lock:
                self._queue.append(mine)
            with self._turn:
                if mine.answers is None and mine.error is None:
                    with self._queue_lock:
                        waiting, self._queue = self._queue, []
                    self._write(waiting)
        if mine.error is not None:
            raise mine.error
        return mine.answers or []

    def _write(self, waiting: Sequence[_Waiting]) -> None:
        try:
            with self._database.write() as connection:
                answers = judge_requests(connection, [each.request for each in waiting])
        except Exception as error:  # noqa: BLE001 - it is raised in the thread whose request it is
            self._blame(waiting, error)
            return
        for each, answered in zip(waiting, answers, strict=True):
            each.answers = answered

    def _blame(self, waiting: Sequence[_Waiting], error: Exception) -> None:
        if len(waiting) == 1:
            waiting[0].error = error
            return
        for each in waiting:  # one at a time, so that a request that cannot be stored stops none of the others
            self._write([each])
