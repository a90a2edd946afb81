"""The settings of a station: one file, and flags that go before it."""

import os
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from enum import StrEnum
from pathlib import Path
from typing import Any, Final

from scanner_client.plan import LONGEST_PAUSE_S

HOME: Final = Path(os.path.expanduser("~"), ".flatpack-scanner")  # noqa: PTH111 - a service may have no home: no error
USUAL_FILE: Final = HOME / "settings.toml"
LONGEST_TEXT: Final = 200_000  # of a file: own choice


class Show(StrEnum):
    """How notices are shown: over the whole terminal, line by line, or whichever fits where the program runs."""

    AUTO = "auto"
    WALL = "wall"
    LINES = "lines"


class SettingsError(ValueError):
    """The settings cannot be used; the message says what is wrong, and where."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """All settings. ``commands`` are lists of words, by outcome or by tone; times are in seconds."""

    server: str = ""
    token_file: Path | None = None
    source: str = "stdin"
    station: str = ""
    queue: Path = HOME / "queue.db"
    drain_seconds: float = 30.0
    timeout_seconds: float = 10.0
    longest_pause_seconds: float = LONGEST_PAUSE_S
    show: Show = Show.AUTO
    bell: bool = True
    commands: Mapping[str, Sequence[str]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if self.drain_seconds < 0:
            raise SettingsError("drain_seconds is less than nothing: give seconds, 0 or more")
        if not 0.1 <= self.timeout_seconds <= 120:
            raise SettingsError("timeout_seconds is out of bounds: give 0.1 to 120 seconds")
        if not 0.1 <= self.longest_pause_seconds <= 600:
            raise SettingsError("longest_pause_seconds is out of bounds: give 0.1 to 600 seconds")

    @property
    def list_file(self) -> Path:
        """Where the station's list lies: beside its queue."""
        return self.queue.with_suffix(".list.db")

    @property
    def checked_token_file(self) -> Path:
        """The token's file. Raises SettingsError when a setting is missing that nothing can go without."""
        for name, value in (("server", self.server), ("token-file", self.token_file)):
            if not value:
                raise SettingsError(f"no {name} is given: use --{name}, or put it into the file of settings")
        assert self.token_file is not None  # noqa: S101 - for the type alone
        return self.token_file


def read_settings(path: Path | None, flags: Mapping[str, Any]) -> Settings:
    """Return the settings of a file (without one: the usual file, if it is there), with ``flags`` in their places.

    A path in the file that is not whole starts at the file's own folder. Raises SettingsError.
    """
    chosen = path or (USUAL_FILE if USUAL_FILE.exists() else None)
    from_file = _read(chosen) if chosen else Settings()
    return replace(from_file, **{name: value for name, value in flags.items() if value is not None})


def text_of(path: Path) -> str:
    """Return the text of a file; a device without an end is left. Raises OSError, and ValueError when it is no text."""
    with path.open(encoding="utf-8") as file:
        text = file.read(LONGEST_TEXT + 1)
    if len(text) > LONGEST_TEXT:
        raise ValueError(f"more than {LONGEST_TEXT:,} characters")
    return text


def _read(path: Path) -> Settings:
    try:
        given = tomllib.loads(text_of(path))
    except OSError as error:
        raise SettingsError(f"the settings {path} cannot be read: {error}") from error
    except ValueError as error:
        raise SettingsError(f"the settings {path} are no TOML: {error}") from error
    known = [each.name for each in fields(Settings)]
    for name in given:
        if name not in known:
            raise SettingsError(f"the settings {path} hold {name}, which there is not: use {', '.join(known)}")
    try:
        return Settings(**{name: _value(name, value, path.parent) for name, value in given.items()})
    except SettingsError as error:
        raise SettingsError(f"the settings {path}: {error}") from None


def _value(name: str, value: Any, folder: Path) -> Any:
    """Return a value of the file as what it stands for. Raises SettingsError."""
    match name, value:
        case (("token_file" | "queue"), str()):
            return folder / Path(value).expanduser()
        case "show", str() if value in list(Show):
            return Show(value)
        case "bell", bool():
            return value
        case (("drain_seconds" | "timeout_seconds" | "longest_pause_seconds"), int() | float()) if not isinstance(
            value, bool
        ):
            return float(value)
        case (("server" | "source" | "station"), str()):
            return value
        case "commands", dict():
            return {outcome: _command(outcome, words) for outcome, words in value.items()}
    wanted = {"show": " or ".join(Show), "bell": "true or false", "commands": "a table of commands"}
    number = name.endswith("_seconds")
    raise SettingsError(f"{name} is {value!r}: wanted is {wanted.get(name, 'a number' if number else 'a text')}")


def _command(outcome: str, words: Any) -> Sequence[str]:
    if not isinstance(words, list) or not words or not all(isinstance(word, str) and word for word in words):
        raise SettingsError(f'commands.{outcome} is {words!r}: wanted is a list of words such as ["lamp", "green"]')
    return words
