"""The bag of a cabinet's items, taken out step by step until it is empty."""

from collections import Counter

from tracker.shop.cabinets.design import Cabinet
from tracker.shop.cabinets.guide.moves import Moves
from tracker.shop.cabinets.joints import Fastening, Item
from tracker.shop.cabinets.panels import Work


class Bag:
    """What is left in the bag; no more can be taken than is there."""

    def __init__(self, cabinet: Cabinet) -> None:
        self._cabinet = cabinet
        self._parts = {part.id: part for part in cabinet.parts}
        self._full = Counter({item.item: item.quantity for item in cabinet.items if item.in_bag})
        self._left = Counter(self._full)

    def _named(self, start: str) -> list[str]:
        return [name for name in self._full if f"{name} ".startswith(f"{start} ")]

    def _take(self, name: str, count: int) -> Counter[str]:
        given = min(count, self._left[name])
        self._left[name] -= given
        return Counter({name: given})

    def _share(self, start: str, count: int, sharers: int) -> Counter[str]:
        """Take ``count`` shares of what ``sharers`` share."""
        shares = (self._take(name, self._full[name] * count // max(1, sharers)) for name in self._named(start))
        return sum(shares, Counter())

    def take_all(self, start: str = "") -> Counter[str]:
        """Take all that is left of one kind, or of every kind."""
        names = self._named(start) if start else self._full
        return sum((self._take(name, self._left[name]) for name in names), Counter())

    def take(self, start: str, count: int) -> Counter[str]:
        """Take so many of one kind, whatever their size."""
        taken = Counter[str]()
        for name in self._named(start):
            taken += self._take(name, count - taken.total())
        return taken

    def take_fitted(self, fastening: Fastening) -> Counter[str]:
        """Take the hinges or slides whose first half is screwed to a panel now."""
        if fastening is Fastening.SLIDE:
            return self.take_all("slide pair")
        return self._share("hinge", 1, len({j.onto for j in self._cabinet.joints if j.fastening is fastening}))

    def has_pull(self, own: str) -> bool:
        """Whether a part gets a pull out of the bag."""
        part = self._parts[own]
        return bool(self._named("pull")) and part.front and any(f.work is Work.PULL_HOLE for f in part.features)

    def take_used(self, told: Moves) -> Counter[str]:
        """Take what a step uses."""
        used = Counter[str]()
        for joint in told.held_by(Fastening.SCREW):
            used += self._take(joint.item, joint.count)
            if joint.gap_mm:
                used += sum((self._take(name, joint.count) for name in self._named("spacer")), Counter())
        if told.held_by(Fastening.DOWEL):
            used += self.take_all("dowel")
        doors = sum(joint.fastening is Fastening.HINGE for joint in self._cabinet.joints)
        used += self._share("door bumper", len(told.held_by(Fastening.HINGE)), doors)
        if len(told.first.parts) > 1:
            return used
        pulled = {own for own in self._parts if self.has_pull(own)}
        drawers = {own for own in pulled if self._parts[own].unit}
        shelves = {own for own, part in self._parts.items() if part.name == "Shelf"}
        for item, sharers in (("pull", pulled), ("drawer pull screw", drawers), ("shelf pin", shelves)):
            used += self._share(item, len(sharers.intersection(told.parts)), len(sharers))
        return used


def items_of(counts: Counter[str]) -> tuple[Item, ...]:
    """Return counted items in the order of their names."""
    return tuple(Item(item=name, quantity=count, in_bag=True) for name, count in sorted(counts.items()) if count)
