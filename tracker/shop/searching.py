"""What a repeatable search needs: a budget of work, and numbers that spread without chance."""


class Effort:
    """How much work is left to spend. Counted in steps, not seconds, so that the same input gives the same plan."""

    __slots__ = ("left",)

    def __init__(self, steps: int) -> None:
        self.left = steps

    def part(self, share: float) -> "Effort":
        """Set a share of what is left aside for one attempt."""
        steps = int(self.left * share)
        self.left -= steps
        return Effort(steps)


class Shuffle:
    """An even, repeatable spread of numbers (a linear congruential sequence), since the trade knows no chance."""

    __slots__ = ("_state",)

    def __init__(self, start: int = 1) -> None:
        self._state = start

    def share(self) -> float:
        """Return a number from 0 up to 1."""
        self._state = (self._state * 1103515245 + 12345) & 0x7FFFFFFF
        return (self._state >> 7) / 0x1000000

    def below(self, count: int) -> int:
        """Return a whole number from 0 up to ``count``."""
        return int(self.share() * count)
