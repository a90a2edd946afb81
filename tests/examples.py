"""How many examples a property test draws: few in the suite, ``MORE`` times as many where somebody waits for them."""

import os
from typing import Any, Final

from hypothesis import settings

MORE: Final = int(os.environ.get("MORE", "1"))


def examples(count: int, **more: Any) -> settings:
    """Settings for so many examples, times ``MORE``."""
    return settings(max_examples=count * MORE, **more)
