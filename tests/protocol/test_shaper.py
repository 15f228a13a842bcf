"""What is a shaper and what is not, and the sentence about it."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocol.errors import WrongUse
from protocol.messages import SetShaper
from protocol.shaper import (
    CLOSEST_MS,
    LONGEST_MS,
    MOST_IMPULSES,
    PLAIN,
    WHOLE,
    Shaper,
    impulses_of,
    set_shaper,
    trouble,
)
from protocol.units import AxisId, CommandId
from tests.protocol.ramps import numbers_of_a_command, shapers

HALF = WHOLE // 2
Impulses = tuple[tuple[int, int], ...]
SIX = tuple((number * 10, share) for number, share in enumerate((10_000, 10_000, 10_000, 10_000, 10_000, 15_536)))

TROUBLES: tuple[tuple[Impulses, str], ...] = (
    (((0, WHOLE),), "1 impulses: a shaper has 2 to 5, or none"),
    (SIX, "6 impulses: a shaper has 2 to 5, or none"),
    (((7, HALF), (100, HALF)), "the first impulse comes after 7 ms; it must come at once"),
    (((0, HALF), (4, HALF)), "delays 0, 4 ms: each must be at least 5 ms after the one before"),
    (((0, HALF), (0, HALF)), "delays 0, 0 ms: each must be at least 5 ms after the one before"),
    (((0, 1), (200, HALF), (100, HALF - 1)), "delays 0, 200, 100 ms: each must be at least 5 ms after the one before"),
    (((0, HALF), (2001, HALF)), "a delay of 2001 ms; at most 2000 ms"),
    (((0, HALF), (100, 0), (200, HALF)), "a share of 0; at least 1"),
    (((0, WHOLE + 1), (100, -1)), "a share of -1; at least 1"),
    (((0, HALF), (100, HALF - 1)), "the shares sum to 65535; they must sum to 65536"),
    (((0, HALF), (100, HALF + 1)), "the shares sum to 65537; they must sum to 65536"),
)


@pytest.mark.parametrize(("impulses", "says"), TROUBLES)
def test_what_is_no_shaper_is_refused_with_the_reason(impulses: Impulses, says: str) -> None:
    assert trouble(impulses) == says
    with pytest.raises(WrongUse) as caught:
        Shaper(impulses)
    assert str(caught.value) == says


@pytest.mark.parametrize(
    "impulses",
    [
        (),
        ((0, 1), (CLOSEST_MS, WHOLE - 1)),
        ((0, WHOLE - 1), (LONGEST_MS, 1)),
        tuple((number * CLOSEST_MS, share) for number, share in enumerate((1, 2, 3, 4, WHOLE - 10))),
    ],
)
def test_what_is_just_a_shaper(impulses: Impulses) -> None:
    assert trouble(impulses) is None
    assert Shaper(impulses).duration_ms == (impulses[-1][0] if impulses else 0)
    assert sum(share for _, share in Shaper(impulses).weights) == 1


@given(shapers(), st.sampled_from(AxisId))
def test_a_command_carries_a_shaper_and_nothing_else(shaper: Shaper, axis: AxisId) -> None:
    command = set_shaper(CommandId(7), axis, shaper)
    assert (command.command_id, command.axis) == (7, axis)
    assert impulses_of(command) == shaper.impulses
    assert Shaper(impulses_of(command)) == shaper


@given(numbers_of_a_command())
def test_any_command_is_a_shaper_by_the_rules_of_the_page_or_none(numbers: list[int]) -> None:
    """The rules of protocol/SPEC.md, SetShaper, in other words: used impulses first, then zeros to the end."""
    pairs = list(zip(numbers[::2], numbers[1::2], strict=True))
    used = [pair for pair in pairs if pair[1]]
    delays = [delay for delay, _ in used]
    wanted = not any(numbers) or (
        pairs == used + [(0, 0)] * (MOST_IMPULSES - len(used))
        and len(used) >= 2
        and delays[0] == 0
        and all(after - before >= CLOSEST_MS for before, after in pairwise(delays))
        and delays[-1] <= LONGEST_MS
        and sum(share for _, share in used) == WHOLE
    )
    impulses = impulses_of(SetShaper(CommandId(1), AxisId.PAN, *numbers))
    assert (trouble(impulses) is None) == wanted


@given(shapers(), st.data())
def test_shares_are_rounded_to_whole_numbers_that_still_sum_to_one(shaper: Shaper, data: st.DataObject) -> None:
    """Whatever rounding leaves goes to the largest share, so no impulse is off by more than three units."""
    if shaper == PLAIN:
        return
    off = data.draw(st.lists(st.floats(-0.49, 0.49), min_size=len(shaper.impulses), max_size=len(shaper.impulses)))
    delays = tuple(delay / 1000 + 0.0004 for delay, _ in shaper.impulses)
    shares = tuple((share + part) / WHOLE for (_, share), part in zip(shaper.impulses, off, strict=True))
    found = Shaper.nearest(delays, shares)
    assert [delay for delay, _ in found.impulses] == [delay for delay, _ in shaper.impulses]
    assert sum(share for _, share in found.impulses) == WHOLE
    for (_, share), wanted in zip(found.impulses, shares, strict=True):
        assert abs(share - wanted * WHOLE) <= 3


@pytest.mark.parametrize("hz", [112, 250, 1000])
def test_frequencies_at_which_a_board_cannot_keep_time(hz: float) -> None:
    """Half a swing is shorter than the least time between two impulses."""
    with pytest.raises(WrongUse, match="at least 5 ms after the one before"):
        Shaper.nearest((0.0, 1 / (2 * hz)), (0.5, 0.5))


@pytest.mark.parametrize("hz", [0.1, 0.2499])
def test_frequencies_for_which_no_move_should_wait(hz: float) -> None:
    with pytest.raises(WrongUse, match="at most 2000 ms"):
        Shaper.nearest((0.0, 1 / (2 * hz)), (0.5, 0.5))
