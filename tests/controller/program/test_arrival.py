"""The wait after each move, against oscillators that are anything within what the kit states."""

import math
from itertools import accumulate, pairwise
from random import Random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.kit.kit import Kit
from controller.program.arrival import Approach, Exposures, lasts_s, plain, turning_ms, waits_ns
from controller.program.build import plain_settings
from controller.program.program import Settings
from controller.program.shapes import choose
from protocol.ramp import changes, ramp_of
from protocol.units import NS
from tests.end_to_end.whole_runs import kit_of

STILL_PX = 0.5
STEPS = 320  # per degree


def in_turn(exposed_s: tuple[float, ...]) -> Exposures:
    """One after the other, at once."""
    return tuple(zip(accumulate((0.0, *exposed_s[:-1])), exposed_s, strict=True))


def approaches_of(
    ways: list[tuple[float, float]], exposed_s: tuple[float, ...], pitch_deg: float = 0.0
) -> list[Approach]:
    """From zero to one place after another, in degrees of pan and tilt."""
    places = [(0, 0), *((round(pan * STEPS), round(tilt * STEPS)) for pan, tilt in ways)]
    return [Approach((here, there), pitch_deg, in_turn(exposed_s)) for here, there in pairwise(places)]


def most_motion_px(
    kit: Kit, axes: Settings, approaches: list[Approach], waits: list[int], modes: list[tuple[float, float]]
) -> float:
    """The largest motion during any exposure of a head whose axes truly swing with these (hz, damping)."""
    swings, most = [0j, 0j], 0.0
    poles = [complex(-z * 2 * math.pi * hz, 2 * math.pi * hz * math.sqrt(1 - z * z)) for hz, z in modes]
    pixel_deg = math.degrees(kit.field(0.0).pixel_rad)
    for approach, wait_ns in zip(approaches, waits, strict=True):
        took_s = turning_ms(axes, *approach.stops) / 1000
        for axis, (pole, setting) in enumerate(zip(poles, axes, strict=True)):
            way = approach.stops[1][axis] - approach.stops[0][axis]
            kicks = changes(ramp_of(way, setting.speed_steps_s, setting.accel_steps_s2), setting.shaper)
            signed = math.copysign(1 / STEPS, way)
            omega = 2 * math.pi * modes[axis][0]
            # x = Im(swing exp(pole t)) / (w^2 sqrt(1 - z^2)), as Thomson and Dahleh's response to a step of acceleration
            scale = signed / (omega**2 * math.sqrt(1 - modes[axis][1] ** 2))
            swings[axis] *= np.exp(pole * took_s)
            swings[axis] += scale * sum(kick * np.exp(pole * (took_s - at_ms / 1000)) for at_ms, kick in kicks)
        for begin_s, exposed_s in approach.exposures:
            at = wait_ns / NS + begin_s + np.linspace(0, exposed_s, 120)
            moved = [np.imag(swing * np.exp(pole * at)) for swing, pole in zip(swings, poles, strict=True)]
            most = max(most, math.hypot(*(float(np.ptp(each)) for each in moved)) / pixel_deg)
        end_s = wait_ns / NS + lasts_s(approach.exposures)
        swings = [swing * np.exp(pole * end_s) for swing, pole in zip(swings, poles, strict=True)]
    return most


WAYS = st.lists(st.tuples(st.floats(-60, 60), st.floats(-40, 40)), min_size=1, max_size=6)


@settings(max_examples=40, deadline=None)
@given(
    WAYS,
    st.floats(14, 200),
    st.floats(2, 20),
    st.floats(0.01, 0.3),
    st.floats(0.02, 0.2),
    st.floats(0, 0.6),
    st.floats(0.001, 2.0),
    st.booleans(),
    st.integers(0, 1000),
)
def test_the_picture_is_still_whatever_the_camera_does_within_what_is_stated(
    ways: list[tuple[float, float]],
    focal_length_mm: float,
    ring_hz: float,
    damping: float,
    hz_within: float,
    damping_within: float,
    shutter_s: float,
    shapes: bool,
    seed: int,
) -> None:
    stated = {
        "ring_hz": ring_hz,
        "ring_damping": damping,
        "ring_hz_within": hz_within,
        "ring_damping_within": damping_within,
    }
    kit = kit_of(focal_length_mm, head=stated, board={"shapes_ramps": shapes})
    approaches = approaches_of(ways, (shutter_s,))
    axes = choose(kit, plain_settings(kit), approaches)
    waits = waits_ns(kit, axes, approaches)
    random = Random(seed)
    for _ in range(6):
        hz = ring_hz * (1 + hz_within * random.uniform(-1, 1))
        true = (hz, damping * (1 + damping_within * random.uniform(-1, 1)))
        assert most_motion_px(kit, axes, approaches, waits, [true, true]) < STILL_PX


