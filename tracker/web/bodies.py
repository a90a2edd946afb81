"""What a request's body may be: how large by the path it is sent to, and what JSON is read.

``channel.py`` keeps nothing of a body that is larger and lets it pass by, so that the client hears the answer; the app
refuses it by its length. ``CarefulJson`` is the app's one reader of JSON; a list of the API is a ``Rows``
(``api/shapes.py``), whose length is looked at first.
"""

import re
from collections.abc import Iterable
from json import JSONDecodeError
from typing import Any, Final

from flask.json.provider import DefaultJSONProvider
from werkzeug.exceptions import BadRequest

_KIB: Final = 1024
_MIB: Final = 1024 * 1024
SMALL: Final = 64 * _KIB
LARGEST: Final = 80 * _MIB
DEEPEST: Final = 50
MOST_INNER: Final = 500_000  # lists and objects; an order of 200,000 rows with edges has 400,000
MOST_NAMES: Final = 1_000  # in one object; each that nobody knows would be told

# The most bytes of a body by its path; one that ends with a slash stands for all below it. The rest is SMALL.
MOST_BYTES: Final = {
    "/api/v1/scans": _MIB,
    "/api/v1/lists/": _MIB,
    "/api/v1/jobs": 8 * _MIB,
    "/api/v1/jobs/import": LARGEST,
    "/api/v1/plans/": 8 * _MIB,
    "/station/": _MIB,
    "/station/picture": 8 * _MIB,
    "/pack/": _MIB,
    "/orders/": _MIB,
    "/orders/preview": LARGEST,
    "/settings/": _MIB,
    "/labels/layouts": _MIB,
    "/labels/layouts/": _MIB,
}
_BELOW: Final = tuple(path for path in MOST_BYTES if path.endswith("/"))


def most_bytes(path: str) -> int:
    """Return how many bytes the body of a request to a path may have."""
    if path in MOST_BYTES:
        return MOST_BYTES[path]
    return next((MOST_BYTES[each] for each in _BELOW if path.startswith(each)), SMALL)


class CarefulJson(DefaultJSONProvider):
    """Reads no JSON that would hurt who goes through it."""

    ensure_ascii = False
    sort_keys = False

    def loads(self, s: str | bytes, **kwargs: Any) -> Any:
        """Return what a text of JSON spells. Raises ValueError for none, BadRequest for one that nobody can use."""
        text = s if isinstance(s, str) else s.decode()
        if text.count("[") + text.count("{") > MOST_INNER:
            raise BadRequest(f"The JSON has more than {MOST_INNER:,} lists and objects. Nothing was stored.")
        try:
            found = super().loads(text, **kwargs)
            wrong = _wrong_shape(found)
        except RecursionError:
            wrong = _TOO_DEEP
        except ValueError as error:
            if isinstance(error, JSONDecodeError):
                raise
            raise BadRequest("The JSON has a number with too many digits. Nothing was stored.") from None
        if wrong:
            raise BadRequest(f"The JSON {wrong}. Nothing was stored.")
        if _SURROGATE.search(text) and _has_half_a_character(found):
            raise BadRequest("The JSON has a text with half a character (a lone surrogate). Nothing was stored.")
        return found


_SURROGATE: Final = re.compile(r"\\u[dD][89a-fA-F]")
_TOO_DEEP: Final = f"is nested more than {DEEPEST} deep"
_HALF: Final = re.compile("[\ud800-\udfff]")


def _within(each: Any) -> Iterable[Any]:
    return each.values() if isinstance(each, dict) else each


def _wrong_shape(found: Any) -> str:
    level = [found] if isinstance(found, dict | list) else []
    for _depth in range(DEEPEST):
        if any(isinstance(each, dict) and len(each) > MOST_NAMES for each in level):
            return f"has an object with more than {MOST_NAMES:,} names"
        level = [inner for each in level for inner in _within(each) if isinstance(inner, dict | list)]
        if not level:
            return ""
    return _TOO_DEEP


def _has_half_a_character(found: Any) -> bool:
    waiting = [found]
    while waiting:
        each = waiting.pop()
        if isinstance(each, dict):
            waiting += each
        if isinstance(each, dict | list):
            waiting += _within(each)
        elif isinstance(each, str) and _HALF.search(each):
            return True
    return False
