"""The kit as a value: what a photographer may omit, and what the kit computes."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.kit.load import load_kit
from controller.optics.projection import Projection
from tests.controller.kit.tables import kit_with

EVERY_KEY = """
[camera]
make = "Nikon Corporation"
model = "Nikon D750"
sensor_width_mm = 35.9
sensor_height_mm = 24.0
pixels_wide = 6016
pixels_high = 4016
mounted = "landscape"

[lens]
make = "Nikon"
model = "Nikon AI-S Nikkor 24mm f/2.8"
focal_length_mm = 24.0
projection = "rectilinear"

[exposure]
shutter_seconds = 0.5
bracket_ev = [-2, 0, 2.5]
focus_ms = 0
press_ms = 150
release_lag_ms = 45.5
ready_ms = 400
file_megabytes = 31.5
f_number = 8.0
bulb = true
longest_timed_s = 60
noise_reduction = true
noise_reduction_from_s = 0.6

[head]
ring_hz = 6.5
ring_damping = 0.04
ring_hz_within = 0.03
ring_damping_within = 0.2
second_ring_hz = 15.5
second_ring_damping = 0.07
settle_ms = 900

[head.pan]
full_steps_per_turn = 400
microsteps = 32
gear_ratio = 50.0
measured_steps_per_degree = 1776.5
max_speed_deg_s = 25.0
max_accel_deg_s2 = 20.0
min_deg = -10
max_deg = 380
zero_switch = false
ring_hz = 7.5
ring_damping = 0.06
ring_over_pitch = [[-30, 7], [60, 5.5]]

[head.tilt]
full_steps_per_turn = 200
microsteps = 8
gear_ratio = 72.5
max_speed_deg_s = 12.0
max_accel_deg_s2 = 9.0
min_deg = -91
max_deg = 92

