"""How the camera swings in the world of a scenario, against what the kit says and the scenario's shares."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.commands.stand_in import rig_spec
from sim.axis import AxisSpec
from sim.head import HeadSpec
from sim.rig import Rig
from sim.ringing import SwingMode
from sim.scenario import Scenario
from sim.world import KEYS, WorldValue, in_world
from tests.end_to_end.whole_runs import kit_of

TABLES = st.none() | st.lists(st.floats(3.0, 20.0), min_size=3, max_size=3).map(
    lambda hz: tuple(zip((-60.0, 10.0, 75.0), hz, strict=True))
)
AXES = st.builds(
    lambda hz, damping, table: AxisSpec(100.0, ring_hz=hz, ring_damping=damping, ring_over_pitch=table or ()),
    st.none() | st.floats(3.0, 20.0),
    st.none() | st.floats(0.01, 0.3),
    TABLES,
)


def hz_at(mode: SwingMode, pitch_deg: float) -> float:
    return float(abs(mode.poles(np.array([pitch_deg]))[0]) / (2 * np.pi))


@given(AXES, st.floats(0.5, 2.0), st.floats(0.5, 2.0), st.floats(0.3, 3.0), st.sampled_from([-90, -60, 0, 10, 75, 90]))
def test_shares_count_at_every_pitch(axis: AxisSpec, faster: float, upward: float, damped: float, pitch: float) -> None:
    spec = HeadSpec(axis, AxisSpec(100.0), 8.0, 0.05, 0.01, second_ring_hz=21.0)
    world = {"ring_hz_share": faster, "ring_hz_zenith_share": upward, "ring_damping_share": damped}
    _, true = in_world(world, rig_spec(kit_of(), 0).camera, spec)
    (first, second), (own, other) = (head.modes(head.pan) for head in (spec, true))
    assert hz_at(own, pitch) == pytest.approx(hz_at(first, pitch) * faster * (1 + (upward - 1) * abs(pitch) / 90))
    assert own.damping == pytest.approx(min(0.99, first.damping * damped))
    assert hz_at(other, pitch) == pytest.approx(21.0 * faster)
    assert other.damping == pytest.approx(min(0.99, second.damping * damped))
    assert (own.gain, other.gain) == (first.gain, second.gain)
    assert own.gain + other.gain == pytest.approx(1)


def test_a_second_swing_of_the_world_is_as_it_says() -> None:
    world: dict[str, WorldValue] = {"second_ring_hz": 17.0, "second_ring_damping": 0.02, "second_ring_gain": 0.4}
    world |= {"play_deg": 0.1, "ring_hz_share": 0.5}
    spec = replace(rig_spec(kit_of(), 0), scenario=Scenario("drawn", "", (), world=world))
    head = Rig(spec).head.spec
    first, second = head.modes(head.tilt)
    assert [hz_at(second, 0), second.damping, second.gain] == pytest.approx([17.0, 0.02, 0.4])
    assert [hz_at(first, 0), first.gain] == pytest.approx([4.0, 0.6])
    assert (head.pan.play_deg, head.tilt.play_deg) == (0.1, 0.1)
    assert set(world) <= set(KEYS)


def test_a_kit_s_figures_reach_its_rig() -> None:
    table = [[-90.0, 5.0], [90.0, 9.0]]
    kit = kit_of(
        head={
            "second_ring_hz": 20.0,
            "pan": {"ring_hz": 6.0, "ring_damping": 0.04},
            "tilt": {"ring_over_pitch": table, "backlash_deg": 0.2},
        }
    )
    head = rig_spec(kit, 0).head
    pan, second = head.modes(head.pan)
    tilt, _ = head.modes(head.tilt)
    assert [hz_at(pan, 40), pan.damping] == pytest.approx([6.0, 0.04])
    assert [hz_at(second, 40), second.damping] == pytest.approx([20.0, 0.04])
    assert [hz_at(tilt, 0), hz_at(tilt, 90), tilt.damping] == pytest.approx([7.0, 9.0, 0.05])
    assert (head.pan.play_deg, head.tilt.play_deg) == (0.0, 0.2)
