"""Files of an order between its preview and its taking: kept in the data folder for an hour, under a random name.

Whoever knows the name may read the file: it is 128 random bits and stands only in the form of who sent it. All service
processes on a machine share the folder; a file that is gone is asked for again.
"""

import re
import secrets
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import IO, Final

from tracker.shop.errors import NotFoundError, TooLargeError
from tracker.shop.saying import say

KEPT: Final = timedelta(hours=1)
LARGEST_FILE: Final = 64 * 1024 * 1024
LARGEST_FOLDER: Final = 1024 * 1024 * 1024
_CHUNK: Final = 1 << 20
_NAME: Final = re.compile(r"[0-9a-f]{32}", re.ASCII)


class Uploads:
    """The kept files below ``folder``; an upload has a table and may have a second one, its items."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def keep(self, table: IO[bytes], items: IO[bytes] | None, *, now: datetime) -> str:
        """Keep one upload and return its name. Files kept for an hour go, and the oldest where room is short.

        Raises TooLargeError for a file of more than LARGEST_FILE bytes.
        """
        self._folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        self.sweep(now)
        name = secrets.token_hex(16)
        self.put(name, "table", table)
        if items is not None:
            self.put(name, "items", items)
        return name

    def put(self, name: str, what: str, file: IO[bytes]) -> None:
        """Keep a file, or keep it in the place of the one before."""
        path = self._path(name, what)
        unfinished = path.with_suffix(f".{secrets.token_hex(4)}.part")
        size = 0
        try:
            with unfinished.open("xb") as kept:
                while chunk := file.read(_CHUNK):
                    size += len(chunk)
                    if size > LARGEST_FILE:
                        raise TooLargeError(say("The file has more than %(most)s MB.", most=LARGEST_FILE // (1 << 20)))
                    kept.write(chunk)
            unfinished.replace(path)
        finally:
            unfinished.unlink(missing_ok=True)

    def open(self, name: str, what: str) -> IO[bytes]:
        """Open a kept file. Raises NotFoundError when it is no longer kept."""
        try:
            return self._path(name, what).open("rb")
        except FileNotFoundError:
            raise NotFoundError(say("The file is no longer kept. Choose it again.")) from None

    def has(self, name: str, what: str) -> bool:
        """Say whether a file is kept."""
        return self._path(name, what).exists()

    def drop(self, name: str) -> None:
        """Forget an upload."""
        for what in ("table", "items"):
            self._path(name, what).unlink(missing_ok=True)

    def sweep(self, now: datetime) -> None:
        """Delete what was kept for an hour, then the oldest until there is room for one more."""
        files = sorted(self._ages(), reverse=True)
        oldest = (now - KEPT).timestamp()
        room = LARGEST_FOLDER - 2 * LARGEST_FILE
        for changed, size, path in files:
            room -= size
            if changed < oldest or room < 0:
                path.unlink(missing_ok=True)

    def _ages(self) -> Iterator[tuple[float, int, Path]]:
        for path in self._folder.glob("*.*"):
            try:
                found = path.stat()
            except FileNotFoundError:
                continue  # another process swept it
            yield found.st_mtime, found.st_size, path

    def _path(self, name: str, what: str) -> Path:
        if not _NAME.fullmatch(name):
            raise NotFoundError(say("The file is no longer kept. Choose it again."))
        return self._folder / f"{name}.{what}"