[board]
baud = 57600
max_step_rate_hz = 9000
silence_ms = 3000
sync_contact = false
wind_sensor = true
shapes_ramps = false
"""

MINIMAL = """
[camera]
sensor_width_mm = 36
sensor_height_mm = 24
pixels_wide = 6000
pixels_high = 4000
[lens]
focal_length_mm = 24
"""


def test_a_kit_with_every_key_keeps_every_value(tmp_path: Path) -> None:
    path = tmp_path / "kit.toml"
    path.write_text(EVERY_KEY, encoding="utf-8")
    kit = load_kit(path)
    assert kit.camera.model_dump(exclude_defaults=True) == {
        "make": "Nikon Corporation",
        "model": "Nikon D750",
        "sensor_width_mm": 35.9,
        "sensor_height_mm": 24.0,
        "pixels_wide": 6016,
        "pixels_high": 4016,
        "mounted": "landscape",
    }
    assert (kit.lens.focal_length_mm, kit.lens.projection) == (24.0, Projection.RECTILINEAR)
    assert kit.exposure.model_dump() == {
        "shutter_seconds": 0.5,
        "bracket_ev": (-2.0, 0.0, 2.5),
        "focus_ms": 0,
        "press_ms": 150,
        "release_lag_ms": 45.5,
        "ready_ms": 400.0,
        "file_megabytes": 31.5,
        "f_number": 8.0,
        "bulb": True,
        "longest_timed_s": 60.0,
        "noise_reduction": True,
        "noise_reduction_from_s": 0.6,
    }
    assert (kit.head.ring_hz, kit.head.ring_damping, kit.head.settle_ms) == (6.5, 0.04, 900)
    assert kit.head.pan.model_dump(exclude={"backlash_deg", "eccentricity_deg"}) == {
        "full_steps_per_turn": 400,
        "microsteps": 32,
        "gear_ratio": 50.0,
        "measured_steps_per_degree": 1776.5,
        "max_speed_deg_s": 25.0,
        "max_accel_deg_s2": 20.0,
        "min_deg": -10.0,
        "max_deg": 380.0,
        "zero_switch": False,
        "ring_hz": 7.5,
        "ring_damping": 0.06,
        "ring_over_pitch": ((-30.0, 7.0), (60.0, 5.5)),
    }
    assert (kit.head.ring_hz_within, kit.head.ring_damping_within) == (0.03, 0.2)
    assert (kit.head.second_ring_hz, kit.head.second_ring_damping) == (15.5, 0.07)
    assert (kit.head.tilt.gear_ratio, kit.head.tilt.min_deg, kit.head.tilt.max_deg) == (72.5, -91, 92)
    assert kit.board.model_dump() == {
        "baud": 57600,
        "max_step_rate_hz": 9000,
        "silence_ms": 3000,
        "sync_contact": False,
        "wind_sensor": True,
        "shapes_ramps": False,
    }


def test_camera_and_lens_alone_are_a_kit(tmp_path: Path) -> None:
    path = tmp_path / "kit.toml"
    path.write_text(MINIMAL, encoding="utf-8")
    kit = load_kit(path)
    assert kit.camera.mounted == "portrait"
    assert kit.lens.projection is Projection.RECTILINEAR
    assert kit.exposure.bracket_ev == (0.0,)
    # a full sphere must be within the default limits, whichever way a row is turned
    assert kit.head.pan.min_deg <= -360 <= 360 <= kit.head.pan.max_deg
    assert kit.head.tilt.min_deg <= -90 <= 90 <= kit.head.tilt.max_deg


def test_a_part_of_a_table_keeps_the_other_defaults() -> None:
    whole, part = kit_with({}), kit_with({"head.tilt.gear_ratio": 60.0})
    assert part.head.tilt.gear_ratio == 60.0
    assert part.head.tilt.model_dump(exclude={"gear_ratio"}) == whole.head.tilt.model_dump(exclude={"gear_ratio"})
    assert part.head.pan == whole.head.pan


@pytest.mark.parametrize(("mounted", "size"), [("portrait", (24, 36)), ("landscape", (36, 24))])
def test_the_field_is_as_mounted(mounted: str, size: tuple[int, int]) -> None:
    field = kit_with({"camera.mounted": mounted}).field(0.3)
    assert (field.width_mm, field.height_mm) == size
    assert (field.pixels_across, field.pixels_up) == (size[0] * 6000 / 36, size[1] * 4000 / 24)


def test_a_square_sensor_is_allowed() -> None:
    assert kit_with({"camera.sensor_height_mm": 36.0, "camera.pixels_high": 6000}).camera.sensor_height_mm == 36.0


def test_one_turn_of_the_motor_is_its_steps() -> None:
    axis = kit_with({"head.pan.microsteps": 8, "head.pan.gear_ratio": 45.0}).head.pan
    assert axis.steps_per_degree * 360 == pytest.approx(200 * 8 * 45, rel=1e-15)


def test_bracket_of_five_by_two_ev() -> None:
    # Bracket of 5 frames x 2 EV round 1/60: 1/960 1/240 1/60 1/15 4/15 s, 0.35 s in all (arithmetic, from
    # APEX: Tv = -log2 t, ASA PH2.5-1960, from memory).
    kit = kit_with({"exposure.shutter_seconds": 1 / 60, "exposure.bracket_ev": [-4, -2, 0, 2, 4]})
    times = kit.shutter_times_s()
    assert times == pytest.approx([1 / 960, 1 / 240, 1 / 60, 1 / 15, 4 / 15], rel=1e-12)
    assert sum(times) == pytest.approx(341 / 960, rel=1e-12)
    assert sum(times) == pytest.approx(0.35, abs=0.006)


@given(st.floats(1e-4, 30), st.floats(-9, 9))
def test_one_ev_doubles_the_time(shutter_s: float, ev: float) -> None:
    kit = kit_with({"exposure.shutter_seconds": shutter_s, "exposure.bracket_ev": [ev + 1, ev], "exposure.bulb": True})
    longer, shorter = kit.shutter_times_s()
    assert longer == pytest.approx(2 * shorter, rel=1e-12)


def test_the_bracket_keeps_its_order() -> None:
    assert kit_with({"exposure.bracket_ev": [2, -2, 0]}).exposure.bracket_ev == (2.0, -2.0, 0.0)


def test_file_size_is_the_kits_word_or_follows_from_the_pixels() -> None:
    assert kit_with({"exposure.file_megabytes": 50}).file_megabytes() == 50
    assert kit_with({}).file_megabytes() == pytest.approx(24 * 1.5)  # 24 megapixels; common practice, no source


def test_measured_steps_count_before_the_gearing() -> None:
    pan = kit_with({"head.pan.measured_steps_per_degree": 321.5}).head.pan
    assert (pan.steps_per_degree, pan.nominal_steps_per_degree) == (321.5, 320.0)
    assert kit_with({}).head.pan.steps_per_degree == 320.0
