"""Ramps and shapers drawn at random, and what they amount to, worked out from their changes of acceleration alone."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import strategies as st

from protocol.ramp import Ramp, changes
from protocol.shaper import CLOSEST_MS, LONGEST_MS, MOST_IMPULSES, WHOLE, Shaper


@st.composite
def shapers(draw: st.DrawFn, longest_ms: int = LONGEST_MS) -> Shaper:
    """Any shaper whose impulses lie within that time, often at its edges; one in a few has none."""
    count = draw(st.sampled_from((0, *range(2, MOST_IMPULSES + 1))))
    if not count:
        return Shaper()
    spare_ms = longest_ms - CLOSEST_MS * (count - 1)
    early = sorted(draw(st.lists(st.integers(0, spare_ms), min_size=count - 1, max_size=count - 1)))
    delays = [0, *(spare + CLOSEST_MS * number for number, spare in enumerate(early, start=1))]
    cuts = draw(st.lists(st.integers(1, WHOLE - 1), min_size=count - 1, max_size=count - 1, unique=True).map(sorted))
    shares = [after - before for before, after in pairwise([0, *cuts, WHOLE])]
    return Shaper(tuple(zip(delays, shares, strict=True)))


NUMBERS = st.sampled_from((0, 1, 4, 5, 100, 2000, 2001, WHOLE // 2, WHOLE - 1)) | st.integers(0, WHOLE - 1)


@st.composite
def numbers_of_a_command(draw: st.DrawFn) -> list[int]:
    """The ten numbers of a SetShaper: those of a shaper, with up to two of them changed or exchanged."""
    numbers = [number for pair in draw(shapers()).impulses for number in pair]
    numbers += [0] * (2 * MOST_IMPULSES - len(numbers))
    for _ in range(draw(st.integers(0, 2))):
        at, other = draw(st.tuples(*[st.integers(0, len(numbers) - 1)] * 2))
        if draw(st.booleans()):
            numbers[at] = draw(NUMBERS)
        else:
            numbers[at], numbers[other] = numbers[other], numbers[at]
    return numbers


def motion_of(ramp: Ramp, shaper: Shaper, at_ms: float) -> tuple[float, float, float]:
    """Steps, steps/s and steps/s^2 at that time, summed over all changes of acceleration before it."""
    gone = [((at_ms - begun_ms) / 1000, change) for begun_ms, change in changes(ramp, shaper) if begun_ms < at_ms]
    steps = sum(change * since_s**2 / 2 for since_s, change in gone)
    return steps, sum(change * since_s for since_s, change in gone), sum(change for _, change in gone)
