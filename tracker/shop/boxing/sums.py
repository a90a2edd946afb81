"""Sizes into as few bins of one room as can be: the plain one-dimensional core of planning boxes."""

import math
from collections.abc import Callable, Sequence
from heapq import nsmallest
from typing import Final, TypeVar

from tracker.shop.searching import Effort, Shuffle

_FINEST: Final = 1 << 16  # room for sums as bits; finer sizes are rounded up to this many steps
_MOST_BITS: Final = 1 << 24  # with very many sizes the steps are coarser
_KEPT_ANYHOW: Final = 200  # each so many refills one is kept whatever it is, so that the search does not stick
_EMPTIEST: Final = 0.8  # how often the emptiest boxes are among those taken apart
_BITS_A_STEP: Final = 4_096

Box = TypeVar("Box")


def in_few_steps(sizes: Sequence[int], rooms: Sequence[int]) -> tuple[list[int], list[int]]:
    """Return sizes and rooms in as few whole steps as they allow, but not too many; rounding is to the safe side."""
    step, most = math.gcd(*sizes) or 1, max(rooms)
    finest = min(_FINEST, _MOST_BITS // len(sizes))
    if most // step <= finest:
        return [size // step for size in sizes], [room // step for room in rooms]
    return [-(-size * finest // most) for size in sizes], [room * finest // most for room in rooms]


def fullest(sizes: Sequence[int], room: int, shuffle: Shuffle, skip: float = 0.0) -> tuple[list[int], list[int]]:
    """Return the positions in ``sizes`` that fill ``room`` best, the first of them first, and the other positions.

    All reachable sums stand as bits of one whole number. ``skip`` is how often a size that could be taken is passed
    over when the same sum can be reached without it.
    """
    reach, reaches, mask = 1, [1], (1 << (room + 1)) - 1
    for size in reversed(sizes):
        reach = (reach | reach << size) & mask
        reaches.append(reach)
    wanted = reaches.pop().bit_length() - 1
    taken, rest = [], []
    for position, size in enumerate(sizes):
        reach = reaches.pop()
        can_take = size <= wanted and reach >> (wanted - size) & 1
        if can_take and not (skip and reach >> wanted & 1 and shuffle.share() < skip):
            taken.append(position)
            wanted -= size
        else:
            rest.append(position)
    return taken, rest


def fewer(
    boxes: list[Box],
    *,
    done: Callable[[Sequence[Box]], bool],
    others: Sequence[int],
    emptiest: int,
    load: Callable[[Box], float],
    refill: Callable[[list[Box]], list[Box] | None],
    effort: Effort,
    shuffle: Shuffle,
) -> list[Box]:
    """Return no more boxes than there were: take a few apart, fill them again, and keep what leaves them fuller.

    The ``emptiest`` are mostly among those taken apart, beside as many ``others``. ``load`` says how full a box is, 0
    for an empty one; ``refill`` returns as many boxes as it was given, or None. Stops when ``done`` or without effort.
    """
    loads = [load(box) for box in boxes]
    tries = 0
    while effort.left > 0 and not done(boxes):
        tries += 1
        effort.left -= len(boxes) // 4
        opened = _choose(loads, others, emptiest, shuffle)
        refilled = refill([boxes[index] for index in opened])
        if refilled is None:
            continue
        new_loads = [load(box) for box in refilled]
        poorer = sum(new * new for new in new_loads) < sum(loads[index] ** 2 for index in opened)
        if poorer and tries % _KEPT_ANYHOW:
            continue
        for index, box, new_load in zip(opened, refilled, new_loads, strict=True):
            boxes[index], loads[index] = box, new_load
        if not all(new_loads):
            boxes = [box for box, kept in zip(boxes, loads, strict=True) if kept]
            loads = [kept for kept in loads if kept]
    return boxes


def _choose(loads: Sequence[float], others: Sequence[int], emptiest: int, shuffle: Shuffle) -> list[int]:
    chosen: set[int] = set()
    wanted = others[shuffle.below(len(others))]
    if shuffle.share() < _EMPTIEST:
        chosen.update(nsmallest(emptiest, range(len(loads)), key=loads.__getitem__))
    wanted = min(len(loads), wanted + len(chosen))
    while len(chosen) < wanted:
        chosen.add(shuffle.below(len(loads)))
    return sorted(chosen)


def pack(sizes: Sequence[int], room: int, target: int, effort: Effort) -> list[list[int]]:
    """Return bins of positions in ``sizes``; no bin is over ``room``. Stops at ``target`` bins or without effort.

    Each size is from 1 to ``room``.
    """
    shuffle = Shuffle()
    scaled, (scaled_room,) = in_few_steps(sizes, [room])
    cost = 1 + scaled_room // _BITS_A_STEP

    def fill(pool: list[int], skip: float) -> tuple[list[int], list[int]]:
        effort.left -= cost * len(pool)
        taken, rest = fullest([scaled[position] for position in pool], scaled_room, shuffle, skip)
        return [pool[index] for index in taken], [pool[index] for index in rest]

    def refill(bins: list[list[int]]) -> list[list[int]] | None:
        pool = sorted((position for content in bins for position in content), key=largest_first)
        refilled, skip = [], 0.1 + 0.7 * shuffle.share()
        for _ in bins:
            taken, pool = fill(pool, skip) if pool else ([], pool)
            refilled.append(taken)
        return None if pool else refilled

    def largest_first(position: int) -> int:
        return -scaled[position]

    pool, filled = sorted(range(len(sizes)), key=largest_first), []
    while pool:
        taken, pool = fill(pool, 0.0)
        filled.append(taken)
    return fewer(
        min(filled, _best_fit(scaled, scaled_room), key=len),
        done=lambda bins: len(bins) <= target,
        others=(4, 6, 8),
        emptiest=4,
        load=lambda content: sum(scaled[position] for position in content),
        refill=refill,
        effort=effort,
        shuffle=shuffle,
    )


def _best_fit(sizes: Sequence[int], room: int) -> list[list[int]]:
    """Return bins of positions: the largest size first, each into the fullest bin that takes it."""
    bins: list[list[int]] = []
    left: list[int] = []
    for position in sorted(range(len(sizes)), key=lambda position: -sizes[position]):
        size = sizes[position]
        rest, place = min(((rest, place) for place, rest in enumerate(left) if rest >= size), default=(room, len(bins)))
        if place == len(bins):
            bins.append([])
            left.append(room)
        bins[place].append(position)
        left[place] = rest - size
    return bins
