"""The one word for what a reading is answered: the same as on every screen."""

from tracker.shop.outcomes import OUTCOME_WORDS, Outcome


def word_of(outcome: str) -> str:
    """Return an outcome's word as the station shows it; one that this program does not know yet stands for itself."""
    try:
        return OUTCOME_WORDS[Outcome(outcome)].upper()
    except ValueError:
        return outcome.upper()
