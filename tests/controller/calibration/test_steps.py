"""Steps per degree: found if they are known, refused if the readings cannot be trusted."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import linregress

from controller.calibration.finding import Stated
from controller.calibration.readings import Readings, ReadingsRefused
from controller.calibration.steps import from_angles, from_turns, unwrapped
from controller.errors import InputError
from controller.optics.outline import Array
from tests.controller.calibration.given import readings
from tests.controller.calibration.test_least_squares import B, X

SEEDS = st.integers(0, 2**32 - 1)
RATES = st.floats(20, 2000)


def turn(rate: float, count: int = 25, span: float = 360.0) -> Array:
    """Commanded steps, evenly over the span."""
    return np.round(np.linspace(0, span, count) * rate)


def angles(commanded: Array, read: Array, u: Array | None = None) -> Readings:
    if u is None:
        return readings(commanded_steps=commanded, angle_deg=read)
    return readings(commanded_steps=commanded, angle_deg=read, u_angle_deg=u)


def refused(given_: Readings, nominal: float | None = None, error: float | None = None) -> str:
    with pytest.raises(ReadingsRefused) as caught:
        from_angles(given_, nominal, error)
    text = str(caught.value)
    assert text.endswith((".", "?"))
    assert text.startswith("readings.csv")
    assert "\n" not in text
    return text


def test_gum_h3_as_steps_and_angles() -> None:
    """JCGM 100:2008, H.3: slope 0.00218, so 458 steps per degree; u is propagated to first order."""
    found = from_angles(angles(X, B), eccentricity_deg=0.0)
    assert 1 / found.steps_per_degree == pytest.approx(0.00218, abs=0.5e-5)
    assert found.u_steps_per_degree / found.steps_per_degree**2 == pytest.approx(0.00067, abs=0.5e-5)
    assert found.offset_deg == pytest.approx(-0.1712, abs=0.5e-4)
    assert found.u_offset_deg == pytest.approx(0.0029, abs=0.5e-4)
    assert found.correlation == pytest.approx(-0.930, abs=0.5e-3)
    assert found.residual_sd_deg == pytest.approx(0.0035, abs=0.5e-4)
    assert found.kept.all()
    assert found.stated is Stated.SCATTER  # the thermometer was read while it grew warmer: a drift would look the same


@given(SEEDS, RATES)
def test_a_part_of_a_turn_is_plain_least_squares(seed: int, rate: float) -> None:
    rng = np.random.default_rng(seed)
    steps = turn(rate, 12, 100.0)
    read = 5 + steps / rate + rng.uniform(-0.08, 0.08, 12)
    found, theirs = from_angles(angles(steps, read), eccentricity_deg=0.0), linregress(steps, read)
    assert found.wave is None
    assert found.steps_per_degree == pytest.approx(1 / theirs.slope, rel=1e-9)
    assert found.u_steps_per_degree == pytest.approx(theirs.stderr / theirs.slope**2, rel=1e-6)
    assert found.u_offset_deg == pytest.approx(theirs.intercept_stderr, rel=1e-6)


@given(RATES, st.floats(-10, 10), st.permutations(range(25)))
def test_readings_without_error_are_met_exactly_in_any_order(rate: float, offset: float, order: list[int]) -> None:
    steps = turn(rate)[order]
    found = from_angles(angles(steps, offset + steps / rate))
    assert found.steps_per_degree == pytest.approx(rate, rel=1e-9)
    assert found.offset_deg == pytest.approx(offset, abs=1e-8)
    assert found.residual_sd_deg < 1e-9
    assert found.kept.all()


@given(SEEDS, RATES, st.floats(0.1, 1.0), st.floats(-180, 180))
def test_a_once_per_turn_error_is_taken_out(seed: int, rate: float, amplitude: float, phase: float) -> None:
    rng = np.random.default_rng(seed)
    steps = turn(rate)
    wave = amplitude * np.cos(np.radians(steps / rate - phase))
    found = from_angles(angles(steps, steps / rate + wave + 0.005 * np.clip(rng.normal(size=25), -2, 2)))
    assert found.wave is not None
    assert found.wave.removed
    assert found.wave.amplitude_deg == pytest.approx(amplitude, abs=0.01)
    assert math.cos(math.radians(found.wave.phase_deg - phase)) > math.cos(math.radians(8))
    assert found.steps_per_degree == pytest.approx(rate, rel=2e-4)


def test_an_outlier_does_not_spoil_it_and_is_named() -> None:
    steps = turn(320.0)
    read = steps / 320 + 0.01 * np.sin(5.1 * np.arange(25) ** 2)
    read[11] += 2.0
    found = from_angles(angles(steps, read))
    assert np.flatnonzero(~found.kept).tolist() == [11]
    assert found.residuals_deg[11] == pytest.approx(2.0, abs=0.05)
    assert found.steps_per_degree == pytest.approx(320, rel=1e-4)


@given(RATES, st.floats(1, 359), st.floats(30, 1000), st.permutations(range(25)))
def test_a_dial_that_begins_again_at_360_is_unwound(rate: float, offset: float, span: float, order: list[int]) -> None:
    steps = turn(rate, 25, span)[order]
    found = from_angles(angles(steps, (offset + steps / rate) % 360))
    assert found.steps_per_degree == pytest.approx(rate, rel=1e-6)


def test_readings_that_rise_by_more_than_half_a_turn_stay_as_they_are() -> None:
    steps = np.array([0.0, 200.0, 400.0, 650.0])
    assert unwrapped(steps, steps).tolist() == steps.tolist()


@given(SEEDS)
def test_stated_errors_weigh(seed: int) -> None:
    rng = np.random.default_rng(seed)
    steps, u = turn(100.0, 20, 200.0), rng.uniform(0.01, 0.1, 20)
    read = steps / 100 + u * np.clip(rng.normal(size=20), -1.5, 1.5)
    found = from_angles(angles(steps, read, u), eccentricity_deg=0.0)
    fitted = np.polyfit(steps, read, 1, w=1 / u, cov="unscaled")  # numpy as an independent check
    assert found.steps_per_degree == pytest.approx(1 / fitted[0][0], rel=1e-7)
    assert found.u_steps_per_degree == pytest.approx(math.sqrt(fitted[1][0, 0]) * found.steps_per_degree**2, rel=1e-6)
    assert math.isinf(found.freedom)


class TestRefused:
    steps = turn(320.0)

    def test_too_few(self) -> None:
        assert "too few" in refused(angles(self.steps[:3], self.steps[:3] / 320))
        assert "too few" in refused(angles(np.array([0, 0, 0, 0, 32000.0]), np.array([0, 0, 0, 0, 100.0])))

    @pytest.mark.parametrize(
        ("unit", "factor"), [("radians", math.pi / 180), ("arc minutes", 60), ("arc seconds", 3600), ("turns", 1 / 360)]
    )
    def test_another_unit_by_the_gearing(self, unit: str, factor: float) -> None:
        assert unit in refused(angles(self.steps, self.steps / 320 * factor), nominal=320.0)

    @pytest.mark.parametrize(("unit", "factor"), [("radians", math.pi / 180), ("arc minutes", 60)])
    def test_another_unit_without_a_kit(self, unit: str, factor: float) -> None:
        assert unit in refused(angles(self.steps, self.steps / 320 * factor))

    @pytest.mark.parametrize("nominal", [250.0, 405.0])
    def test_far_off_the_gearing(self, nominal: float) -> None:
        assert "off the kit's gearing" in refused(angles(self.steps, self.steps / 320), nominal)

    def test_near_the_gearing_is_believed(self) -> None:
        assert from_angles(angles(self.steps, self.steps / 320), 280.0).steps_per_degree == pytest.approx(320)

    @pytest.mark.parametrize("seed", range(20))
    def test_shuffled(self, seed: int) -> None:
        read = np.random.default_rng(seed).permutation(self.steps / 320)
        refused(angles(self.steps, read), 320.0)
        refused(angles(self.steps, read))

    def test_no_motion(self) -> None:
        assert "do not follow" in refused(angles(self.steps, np.full(25, 7.0)))

    def test_the_wrong_way_round(self) -> None:
        assert "fall while" in refused(angles(self.steps, -self.steps / 320))

    def test_scatter_beyond_the_stated_error(self) -> None:
        read = self.steps / 320 + 0.3 * np.random.default_rng(1).normal(size=25)
        assert "stated reading error" in refused(angles(self.steps, read), 320.0, error=0.06)
        assert from_angles(angles(self.steps, read), 320.0, 0.3).u_steps_per_degree > 0


def test_whole_turns() -> None:
    found = from_turns(readings(turns=[1, 2, 1, 3], steps=[115202, 230398, 115199, 345603]), 320.0)
    assert found.steps_per_degree == pytest.approx(320, abs=0.01)
    assert 0 < found.u_steps_per_degree < 0.01


def test_equal_turns_are_no_surer_than_a_step() -> None:
    """The rounding of both ends, 1/6 in variance, is the same each time (GUM, JCGM 100:2008, 4.3.7 and F.2.2.1)."""
    found = from_turns(readings(turns=[1, 1, 1, 1], steps=[3600] * 4))
    assert found.u_steps_per_degree == pytest.approx(math.sqrt(1 / 6) / 360)


def test_one_turn_needs_a_stated_error() -> None:
    one = readings(turns=[2], steps=[230400])
    with pytest.raises(ReadingsRefused, match="too few"):
        from_turns(one)
    found = from_turns(one, 320.0, 0.01)
    assert found.steps_per_degree == 320
    # Two aims of 0.01 degrees over 720 degrees, plus the rounding.
    assert found.u_steps_per_degree / 320 == pytest.approx(math.sqrt(2) * 0.01 / 720, rel=0.01)


@pytest.mark.parametrize("turns", [0, -1, 1.5])
def test_turns_must_be_whole(turns: float) -> None:
    with pytest.raises(InputError, match=r"readings\.csv line 3: turns"):
        from_turns(readings(turns=[1, turns, 1], steps=[100, 100, 100]))


def test_turns_refused() -> None:
    with pytest.raises(ReadingsRefused, match="gearing"):
        from_turns(readings(turns=[1, 1, 1], steps=[115200] * 3), 200.0)
    with pytest.raises(ReadingsRefused, match="slip"):
        from_turns(readings(turns=[1, 1, 1], steps=[115200, 115900, 114800]), 320.0, 0.01)
    with pytest.raises(ReadingsRefused, match="positive"):
        from_turns(readings(turns=[1, 1, 1], steps=[-5, -5, -5]))
