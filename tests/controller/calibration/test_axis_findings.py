"""Every result has an uncertainty: in every world, for every procedure, and for readings that do not differ at all."""

from __future__ import annotations

import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.calibration.axis_findings import backlash_found, level_found, verify_found
from controller.calibration.backlash import from_approaches
from controller.calibration.finding import Finding, Stated
from controller.calibration.interval_words import plus_minus
from controller.calibration.level import from_tilts
from controller.calibration.readings import ReadingsRefused
from controller.calibration.records import AxisName
from controller.calibration.verify import from_visits
from tests.controller.calibration.given import readings
from tests.controller.calibration.rigs import PROCEDURES, World

RESULT = re.compile(r"per degree of|^Play of|^Repeatability R|leans by|No lean shows|poses are met|^Pose accuracy")
INTERVAL = re.compile(r"± \d|\(\d[\d.]* to \d[\d.]*°\)")

worlds = st.builds(
    World,
    grid=st.sampled_from([0.0, 1.0, 10.0, 100.0]),
    stated=st.booleans(),
    sorted=st.booleans(),
    drift=st.sampled_from([0.0, 3.0]),
)


def assert_sure_of_itself(finding: Finding) -> None:
    told = [sentence for sentence in finding.sentences if RESULT.search(sentence)]
    assert told
    for sentence in told:
        assert INTERVAL.search(sentence), sentence
        assert finding.stated.value in sentence
    shown = finding.as_json()
    assert ("interval_95" in shown) == (finding.stated is Stated.ALL)
    intervals = shown["interval_95" if finding.stated is Stated.ALL else "interval_from_scatter"]
    for name, (low, high) in intervals.items():
        assert low < high, name
        assert low <= finding.values[name] <= high or name == "toward_deg"
    measured = {name for name in finding.values if name.endswith(("_deg", "per_degree"))}
    assert measured - set(intervals) <= {
        "play_deg",
        "zero_deg",
        "residual_sd_deg",
        "needed_deg",
        "once_per_turn_phase_deg",
    }


@settings(max_examples=15)
@given(st.integers(0, 2**32 - 1), st.sampled_from(sorted(PROCEDURES)), worlds)
def test_every_result_has_an_interval(seed: int, name: str, world: World) -> None:
    try:
        finding, _ = PROCEDURES[name](np.random.default_rng(seed), world)
    except ReadingsRefused:
        return
    assert_sure_of_itself(finding)


@pytest.mark.parametrize("reading", [0.0, 0.4, 12.3])
def test_readings_that_do_not_differ_are_no_surer_than_the_instrument(reading: float) -> None:
    yaws = [0, 180, 90, 270, 45, 0]
    level = from_tilts(given_ := readings(yaw_deg=yaws, reading_deg=[reading] * 6))
    assert_sure_of_itself(level_found(level, given_, (), 60.0))
    assert level.lean_interval_deg[1] >= level.resolution_deg / 2  # a lean of half a division does not show
    rows = [(target, side) for side in ("up", "down") for target in (10.0, 130.0, 250.0)] * 2
    targets, sides = zip(*rows, strict=True)
    given_ = readings(sides, target_deg=targets, measured_deg=np.array(targets) + reading % 1)
    play = from_approaches(given_)
    assert_sure_of_itself(backlash_found(play, given_, AxisName.PAN, None))
    assert play.reversal.high >= play.resolution_deg / 2
    poses = np.array([0.0, 90.0, 200.0, 0.0, 200.0, 90.0, 200.0, 90.0, 0.0, 0.0])
    zeros = np.zeros(10)
    given_ = readings(target_yaw_deg=poses, target_pitch_deg=zeros, yaw_deg=poses, pitch_deg=zeros)
    visited = from_visits(given_)
    assert_sure_of_itself(verify_found(visited, given_, 0.001, "the requested limit is"))
    assert not verify_found(visited, given_, 0.001, "the requested limit is").more["passed"]


@given(st.floats(-1e6, 1e6), st.floats(1e-15, 1e4), st.sampled_from([1.0, 3.0, np.inf]))
def test_a_value_is_always_told_with_its_half_width(value: float, u: float, freedom: float) -> None:
    told = re.fullmatch(r"(-?[\d.]+) ± ([\d.]+)", plus_minus(value, u, freedom))
    assert told is not None
    assert float(told[2]) > 0
    assert float(told[1]) == pytest.approx(value, abs=0.51 * 10 ** -len(told[2].partition(".")[2]))
