"""The swing of the camera in modes, driven by single steps, against other solutions of the same equation."""

from __future__ import annotations

import math
from random import Random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import signal
from scipy.integrate import solve_ivp

from protocol.shaper import PLAIN, WHOLE, Shaper
from protocol.units import NS
from sim.axis import AxisSpec
from sim.head import HeadSpec, SimulatedHead
from sim.motors import Motion, move, stop
from sim.pulses import pulse_times
from sim.ringing import SwingMode
from sim.shaped import shaped

Array = NDArray[np.float64]
PER_DEGREE = 320.0
STEP_DEG = 1 / PER_DEGREE
ZVD = Shaper(((0, WHOLE // 4), (63, WHOLE // 2), (125, WHOLE // 4)))
RIGS = st.builds(
    HeadSpec,
    pan=st.just(AxisSpec(PER_DEGREE)),
    tilt=st.just(AxisSpec(PER_DEGREE)),
    ring_hz=st.floats(2.0, 25.0),
    ring_damping=st.floats(0.01, 0.5),
    pixel_deg=st.just(0.01),
    second_ring_hz=st.none() | st.floats(2.0, 40.0),
    second_ring_damping=st.none() | st.floats(0.01, 0.5),
    second_ring_gain=st.floats(0.0, 1.0),
)
WAYS = st.integers(-3000, 3000).filter(bool)


def drawn(ways: list[int], shaper: Shaper, waits_ms: int) -> list[Motion]:
    """Moves over these ways, one after the other."""
    motions: list[Motion] = []
    now_ns = here = 0
    for way in ways:
        motions.append(shaped(now_ns, here, here + way, 9600, 12_800, shaper))
        now_ns, here = motions[-1].end_ns + waits_ms * 1_000_000, here + way
    return motions


def by_lsim(mode: SwingMode, times_s: Array, jumps_s: Array, jumps: Array) -> Array:
    """Where a mass is after steps of its foot: x'' + 2 z w x' + w^2 x = 2 z w u' + w^2 u, by scipy's matrix exponential.

    `times_s` are in even steps, at the first of which all rests; a jump counts from the time step after it on.
    """
    omega = 2 * math.pi * mode.hz_over_pitch[0][1]
    system = ([2 * mode.damping * omega, omega**2], [1.0, 2 * mode.damping * omega, omega**2])
    foot = np.concatenate([[0.0], np.cumsum(jumps)])[np.searchsorted(jumps_s, times_s, side="right")]
    _, answer, _ = signal.lsim(system, foot, times_s, interp=False)
    return np.asarray(answer)


@settings(max_examples=15)
@given(RIGS, st.lists(WAYS, min_size=1, max_size=2), st.sampled_from([PLAIN, ZVD]), st.integers(0, 300))
def test_each_step_shakes_the_camera(spec: HeadSpec, ways: list[int], shaper: Shaper, waits_ms: int) -> None:
    """Against lsim, driven by the staircase (Thomson and Dahleh, chapter 4). Its steps come at the nearest 50 us."""
    head = SimulatedHead(spec, 0, 0)
    motions = drawn(ways, shaper, waits_ms)
    grid_s = 5e-5
    jumps_s, jumps = [], []
    for motion in motions:
        head.pan.begin(motion)
        jumps_s.append((np.round(pulse_times(motion) / NS / grid_s) - 0.25) * grid_s)
        jumps.append(np.full(len(jumps_s[-1]), math.copysign(STEP_DEG, motion.target - motion.legs[0].steps)))
    times_s = np.arange(0, motions[-1].end_ns / NS + 0.3, grid_s)
    modes = spec.modes(spec.pan)
    parts = [mode.gain * by_lsim(mode, times_s, np.concatenate(jumps_s), np.concatenate(jumps)) for mode in modes]
    wanted = np.sum(parts, axis=0)
    for at in range(round(motions[-1].end_ns / NS / grid_s) + 2, len(times_s), 211):
        assert head.angles_deg(round(times_s[at] * NS))[0] == pytest.approx(wanted[at], abs=0.03 * STEP_DEG)


def smooth_lag(spec: HeadSpec, changes: list[tuple[int, float]], now_ns: int) -> float:
    """How far the camera is behind a smooth ramp: -a / w^2 (1 - exp(-z w t) (cos(wd t) + z w / wd sin(wd t))) for each
    change of acceleration (Thomson and Dahleh, chapter 4).
    """
    total = 0.0
    for mode in spec.modes(spec.pan):
        omega, ratio = 2 * math.pi * mode.hz_over_pitch[0][1], mode.damping
        damped = omega * math.sqrt(1 - ratio**2)
        for at_ns, change in changes:
            t = (now_ns - at_ns) / NS
            swing = math.cos(damped * t) + ratio * omega / damped * math.sin(damped * t)
            total -= mode.gain * change / PER_DEGREE / omega**2 * (1 - math.exp(-ratio * omega * t) * swing)
    return total


@settings(max_examples=40)
@given(RIGS, WAYS, st.sampled_from([PLAIN, ZVD]), st.floats(0, 0.5))
def test_stairs_swing_as_their_ramp_does_to_a_step(spec: HeadSpec, way: int, shaper: Shaper, wait_s: float) -> None:
    head = SimulatedHead(spec, 0, 0)
    motion = shaped(0, 0, way, 9600, 12_800, shaper)
    head.pan.begin(motion)
    now_ns = motion.end_ns + round(wait_s * NS)
    lag = head.angles_deg(now_ns)[0] - way / PER_DEGREE
    assert lag == pytest.approx(smooth_lag(spec, motion.accelerations(), now_ns), abs=1.5 * STEP_DEG)


@given(st.integers(-2000, 2000), WAYS, st.floats(0.05, 0.95), st.none() | st.floats(2000, 200_000))
def test_there_are_as_many_pulses_as_steps(start: int, way: int, cut: float, jerk: float | None) -> None:
    """Each where the ramp is half-way between two steps; also in a motion that was cut short, and with limited jerk."""
    motion = move(0, start, start + way, 3000.0, 9000.0, jerk)
    short = stop(motion, round(motion.end_ns * cut), 9000.0)
    for one in (motion, short):
        times = pulse_times(one)
        begin = one.legs[0].steps if one.legs else one.target
        assert len(times) == abs(one.target - round(begin)) or abs(begin % 1 - 0.5) < 1e-6
        assert np.all(np.diff(times) >= 0)
        for at_ns in times[:: max(1, len(times) // 7)].tolist():
            off = one.steps_at(at_ns) % 1 - 0.5
            assert abs(off) < 1e-3


def test_the_last_step_is_half_a_step_before_rest() -> None:
    """As in the firmware: d = a t^2 / 2 with d half a step."""
    motion = move(0, 0, 1000, 5000.0, 8000.0)
    assert (motion.end_ns - pulse_times(motion)[-1]) / NS == pytest.approx(math.sqrt(2 * 0.5 / 8000), rel=1e-6)


@pytest.mark.parametrize("shaper", [PLAIN, ZVD])
@pytest.mark.parametrize("play_deg", [0.05, 0.4])
def test_behind_its_play_the_head_starts_late_and_at_once(play_deg: float, shaper: Shaper) -> None:
    """The foot of the spring is the head: lsim with the ramp cut off below the play."""
    spec = HeadSpec(AxisSpec(PER_DEGREE, play_deg=play_deg), AxisSpec(PER_DEGREE), 6.0, 0.05, 0.01)
    head = SimulatedHead(spec, 0, 0)
    there = shaped(0, 0, 640, 9600, 12_800, shaper)
    head.pan.begin(there)
    back = shaped(there.end_ns + 20 * NS, 640, 0, 9600, 12_800, shaper)
    head.pan.begin(back)
    steps = 320 * play_deg
    times_s = np.arange(0, (back.end_ns - back.begin_ns) / NS + 0.5, 1e-4)
    rotor = np.array([640 - back.steps_at(back.begin_ns + round(t * NS)) for t in times_s])
    foot = np.maximum(rotor - steps, 0.0) * STEP_DEG
    (mode,) = spec.modes(spec.pan)
    omega = 2 * math.pi * mode.hz_over_pitch[0][1]
    system = ([2 * mode.damping * omega, omega**2], [1.0, 2 * mode.damping * omega, omega**2])
    _, answer, _ = signal.lsim(system, foot, times_s)
    rest_deg = 2.0 - play_deg / 2
    ends = np.flatnonzero(times_s * NS > back.end_ns - back.begin_ns)[::97]
    swing = [head.angles_deg(back.begin_ns + round(times_s[at] * NS))[0] - rest_deg for at in ends]
    assert swing == pytest.approx([-answer[at] for at in ends], abs=1.5 * STEP_DEG)


@pytest.mark.parametrize("axis", ["pan", "tilt"])
def test_a_frequency_that_changes_with_the_pitch(axis: str) -> None:
    """Against the same equation with w(t), solved step by step, while tilt turns from -60 to 80 degrees."""
    pitches, hz = (-60.0, 0.0, 80.0), (5.0, 9.0, 6.0)
    table, fine = tuple(zip(pitches, hz, strict=True)), 3200.0  # so many steps that single ones hardly count
    own = AxisSpec(fine, ring_over_pitch=table)
    head = SimulatedHead(HeadSpec(own, own, 8.0, 0.03, 0.01), 0, round(-60 * fine))
    tilt = move(0, round(-60 * fine), round(80 * fine), 100 * fine, 100 * fine)
    pan = move(0, 0, round(70 * fine), 100 * fine, 100 * fine)
    head.tilt.begin(tilt)
    head.pan.begin(pan)
    end_ns = max(pan.end_ns, tilt.end_ns)
    driven = pan if axis == "pan" else tilt

    def slopes(t: float, state: Array) -> list[float]:
        omega = 2 * math.pi * float(np.interp(tilt.steps_at(round(t * NS)) / fine, pitches, hz))
        accel = sum(change for at_ns, change in driven.accelerations() if at_ns <= t * NS) / fine
        return [state[1], -accel - 2 * 0.03 * omega * state[1] - omega**2 * state[0]]

    times = np.linspace(end_ns / NS, end_ns / NS + 0.6, 60)
    solved = solve_ivp(slopes, (0, times[-1]), [0.0, 0.0], t_eval=times, max_step=2e-3, rtol=1e-6, atol=1e-9)
    index = 0 if axis == "pan" else 1
    rest = driven.target / fine
    got = [head.angles_deg(round(t * NS))[index] - rest for t in times]
    amplitude = np.abs(solved.y[0]).max()
    assert amplitude > 0.02
    assert got == pytest.approx(solved.y[0].tolist(), abs=0.02 * amplitude)


@settings(max_examples=30)
@given(RIGS, WAYS, st.floats(0, 0.3), st.floats(0.001, 3.0))
def test_the_motion_that_counts_is_that_from_end_to_end(
    spec: HeadSpec, way: int, wait_s: float, shutter_s: float
) -> None:
    """Against poses so close together that nothing lies between them."""
    head = SimulatedHead(spec, 0, 0)
    motion = shaped(0, 0, way, 9600, 12_800, PLAIN)
    head.pan.begin(motion)
    head.tilt.begin(shaped(0, 0, -way, 9600, 12_800, PLAIN))
    begin_ns = motion.end_ns + round(wait_s * NS)
    moments = [begin_ns + round(t * NS) for t in np.linspace(0, min(shutter_s, 1.0), 1500)]
    true_px = math.hypot(*np.ptp([head.angles_deg(moment) for moment in moments], axis=0)) / spec.pixel_deg
    got = head.motion_px(begin_ns, begin_ns + round(shutter_s * NS))
    assert true_px * (1 - 1e-3) - 1e-6 <= got <= true_px * 1.01 + 0.01


def test_a_slip_shakes_the_camera_and_an_exposure_sees_it() -> None:
    head = SimulatedHead(HeadSpec(AxisSpec(PER_DEGREE), AxisSpec(PER_DEGREE), 8.0, 0.05, 0.01), 0, 0)
    head.pan.lose(NS, 64)
    assert head.motion_px(NS // 2, 3 * NS // 4) == 0
    assert head.motion_px(NS // 2, 2 * NS) * 0.01 == pytest.approx(0.2 * (1 + math.exp(-0.05 * math.pi)), rel=0.01)
    assert head.pose_deg(NS - 1)[0] == 0
    assert head.pose_deg(60 * NS)[0] == pytest.approx(-0.2)


DEEDS = st.lists(
    st.tuples(
        st.sampled_from(["pan", "tilt"]),
        st.sampled_from(["move", "jolt", "stop", "lose", "stall", "kick"]),
        st.integers(-900, 900),
        st.integers(1, 800),
    ),
    min_size=1,
    max_size=8,
)


@settings(max_examples=30)
@given(DEEDS, st.floats(0, 0.3), st.sets(st.integers(0, 8)))
def test_it_does_not_matter_when_one_looks(deeds: list[tuple[str, str, int, int]], play: float, looks: set[int]) -> None:
    """Whatever happens to the axes, in whatever order: asked in between or only at the end, the truth is the same."""
    own = AxisSpec(PER_DEGREE, play_deg=play, ring_over_pitch=((-5.0, 6.0), (5.0, 9.0)))
    asked, unasked = (SimulatedHead(HeadSpec(own, own, 8.0, 0.03, 0.01), 0, 0) for _ in range(2))
    now_ns = 0
    for number, (name, deed, size, wait_ms) in enumerate(deeds):
        for head in (asked, unasked):
            axis = head.axis(name)
            here = round(axis.motion.steps_at(now_ns))
            if deed == "move":
                axis.begin(shaped(now_ns, here, size, 9600, 12_800, ZVD))
            elif deed == "stop":
                axis.begin(stop(axis.motion, now_ns, 12_800))
            elif deed == "jolt":
                axis.jolt(now_ns)
            elif deed == "stall":
                axis.stall(now_ns)
            elif deed == "lose":
                axis.lose(now_ns, size)
            else:
                axis.kick(now_ns + 30_000_000, size / 100)
        now_ns += wait_ms * 1_000_000
        if number in looks:
            asked.angles_deg(now_ns)
            asked.motion_px(max(0, now_ns - NS // 5), now_ns)
    for later_ns in range(0, 2 * NS, NS // 9):
        wanted = unasked.angles_deg(now_ns + later_ns)
        assert asked.angles_deg(now_ns + later_ns) == pytest.approx(wanted, abs=STEP_DEG / 2)
    begin_ns = max(0, now_ns - NS)
    seen, wanted_px = (head.motion_px(begin_ns, now_ns) for head in (asked, unasked))
    assert seen == pytest.approx(wanted_px, rel=0.01, abs=0.5 * STEP_DEG / 0.01)


def test_what_lies_far_back_is_forgotten_and_nothing_else() -> None:
    """A long run swings in the end like its last moves alone."""
    random, spec = Random(3), HeadSpec(AxisSpec(PER_DEGREE), AxisSpec(PER_DEGREE), 8.0, 0.05, 0.01)
    long, short = SimulatedHead(spec, 0, 0), SimulatedHead(spec, 0, 0)
    now_ns = 0
    motions: list[Motion] = []
    for _ in range(200):
        here = motions[-1].target if motions else 0
        motions.append(shaped(now_ns, here, random.randrange(-2000, 2000), 9600, 12_800, ZVD))
        long.pan.begin(motions[-1])
        long.angles_deg(now_ns)
        now_ns = motions[-1].end_ns + NS // 10
    for motion in motions[-40:]:
        short.pan.begin(motion)
    for later_ns in range(now_ns, now_ns + NS // 2, NS // 50):
        assert long.angles_deg(later_ns)[0] == pytest.approx(short.angles_deg(later_ns)[0], abs=1e-9)
