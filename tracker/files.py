"""Files that are written whole or not at all, and files that their owner alone may read."""

import os
import secrets
import stat
from contextlib import suppress
from pathlib import Path


def put_file(path: Path, content: bytes, *, mode: int = 0o644) -> None:
    """Put a file in its place at once: who reads meanwhile finds the former one or this one. Raises OSError."""
    beside = _write_beside(path, content, mode)
    try:
        beside.replace(path)
    finally:
        beside.unlink(missing_ok=True)


def make_file(path: Path, content: bytes, *, mode: int = 0o644) -> None:
    """Put a file where there is none yet, at once. Raises FileExistsError when somebody was quicker, and OSError."""
    beside = _write_beside(path, content, mode)
    try:
        os.link(beside, path)
    finally:
        beside.unlink(missing_ok=True)


def keep_private(path: Path) -> None:
    """Let a file's owner alone read and write it; make it, empty, where there is none. Raises OSError."""
    with suppress(FileExistsError):
        os.close(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))
    hide_from_others(path)


def hide_from_others(path: Path) -> None:
    """Take a regular file's rights from all but its owner. Raises OSError when there is none."""
    mode = path.stat().st_mode
    allowed = stat.S_IMODE(mode)
    if stat.S_ISREG(mode) and allowed & 0o077:
        with suppress(PermissionError):  # another's file, who decides
            path.chmod(allowed & 0o700)


def _write_beside(path: Path, content: bytes, mode: int) -> Path:
    beside = path.with_name(f"{path.name}.{secrets.token_hex(4)}.partial")
    try:
        with os.fdopen(os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode), "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
    except BaseException:
        beside.unlink(missing_ok=True)
        raise
    return beside
