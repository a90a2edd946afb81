"""The languages that paper speaks: what is printed may be read by another than whoever prints it."""

from functools import lru_cache
from typing import Final

from babel.numbers import format_decimal, get_decimal_symbol
from babel.support import Translations

from tracker.shop.errors import InvalidInputError, fault_at
from tracker.shop.lengths import Units
from tracker.shop.saying import ENGLISH, Tongue
from tracker.shop.written import length_number, length_text
from tracker.translations.catalogues import CATALOGUES, LANGUAGES


@lru_cache(maxsize=len(LANGUAGES))
def tongue_of(language: str) -> Tongue:
    """Return how a reader of a language is spoken to; lengths in mm. Raises InvalidInputError when none speaks it."""
    if language not in LANGUAGES:
        fault = fault_at("language", f"{language[:20]!r}; wanted: {' or '.join(LANGUAGES)}")
        raise InvalidInputError("This language is not spoken here.", [fault])
    if language == ENGLISH:
        return IN_ENGLISH
    known, decimal = Translations.load(CATALOGUES, [language]), get_decimal_symbol(language)

    def pattern(one: str, many: str, num: int) -> str:
        found: str = known.gettext(one) if one == many else known.ngettext(one, many, num)
        return found

    return Tongue(
        pattern=pattern,
        length=lambda mm: length_text(mm, Units.MM).replace(".", decimal),
        bare=lambda mm: length_number(mm, Units.MM).replace(".", decimal),
        count=lambda number: format_decimal(number, locale=language),
        decimal=lambda number: number.replace(".", decimal),
        language=language,
    )


IN_ENGLISH: Final = Tongue(
    pattern=lambda one, many, num: one if num == 1 else many, length=lambda mm: length_text(mm, Units.MM)
)
