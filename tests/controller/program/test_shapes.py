"""Which shapers and ramps a program is told."""

from collections.abc import Sequence

import numpy as np
import pytest

from controller.kit.kit import Kit
from controller.program.arrival import Approach, Moves, turning_ms, waits_ns, with_shapers
from controller.program.build import plain_settings
from controller.program.program import Settings
from controller.program.shapes import GENTLER, MOST_WEIGHED, choose
from controller.shaping.rig import modes_of
from controller.shaping.shapers import candidates
from protocol.shaper import PLAIN
from tests.controller.program.test_arrival import approaches_of
from tests.end_to_end.whole_runs import kit_of

ONCE = ((0.0, 0.02),)
ROW = [(15.0 * number, 0.0) for number in range(12)]
RIGS = [(24.0, 8.0, 0.05), (50.0, 4.0, 0.03), (100.0, 5.0, 0.03), (35.0, 15.0, 0.1)]


def seconds(kit: Kit, axes: Settings, approaches: Sequence[Approach]) -> float:
    """Of all moves and waits."""
    turning = sum(turning_ms(axes, *approach.stops) for approach in approaches) / 1000
    return turning + sum(waits_ns(kit, axes, approaches)) / 1e9


@pytest.mark.parametrize(("focal_length_mm", "ring_hz", "damping"), RIGS)
def test_no_other_shaper_is_quicker_over_a_row(focal_length_mm: float, ring_hz: float, damping: float) -> None:
    """Nearly: the choice takes every move for one of many like it, and this row begins from rest."""
    kit = kit_of(focal_length_mm, head={"ring_hz": ring_hz, "ring_damping": damping})
    approaches = approaches_of(ROW, (0.02,))
    chosen = choose(kit, plain_settings(kit), approaches)
    best = seconds(kit, chosen, approaches)
    for shaper in candidates(modes_of(kit.head, kit.head.pan)):
        other = with_shapers(plain_settings(kit), (shaper, chosen[1].shaper))
        assert best <= 1.04 * seconds(kit, other, approaches)
    assert best < seconds(kit, plain_settings(kit), approaches)


def test_a_stiff_rig_needs_no_shaper() -> None:
    kit = kit_of(14.0, head={"ring_hz": 100.0, "ring_damping": 0.5, "ring_damping_within": 0.1})
    assert [axis.shaper for axis in choose(kit, plain_settings(kit), approaches_of(ROW, (0.01,)))] == [PLAIN, PLAIN]


def test_an_axis_that_never_turns_gets_the_shortest() -> None:
    kit = kit_of(50.0)
    pan, tilt = choose(kit, plain_settings(kit), approaches_of(ROW, (0.02,)))
    assert pan.shaper != PLAIN
    assert tilt.shaper == PLAIN


def test_the_kits_own_wait_leaves_ramps_alone() -> None:
    kit = kit_of(50.0, head={"settle_ms": 500.0})
    assert choose(kit, plain_settings(kit), approaches_of(ROW, (0.02,))) == plain_settings(kit)
    assert choose(kit_of(50.0), plain_settings(kit), []) == plain_settings(kit)


@pytest.mark.parametrize(("focal_length_mm", "ring_hz", "damping"), RIGS)
def test_a_board_that_does_not_shape_gets_the_best_of_gentler_ramps(
    focal_length_mm: float, ring_hz: float, damping: float
) -> None:
    head = {"ring_hz": ring_hz, "ring_damping": damping}
    kit = kit_of(focal_length_mm, head=head, board={"shapes_ramps": False})
    approaches = approaches_of(ROW, (0.02,))
    axes, full = choose(kit, plain_settings(kit), approaches), plain_settings(kit)
    shares = [axis.accel_steps_s2 / whole.accel_steps_s2 for axis, whole in zip(axes, full, strict=True)]
    assert shares[0] == pytest.approx(shares[1], rel=1e-3)
    assert any(shares[0] == pytest.approx(share, rel=1e-3) for share in GENTLER)
    assert min(GENTLER) >= 0.5  # a Stop brakes with it as well
    assert [axis.shaper for axis in axes] == [PLAIN, PLAIN]
    assert seconds(kit, axes, approaches) <= 1.02 * seconds(kit, full, approaches)


def test_a_sample_of_many_moves_chooses_like_all_of_them() -> None:
    kit = kit_of(50.0)
    row = [(15.0 * (number % 12), 10.0 * (number // 12 % 4)) for number in range(3 * MOST_WEIGHED)]
    approaches = approaches_of(row, (0.02,))
    chosen = choose(kit, plain_settings(kit), approaches)
    few = choose(kit, plain_settings(kit), approaches[:MOST_WEIGHED])
    assert seconds(kit, chosen, approaches) == pytest.approx(seconds(kit, few, approaches), rel=0.02)


def test_moves_alone_cost_what_they_cost_in_a_run_of_their_like() -> None:
    kit = kit_of(50.0, head={"ring_hz": 4.0, "ring_damping": 0.03})
    there, back = Approach(((0, 0), (4800, 0)), 0.0, ONCE), Approach(((4800, 0), (0, 0)), 0.0, ONCE)
    axes = plain_settings(kit)
    took_s, wait_s = Moves(kit, axes, [there, back]).seconds((PLAIN, PLAIN), ONCE)
    waits = waits_ns(kit, axes, [there, back] * 20)
    assert np.ptp(took_s) == 0
    assert waits[-1] / 1e9 == pytest.approx(wait_s[0], rel=0.15)
    assert waits[0] > waits[-1]  # finding zero leaves more
