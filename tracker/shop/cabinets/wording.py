"""What the sheet calls parts and items: by the names on their labels, and in plain words; and how it lists them."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Final

from tracker.shop.cabinets.panels import Part
from tracker.shop.saying import Name, join, say, say_many

# Common practice, no source: what a part is, said to one who does not know its name in the trade.
_PLAIN: Final[Mapping[str, str]] = {
    "Left end": say("left side of the cabinet"),
    "Right end": say("right side of the cabinet"),
    "Toe kick": say("board at the floor"),
    "Deck": say("bottom of the cabinet"),
    "Top": say("top of the cabinet"),
    "Back": say("thin panel at the back"),
    "Left back": say("panel against the left wall"),
    "Right back": say("panel against the right wall"),
    "Bottom nailer": say("strip behind the back, low"),
    "Top nailer": say("strip behind the back, high"),
    "Drawer stretcher": say("strip under the drawer"),
    "Sink rail": say("strip at the front, high"),
    "Fixed shelf": say("shelf that is locked in"),
    "Oven shelf": say("shelf that carries the oven"),
    "Shelf": say("loose shelf"),
    "Fixed front": say("front that does not open"),
    "Blind stile": say("upright strip beside the door"),
    "Blind panel": say("front that does not open"),
    "Filler": say("strip that closes a gap"),
    "End panel": say("panel for a side that is seen"),
    "Door": say("door"),
    "Left door": say("left door"),
    "Right door": say("right door"),
    "Upper door": say("upper door"),
    "Left upper door": say("left upper door"),
    "Right upper door": say("right upper door"),
    "Lower door": say("lower door"),
    "Left lower door": say("left lower door"),
    "Right lower door": say("right lower door"),
}
_PLAIN_DRAWER: Final[Mapping[str, str]] = {
    "box front": say("front of the drawer's box"),
    "box back": say("back of the drawer's box"),
    "bottom": say("thin bottom of the drawer"),
    "left side": say("left side of the drawer's box"),
    "right side": say("right side of the drawer's box"),
    "front": say("front that is seen"),
}
_ITEMS: Final[Mapping[str, str]] = {
    "door bumper": say("door bumper"),
    "dowel": say("dowel"),
    "drawer pull screw": say("drawer pull screw"),
    "hinge": say("hinge"),
    "hinge for a 45° front": say("hinge for a 45° front"),
    "pull": say("pull"),
    "screw": say("screw"),
    "shelf pin": say("shelf pin"),
    "slide pair": say("slide pair"),
    "spacer": say("spacer"),
    "spring pin": say("spring pin"),
}
_DRAWER: Final = "Drawer "


def plain_name(part: Part) -> str:
    """The name on the label without the number of the drawer."""
    if part.unit and part.name.startswith(f"{part.unit} "):
        return _DRAWER + part.name.removeprefix(f"{part.unit} ")
    return part.name


def plain_words(part: Part) -> str:
    """Return what a part is, for one who does not know its name."""
    name = plain_name(part)
    drawer = _PLAIN_DRAWER.get(name.removeprefix(_DRAWER)) if name.startswith(_DRAWER) else None
    return drawer or _PLAIN.get(name) or name.lower()


def label_name(parts: Sequence[Part]) -> str:
    """The name on the labels of parts that are alike; where only their numbers differ, all of these."""
    first = parts[0]
    if len(parts) == 1:
        return first.id
    if plain_name(first) != first.name:  # a drawer's part is numbered with its drawer
        numbers = listed(number_of(part.unit) for part in parts)
        return say("Drawers %(numbers)s: %(part)s", numbers=numbers, part=plain_name(first).removeprefix(_DRAWER))
    numbers = listed(number_of(part.id) for part in parts)
    match first.name:
        case "Shelf":
            return say("Shelves %(numbers)s", numbers=numbers)
        case "Fixed shelf":
            return say("Fixed shelves %(numbers)s", numbers=numbers)
        case name:
            return join([name, numbers], between=" ")


def name_within(text: str, printed: str) -> Name:
    """Return a name as it stands within a sentence."""
    return Name(text.lower(), printed)


def units_named(units: Sequence[str]) -> str:
    """Drawer 1, or: Drawers 2, 3 and 4; nothing where there is no unit."""
    if not units:
        return ""
    numbers = listed(number_of(unit) for unit in units)
    return say_many("Drawer %(numbers)s", "Drawers %(numbers)s", len(units), numbers=numbers)


def number_of(name: str) -> int:
    """Return the number at the end of a name."""
    return int(name.rsplit(" ", 1)[1])


def item_words(item: str) -> str:
    """Return what an item is called, its size after it: ``spring pin 8 mm``."""
    kind = next((kind for kind in sorted(_ITEMS, key=len, reverse=True) if f"{item} ".startswith(f"{kind} ")), None)
    if kind is None:
        return item
    size = item.removeprefix(kind).strip()
    return join([_ITEMS[kind], measured(size)], between=" ") if size else _ITEMS[kind]


def measured(text: str) -> str:
    """Return a measure whose decimals each language writes in its own way."""
    whole, point, rest = text.partition(".")
    return say("%(whole)s.%(rest)s", whole=whole, rest=rest) if point else text


def all_of(texts: Iterable[str]) -> str:
    """Texts in a sentence, each once: this, that and the other; there is at least one."""
    each = list(dict.fromkeys(texts))
    if len(each) == 1:
        return each[0]
    return say("%(first)s and %(last)s", first=join(each[:-1]), last=each[-1])


def listed(numbers: Iterable[int]) -> str:
    """Numbers in a sentence: 3, 5 and 7."""
    texts = [str(number) for number in sorted(set(numbers))]
    return all_of(texts) if texts else ""


def numbered(numbers: Iterable[int]) -> str:
    """Number 3, or: numbers 3, 5 and 7."""
    each = sorted(set(numbers))
    return say_many("number %(numbers)s", "numbers %(numbers)s", len(each), numbers=listed(each))
