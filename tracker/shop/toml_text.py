"""A TOML text as a table, or where it is none and why, in words that can be said in another language."""

import re
import tomllib
from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Any, Final

from tracker.shop.errors import Fault, InvalidInputError
from tracker.shop.saying import Count, Said, join, say

LONGEST_TEXT: Final = 200_000
_PLACE: Final = re.compile(r"(?s)(.*) \(at (?:line (\d+), column (\d+)|end of document)\)")

# What the standard library's reader of TOML says, as of Python 3.11 to 3.13: what it adds is said in English.
_SAYS: Final[Mapping[str, Said]] = MappingProxyType(
    {
        each: each
        for each in (
            say("Invalid statement"),
            say("Expected newline or end of document after a statement"),
            say("Cannot overwrite a value"),
            say("Expected ']' at the end of a table declaration"),
            say("Expected ']]' at the end of an array declaration"),
            say("Expected '=' after a key in a key/value pair"),
            say("Invalid initial character for a key part"),
            say("Unclosed array"),
            say("Unclosed inline table"),
            say("Unescaped '\\' in a string"),
            say("Invalid hex value"),
            say("Escaped character is not a Unicode scalar value"),
            say("Unterminated string"),
            say("Invalid date or datetime"),
            say("Invalid value"),
        )
    }
)
# Those that name something: what stands before it, how it is said.
_NAMING: Final[tuple[tuple[str, str, Callable[[str], Said]], ...]] = (
    ("Expected ", "", lambda it: say("Expected %(it)s", it=it)),
    ("Found invalid character ", "", lambda it: say("Found invalid character %(it)s", it=it)),
    ("Illegal character ", "", lambda it: say("Illegal character %(it)s", it=it)),
    ("Cannot declare ", " twice", lambda it: say("Cannot declare %(it)s twice", it=it)),
    ("Cannot mutate immutable namespace ", "", lambda it: say("Cannot mutate immutable namespace %(it)s", it=it)),
    ("Cannot redefine namespace ", "", lambda it: say("Cannot redefine namespace %(it)s", it=it)),
    ("Duplicate inline table key ", "", lambda it: say("Duplicate inline table key %(it)s", it=it)),
)


def read_toml(text: str) -> dict[str, Any]:
    """Return the table that a text spells.

    Raises InvalidInputError that says why there is none, with one fault: ``where`` names the line if one is known.
    """
    if len(text) > LONGEST_TEXT:
        raise InvalidInputError(say("Wanted: at most %(most)s characters.", most=Count(LONGEST_TEXT)))
    try:
        table = tomllib.loads(text)
        str(table)  # a number in hexadecimal is read at any length, and then cannot be written
    except tomllib.TOMLDecodeError as error:
        line, why = _said_of(str(error))
        raise _unread(why, line) from error
    except RecursionError as error:
        raise _unread(say("it is nested too deeply")) from error
    except ValueError as error:  # Python reads and writes no whole number of more than 4300 digits
        raise _unread(say("a number in it is too long")) from error
    return table


def _unread(why: str, line: int | None = None) -> InvalidInputError:
    told = say("This is not TOML: %(why)s", why=why)
    return InvalidInputError(told, [Fault(where={} if line is None else {"line": line}, what=told)])


def _said_of(message: str) -> tuple[int | None, str]:
    """Return the line that the reader's message names, and the message so that it can be said anew."""
    found = _PLACE.fullmatch(message)
    if found is None:
        return None, message
    why, line, column = found.groups()
    if line is None:
        return None, join([_worded(why), say("(at end of document)")], between=" ")
    at = say("(at line %(line)s, column %(column)s)", line=line, column=column)
    return int(line), join([_worded(why), at], between=" ")


def _worded(why: str) -> str:
    if why in _SAYS:
        return _SAYS[why]
    for start, end, worded in _NAMING:
        if why.startswith(start) and why.endswith(end):
            return worded(why[len(start) : len(why) - len(end)])
    return why
