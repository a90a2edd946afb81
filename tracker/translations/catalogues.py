"""What the shop says to people in other languages than English: the catalogues, and which languages there are."""

from pathlib import Path
from types import MappingProxyType
from typing import Final

from tracker.shop.saying import ENGLISH

LANGUAGES: Final = MappingProxyType({ENGLISH: "English", "es": "Español"})
CATALOGUES: Final = Path(__file__).parent
