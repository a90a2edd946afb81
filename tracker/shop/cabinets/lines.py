"""From ordered cabinets to the lines of a job: its parts, its items, and the designs that they come from."""

from collections.abc import Iterator, Sequence
from hashlib import sha256
from typing import Final

from tracker.shop.cabinets.design import Cabinet, design_cabinet, kind_of
from tracker.shop.cabinets.orders import MOST_FAULTS_TOLD, PlacedOrder
from tracker.shop.cabinets.panels import Grain, Part
from tracker.shop.cabinets.standard import Standard
from tracker.shop.errors import Fault, InvalidInputError, TooLargeError, fault_at
from tracker.shop.orders import Designed, ItemLine, OrderedDesign, PartLine
from tracker.shop.saying import Count, join, say

MOST_CABINETS: Final = 2_000
MOST_PARTS: Final = 20_000


def design_all(
    orders: Sequence[PlacedOrder], standard: Standard, unread: Sequence[Fault] = ()
) -> tuple[OrderedDesign, ...]:
    """Return the designs of a job's cabinets; ``unread`` are the faults of rows that could not be read.

    Raises InvalidInputError naming these and, for every order that cannot be built, its place, its field and the rule
    that it breaks, and each cabinet's number that stands twice; TooLargeError for more than one job takes.
    """
    if sum(order.quantity for _, order in orders) > MOST_CABINETS:
        most = Count(MOST_CABINETS)
        told = say("More than %(most)s cabinets in one job.", most=most)
        raise _too_large(told, say("wanted: at most %(most)s cabinets", most=most))
    if not orders and not unread:
        raise InvalidInputError(say("There are no cabinets."), [Fault(where={}, what=say("no rows"))])
    designs: list[OrderedDesign] = []
    faults = list(unread)
    parts = 0
    seen: set[str] = set()
    for where, order in orders:
        for name in order.unit_names:
            if name in seen:
                what = say("%(name)s stands twice", name=repr(name))
                faults.append(Fault(where={**where, "field": "cabinet"}, what=what))
            seen.add(name)
        try:
            cabinet = design_cabinet(order, standard)
            designs.append(OrderedDesign(cabinet=cabinet, names=order.unit_names))
            parts += len(cabinet.parts) * order.quantity
        except InvalidInputError as error:
            faults += [Fault(where={**where, **fault.where}, what=fault.what) for fault in error.faults]
        if parts > MOST_PARTS:
            most = Count(MOST_PARTS)
            told = say(
                "With cabinet %(cabinet)s the job has more than %(most)s parts.", cabinet=order.cabinet, most=most
            )
            raise _too_large(told, say("wanted: fewer cabinets: at most %(most)s parts in one job", most=most))
    if faults:
        faults.sort(key=lambda fault: [value for value in fault.where.values() if isinstance(value, int)][:1])
        detail = say("Not every cabinet can be built. Nothing was stored; mend these.")
        raise InvalidInputError(detail, faults[:MOST_FAULTS_TOLD])
    return tuple(designs)


def _too_large(told: str, wanted: str) -> TooLargeError:
    return TooLargeError(join([told, say("Split it into several jobs.")], between=" "), [fault_at("cabinets", wanted)])


def part_lines(designs: Sequence[OrderedDesign]) -> Iterator[PartLine]:
    """Yield one line for each piece of each cabinet."""
    for design in designs:
        drawn = [(part, _designed(design.cabinet, part), _programme(part)) for part in design.cabinet.parts]
        for name in design.names:
            for part, designed, programme in drawn:
                yield PartLine(
                    cabinet=name,
                    part=part.id,
                    quantity=1,
                    length_mm=part.length_mm,
                    width_mm=part.width_mm,
                    thickness_mm=part.thickness_mm,
                    material=part.board.material,
                    edges=part.edges,
                    machining=programme,
                    room=design.cabinet.order.room,
                    drop=design.cabinet.order.drop,
                    designed=designed,
                )


def item_lines(designs: Sequence[OrderedDesign]) -> Iterator[ItemLine]:
    """Yield what goes into each cabinet's bag; what the shop fits itself is not counted into a box."""
    for design in designs:
        for name in design.names:
            for item in design.cabinet.items:
                if item.in_bag:
                    yield ItemLine(box=name, item=item.item, quantity=item.quantity)


def _designed(cabinet: Cabinet, part: Part) -> Designed:
    return Designed(
        own=part.id,
        front=cabinet.front_side(part).value,
        marks=cabinet.marks(part),
        blank_mm=part.blank_mm,
        grain=part.grain is not Grain.NONE,
        fragile=part.front,
        mass_kg=part.mass_kg,
    )


def _programme(part: Part) -> str:
    """Name the machining after what is machined: parts that are truly alike share a programme, any others do not."""
    if not part.features:
        return ""
    return f"M-{sha256(repr(_plain(kind_of(part))).encode()).hexdigest()[:8].upper()}"


def _plain(value: object) -> object:
    """Return a value whose spelling is the same in every run: sets are sorted."""
    if isinstance(value, frozenset):
        return tuple(sorted(value))
    return tuple(_plain(item) for item in value) if isinstance(value, tuple) else value
