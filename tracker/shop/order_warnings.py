"""What somebody should look at in an order, before and after it is taken. None of it is wrong enough to refuse it."""

from collections.abc import Iterable
from datetime import date

from tracker.shop.orders import PartLine
from tracker.shop.saying import Mm, Said, say
from tracker.shop.steps import Supply
from tracker.shop.supplies import UNNAMED, Boards

Material = tuple[str, float]


def material_of(line: PartLine) -> Material:
    """Return a part's material and thickness in mm, as boards are told apart."""
    return line.material, round(line.thickness_mm, 2)


def made_of(lines: Iterable[PartLine]) -> set[Material]:
    """Return the materials of what is made here."""
    return {material_of(line) for line in lines if line.supply is Supply.MADE}


def unlisted(materials: Iterable[Material], boards: Boards) -> set[Material]:
    """Return those of these materials that are not on the shop's list of boards, if it has one."""
    return {each for each in materials if boards.stocks and not boards.lists(each[0] or UNNAMED, each[1])}


def order_warnings(due: date, materials: Iterable[Material], boards: Boards, today: date) -> list[Said]:
    """Return what to look at: a day in the past, and materials and finishes that are slips or have to be bought."""
    found = []
    if due < today:
        found.append(say("The day when it is due, %(day)s, is past.", day=due))
    for material, thickness in sorted(unlisted(materials, boards)):
        shown = material or say("not named")
        told = say("%(material)s, %(size)s: not on the shop's list of boards.", material=shown, size=Mm(thickness))
        found.append(told)
    return found
