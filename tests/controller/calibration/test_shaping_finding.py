"""What is said, stored and drawn of a head's vibrations without and with a shaper."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pytest

from controller.calibration.finding import Finding
from controller.calibration.known_lens import LensGiven
from controller.calibration.settle_finding import Still
from controller.calibration.shaping_check import Place, place_of
from controller.calibration.shaping_finding import axis_finding, sight_of
from controller.optics.outline import Array
from controller.program.timing import SETTLED_PX, ring_down_s
from controller.shaping.ringing import Mode
from controller.shaping.shapers import extra_insensitive
from protocol.shaper import PLAIN
from tests.controller.calibration.lens_rigs import swing
from tests.controller.calibration.shaken import after_move, times_of
from tests.controller.kit.tables import kit_with

STATED = Mode(6.0, 0.04, 0.1, 0.5)
SHAPER = extra_insensitive(STATED)
STILL = Still(LensGiven(), shutter_s=0.05)
KIT = kit_with({})
TIME = times_of(6.0)
RNG = np.random.default_rng(8)


def place(hz: float = 6.0, damping: float = 0.04, pitch_deg: float = 0.0, extra: Array | None = None) -> Place:
    plain = after_move(PLAIN, hz, damping, pitch_deg=pitch_deg)
    shaped = after_move(SHAPER, hz, damping, seed=1, pitch_deg=pitch_deg, extra=extra)
    return place_of(plain, shaped, SHAPER, STATED)


def finding(places: Sequence[Place], degrees_per_unit: float | None = 1.0) -> Finding:
    return axis_finding(places, sight_of(KIT, degrees_per_unit, STILL), KIT)


@pytest.mark.parametrize(
    ("extra", "said"),
    [
        (swing(TIME, 14.0, 0.03, 0.02, 0.5), "A second vibration at 14.0 Hz remains: write second_ring_hz under [head]"),
        (swing(TIME, 6.0, 0.04, 0.03, 0.5), "The frequency is as the kit states it. Look for play in the gears"),
        (
            np.cumsum(RNG.normal(0, 0.003, len(TIME))) + swing(TIME, 6.0, 0.04, 0.05, 0.5),
            "times as much as those without",
        ),
    ],
    ids=["second", "play", "wind"],
)
def test_why_more_is_left_is_said(extra: Array, said: str) -> None:
    sentence = finding([place(extra=extra)]).sentences[3]
    assert sentence.startswith("Shaping leaves too much here: ")
    assert said in sentence


def test_pixels_and_waits_are_those_of_the_lens() -> None:
    """The swing over the angle of a pixel, and the wait of its decay until it counts as still."""
    one = place()
    (said,) = finding([one]).more["places"]
    pixel_deg = math.degrees(KIT.field(0.0).pixel_rad)
    assert said["without"]["swing"] == pytest.approx(one.left.amplitude / pixel_deg, rel=1e-6)
    moved_px = 2 * one.left.amplitude / pixel_deg * math.sin(math.pi * one.ringing.ring_hz * 0.05)
    wait_s = ring_down_s(moved_px, SETTLED_PX, one.ringing.ring_hz, one.ringing.ring_damping)
    assert said["without"]["still_after_s"] == pytest.approx(wait_s)
    unknown = finding([one], None)
    assert unknown.more["places"][0]["without"]["still_after_s"] is None
    assert "of the sensor's units to either side" in unknown.sentences[1]


def test_several_pitches_make_a_table_in_order() -> None:
    places = [place(5.8, 0.05, 60.0), place(6.0, 0.04, 0.0), place(6.2, 0.03, -30.0)]
    found = finding(places)
    assert [row.pitch_deg for row in found.over_pitch] == [-30.0, 0.0, 60.0]
    assert [row.ring_hz for row in found.over_pitch] == pytest.approx([6.2, 6.0, 5.8], rel=0.003)
    assert found.values["ring_hz"] == found.over_pitch[1].ring_hz
    low, high = (found.values["ring_damping"] * (1 + sign * found.values["ring_damping_within"]) for sign in (-1, 1))
    assert low < 0.03
    assert high > 0.05
    assert "6.20, 6.00, 5.80 Hz at pitches -30°, 0°, 60°" in found.sentences[-1].replace("6.19", "6.20")
    assert len(found.plots) == 3
    assert {len(plot.series) for plot in found.plots} == {3}
    assert finding(places[:1]).over_pitch == ()


def test_a_place_without_a_shaped_move_says_so() -> None:
    alone = place_of(after_move(PLAIN, 6.0, 0.04), None, None, STATED)
    found = finding([alone])
    assert "No move with the shaper was measured here." in found.sentences
    assert found.more["places"][0]["with"] is None
    assert len(found.plots[0].series) == 2