@settings(max_examples=30, deadline=None)
@given(WAYS, st.floats(3, 12), st.floats(3, 12), st.floats(0.02, 0.1), st.integers(0, 1000))
def test_axes_that_swing_differently_are_still_as_well(
    ways: list[tuple[float, float]], pan_hz: float, tilt_hz: float, damping: float, seed: int
) -> None:
    head = {
        "ring_damping": damping,
        "pan": {"ring_hz": pan_hz},
        "tilt": {"ring_over_pitch": [[-10, tilt_hz], [50, 2 * tilt_hz]]},
    }
    kit = kit_of(50.0, head=head)
    approaches = approaches_of(ways, (0.01, 0.1), pitch_deg=20.0)
    axes = choose(kit, plain_settings(kit), approaches)
    waits = waits_ns(kit, axes, approaches)
    random = Random(seed)
    for _ in range(4):
        pan, tilt = (
            (hz * random.uniform(0.9, 1.1), damping * random.uniform(0.5, 1.5)) for hz in (pan_hz, 1.5 * tilt_hz)
        )
        assert most_motion_px(kit, axes, approaches, waits, [pan, tilt]) < STILL_PX


def test_the_kits_own_wait_counts() -> None:
    approaches = approaches_of([(10, 0), (20, 10)], (0.01,))
    for settle_ms in (0.0, 123.5):
        kit = kit_of(head={"settle_ms": settle_ms})
        assert waits_ns(kit, plain_settings(kit), approaches) == [round(settle_ms * 1e6)] * 2


def test_a_move_to_where_the_head_stands_needs_no_wait() -> None:
    kit = kit_of(100.0)
    first, second = waits_ns(kit, plain_settings(kit), approaches_of([(0, 0), (0, 0)], (1.0,)))
    assert first > second == 0  # finding zero makes it swing


def test_a_longer_lens_a_longer_exposure_and_a_softer_rig_need_longer() -> None:
    def wait(focal_length_mm: float = 50.0, shutter_s: float = 0.01, **head: float) -> int:
        kit = kit_of(focal_length_mm, head=head)
        return waits_ns(kit, plain_settings(kit), approaches_of([(20, 5)], (shutter_s,)))[0]

    assert wait() < wait(100.0)
    assert wait() < wait(shutter_s=0.06)
    assert wait() < wait(ring_damping=0.03)
    assert wait() < wait(ring_damping_within=0.7)
    assert wait() < wait(ring_hz=5.0)


def test_later_exposures_of_a_bracket_have_what_the_earlier_ones_took() -> None:
    """A long exposure that comes last begins later by the time of those before it, so that the wait is shorter."""
    kit = kit_of(100.0)
    axes = plain_settings(kit)
    alone, last, first = (
        waits_ns(kit, axes, approaches_of([(20, 5)], times))[0] for times in ((0.1,), (0.03, 0.1), (0.1, 0.03))
    )
    assert first == alone
    assert last == pytest.approx(alone - 0.03 * NS, abs=1e6)


def test_a_head_that_may_come_from_anywhere_waits_longest() -> None:
    kit = kit_of(50.0)
    axes = plain_settings(kit)
    for way in ((0, 0), (1, 1), (35, 12), (170, 60)):
        known = approaches_of([way], (0.05,))
        unforeseen = [Approach(each.stops, 0.0, each.exposures, unforeseen=True) for each in known]
        assert waits_ns(kit, axes, unforeseen)[0] > waits_ns(kit, axes, known)[0]


def test_a_plain_board_is_told_no_shaper() -> None:
    kit = kit_of(50.0)
    axes = choose(kit, plain_settings(kit), approaches_of([(20, 5)], (0.05,)))
    assert any(axis.shaper.impulses for axis in axes)
    assert not any(axis.shaper.impulses for axis in plain(axes))
    assert turning_ms(axes, (0, 0), (9000, 0)) == turning_ms(plain(axes), (0, 0), (9000, 0)) + axes[0].shaper.duration_ms
    assert turning_ms(axes, (0, 0), (0, 0)) == 0
