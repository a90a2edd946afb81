"""Where a page leads back to after an act: only a path of this service, never another host."""

from urllib.parse import urlsplit

from flask import request

_LONGEST = 400


def way_back(otherwise: str) -> str:
    """Return the path that the request names in ``back``, or ``otherwise`` when it is none of ours."""
    given = request.values.get("back", "")
    return given if is_own_path(given) else otherwise


def is_own_path(path: str) -> bool:
    """Whether a path leads to a page of this service."""
    # A browser reads "//host" and "/\host" as another host, and drops control characters before it looks.
    if not path.startswith("/") or path.startswith("//") or "\\" in path or not path.isprintable():
        return False
    parts = urlsplit(path)
    return len(path) <= _LONGEST and not parts.scheme and not parts.netloc
