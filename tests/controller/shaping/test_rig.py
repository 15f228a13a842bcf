"""What a kit says of how its head swings."""

from dataclasses import astuple

import numpy as np
import pytest

from controller.kit.kit import Axis, Head
from controller.shaping.rig import band_of_head, modes_of
from controller.shaping.ringing import Mode
from tests.end_to_end.whole_runs import kit_of


def head(**values: object) -> Head:
    return kit_of(head={"ring_hz": 8.0, "ring_damping": 0.05, **values}).head


def told(one: Head, axis: Axis) -> list[object]:
    return [astuple(mode) for mode in modes_of(one, axis)]


def test_a_head_that_was_never_measured_is_poorly_known() -> None:
    simple = head()
    assert told(simple, simple.pan) == told(simple, simple.tilt) == [(8.0, 0.05, pytest.approx(0.1), 0.5)]


def test_an_axis_has_figures_of_its_own() -> None:
    own = head(pan={"ring_hz": 5.0}, tilt={"ring_damping": 0.02}, ring_hz_within=0.03, ring_damping_within=0.2)
    assert told(own, own.pan) == [(5.0, 0.05, pytest.approx(0.03), 0.2)]
    assert told(own, own.tilt) == [(8.0, 0.02, pytest.approx(0.03), 0.2)]


def test_a_second_vibration_belongs_to_both_axes() -> None:
    second = head(second_ring_hz=19.0, second_ring_damping=0.02)
    assert modes_of(second, second.pan)[1] == modes_of(second, second.tilt)[1] == Mode(19.0, 0.02, 0.1, 0.5)
    like_the_first = head(second_ring_hz=19.0, tilt={"ring_damping": 0.07})
    assert modes_of(like_the_first, like_the_first.tilt)[1].damping == 0.07


@pytest.mark.parametrize(("pitch_deg", "hz"), [(-90.0, 6.0), (0.0, 6.0), (30.0, 7.0), (60.0, 8.0), (90.0, 8.0)])
def test_a_frequency_over_pitch_is_a_line_between_its_rows(pitch_deg: float, hz: float) -> None:
    table = head(tilt={"ring_over_pitch": [[0.0, 6.0], [60.0, 8.0]]})
    assert modes_of(table, table.tilt, pitch_deg)[0].hz == pytest.approx(hz)
    assert modes_of(table, table.pan, pitch_deg)[0].hz == 8.0
    band = band_of_head(table, np.array([pitch_deg, 0.0]))
    assert band.omega.shape[:2] == (2, 1)
    assert float(np.median(band.omega[1, 0, 0])) == pytest.approx(2 * np.pi * hz)


def test_at_any_pitch_the_band_is_as_wide_as_the_table() -> None:
    table = head(tilt={"ring_over_pitch": [[0.0, 6.0], [60.0, 8.0]]})
    mode = modes_of(table, table.tilt)[0]
    assert mode.hz == 7.0
    assert mode.hz * (1 + mode.hz_spread) == pytest.approx(8.0 * 1.1)
    assert mode.hz * (1 - mode.hz_spread) <= 6.0 * 0.9 + 1e-9
