"""The order in which a card's files were shot: by the numbers in their names if these count shots, otherwise by the
clock.

A camera's clock can be set back in the middle of a run, so times alone do not give the order. Numbers do, within a block
of files with consecutive numbers. A file whose name says nothing (renamed, no number, a number from elsewhere) is placed
among the others by its time and does not affect them.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
NUMBERS = 9999  # after 9999 file numbers restart at 1: DCF, CIPA DC-009. From memory
NEAR = 40  # largest step between numbers within a block
NEXT = 2  # largest step between numbers of certain neighbours
SMALLEST_BLOCK = 3  # files; fewer say nothing about the order
LEAST_FITTING = 0.8  # of the numbered files; if more are out of order, the numbers do not count shots
MOST_SETBACKS = 5  # most times that the clock is set back within a block
FAR_S = 30.0  # this far from its neighbours' time a number is from elsewhere; if nearer, the clock may have been set back


@dataclass(frozen=True, slots=True, eq=False)
class ShootingOrder:
    """Files in the order of shooting.

    `files`, (files,): indices; `numbered`: whether numbers gave the order. The other arrays follow this order. `gaps`:
    how many numbers are missing before a file, -1 if unknown. `room`: false for a file without a number for which the
    sequence has no number left. `tied`: files of the same group were shot in the same tick, in an unknown order; -1 for
    none.
    """

    files: NDArray[np.int64]
    numbered: bool
    gaps: NDArray[np.int64]
    room: NDArray[np.bool_]
    tied: NDArray[np.int64]


def order_of(at_s: Array, numbers: Sequence[int | None], since_s: Array | None = None) -> ShootingOrder:
    """The order of files by their times and the numbers in their names (1 to 9999), if any.

    `since_s`, if given, replaces the times of files without a number: corrected times.
    """
    blocks = _blocks_in_order(at_s, numbers)
    counting = {file: block for block, files in enumerate(blocks) for file in files}
    merged = [file for files in blocks for file in files]
    loose = sorted((file for file in range(len(at_s)) if file not in counting), key=lambda file: (at_s[file], file))
    order = _merged(at_s, merged, loose)
    if since_s is not None and not merged:
        order.sort(key=lambda file: (since_s[file], file))
    tied = _tied(at_s, order, counting)
    gaps, room = _gaps(numbers, order, counting, tied)
    return ShootingOrder(np.array(order, dtype=np.int64), bool(merged), gaps, room, tied)


def step_between(first: int, second: int) -> int:
    """How many shots the second number comes after the first, 0 to 9998."""
    return (second - first) % NUMBERS


def _blocks_in_order(at_s: Array, numbers: Sequence[int | None]) -> list[list[int]]:
    """Blocks of files whose numbers count shots, the earliest first; empty if numbers do not count shots."""
    numbered = [file for file, number in enumerate(numbers) if number is not None]
    blocks = [_in_time(at_s, numbers, block) for block in _blocks(at_s, numbers, numbered)]
    blocks = sorted(filter(None, blocks), key=lambda block: float(np.median(at_s[block])))
    spans = [(at_s[block].min(), at_s[block].max()) for block in blocks]
    apart = all(first[1] <= second[0] for first, second in pairwise(spans))
    if apart and sum(map(len, blocks)) >= LEAST_FITTING * len(numbered):
        return blocks
    return _along_time(at_s, numbers, numbered)


def _blocks(at_s: Array, numbers: Sequence[int | None], numbered: list[int]) -> list[list[int]]:
    """Files sorted by number, cut at large gaps; may continue from 9999 to 1."""
    by_number = sorted(numbered, key=lambda file: (numbers[file], at_s[file]))
    blocks: list[list[int]] = []
    for file in by_number:
        if blocks and _step(numbers, blocks[-1][-1], file) <= NEAR:
            blocks[-1].append(file)
        else:
            blocks.append([file])
    if len(blocks) > 1 and _step(numbers, blocks[-1][-1], blocks[0][0]) <= NEAR:
        blocks[0] = blocks.pop() + blocks[0]
    return [block for block in blocks if len(block) >= SMALLEST_BLOCK]


def _step(numbers: Sequence[int | None], first: int, second: int) -> int:
    one, other = numbers[first], numbers[second]
    assert one is not None
    assert other is not None
    return step_between(one, other)


def _in_time(at_s: Array, numbers: Sequence[int | None], block: list[int]) -> list[int]:
    """The files of a block, without those with a repeated number or a time outside their neighbours'.

    Empty if more than a few of the rest go back in time, because then the numbers do not count shots.
    """
    kept = list(block)
    while True:
        times = at_s[kept]
        before, after = np.append(times[:1], times[:-1]), np.append(times[1:], times[-1:])
        stray = (before <= after) & ((times < before - FAR_S) | (times > after + FAR_S))
        if len(kept) > 1:  # at either end there is only one neighbour, and it may be from before a clock change
            stray[0] = times[0] > times[1] and _step(numbers, kept[0], kept[1]) > NEXT
            stray[-1] = times[-1] < times[-2] and _step(numbers, kept[-2], kept[-1]) > NEXT
        places = np.flatnonzero(stray)
        if not len(places) or len(kept) < SMALLEST_BLOCK:
            break
        apart = np.append(True, np.diff(places) > 1)  # never take out two neighbours at once
        gone = set(places[apart].tolist())
        kept = [file for place, file in enumerate(kept) if place not in gone]
    kept = [file for place, file in enumerate(kept) if place == 0 or numbers[file] != numbers[kept[place - 1]]]
    setbacks = int((np.diff(at_s[kept]) < 0).sum())
    few = setbacks <= min(MOST_SETBACKS, max(1, len(kept) // 8))
    return kept if few and len(kept) >= SMALLEST_BLOCK else []


def _along_time(at_s: Array, numbers: Sequence[int | None], numbered: list[int]) -> list[list[int]]:
    """All numbered files by time, in blocks, if their numbers nearly always grow: two cards whose numbers overlap."""
    by_time = sorted(numbered, key=lambda file: (at_s[file], numbers[file]))
    blocks: list[list[int]] = []
    for file in by_time:
        step = _step(numbers, blocks[-1][-1], file) if blocks else 0
        if blocks and 0 < step <= NEAR:
            blocks[-1].append(file)
        else:
            blocks.append([file])
    blocks = [block for block in blocks if len(block) >= SMALLEST_BLOCK]
    return blocks if sum(map(len, blocks)) >= LEAST_FITTING * len(numbered) else []


def _merged(at_s: Array, ordered: list[int], loose: list[int]) -> list[int]:
    """Insert each loose file, by time, at the first place at which the others' clock passes its time."""
    if not ordered or not loose:
        return ordered or loose
    times = at_s[ordered]
    merged: list[tuple[int, float, int]] = [(place, -np.inf, file) for place, file in enumerate(ordered)]
    for file in loose:
        passing = np.flatnonzero((times[:-1] <= at_s[file]) & (at_s[file] < times[1:]))
        end = -1 if at_s[file] < times[0] else len(ordered) - 1
        place = int(passing[0]) if len(passing) else end
        merged.append((place, float(at_s[file]), file))
    return [file for _, _, file in sorted(merged, key=lambda one: one[:2])]


def _tied(at_s: Array, order: list[int], counting: dict[int, int]) -> NDArray[np.int64]:
    tied = np.full(len(order), -1, dtype=np.int64)
    begin = 0
    for end in range(1, len(order) + 1):
        if end < len(order) and at_s[order[end]] == at_s[order[begin]]:
            continue
        if end - begin > 1 and any(file not in counting for file in order[begin:end]):
            tied[begin:end] = begin
        begin = end
    return tied


def _gaps(
    numbers: Sequence[int | None], order: list[int], counting: dict[int, int], tied: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Numbers missing before each file, and whether there is one for each file without a number."""
    gaps, room = np.full(len(order), -1, dtype=np.int64), np.ones(len(order), dtype=np.bool_)
    fixed = [place for place, file in enumerate(order) if file in counting and tied[place] < 0]
    for one, other in pairwise(fixed):
        first, second = order[one], order[other]
        if counting[first] != counting[second]:
            continue
        left_out = _step(numbers, first, second) - 1
        if other == one + 1:
            gaps[other] = left_out
            continue
        between = range(one + 1, other)
        free = left_out - sum(order[place] in counting for place in between)
        for place in between:
            room[place] = order[place] in counting or free > 0
    return gaps, room
