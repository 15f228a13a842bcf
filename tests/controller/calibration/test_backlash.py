"""The figures of ISO 230-2 against a published data set, and against rigs of known backlash."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.calibration.backlash import Figures, figures, from_approaches, positions_of
from controller.calibration.readings import Readings, ReadingsRefused
from controller.errors import InputError
from controller.optics.outline import Array
from tests.controller.calibration.given import readings

# A linear axis in millimetres; the figures do not depend on the unit. Published: repository
# anderssandstrom/ecmc_target_muts_logger, muts/data/week42_22/xyz/target_x_report_8A.md, commit 61b551aa.
TARGETS = (-4.0, -2.0, 0.0, 2.0, 4.0)
UP = (
    (-3.99861, -3.98366, -3.98366, -3.95012, -3.95335),
    (-2.00655, -1.98836, -1.98109, -1.94190, -1.93341),
    (-0.02782, -0.00802, -0.01005, 0.01986, 0.03440),
    (1.97474, 1.99616, 2.00181, 2.03495, 2.04909),
    (4.00316, 4.00397, 4.00963, 4.03024, 4.05165),
)
DOWN = (
    (-4.10205, -4.01598, -3.99861, -3.99254, -3.96143),
    (-2.11969, -2.02392, -2.00251, -1.99968, -1.96170),
    (-0.13005, -0.02904, -0.01489, -0.01126, 0.01622),
    (1.94767, 1.97191, 1.98848, 2.00949, 2.02323),
    (3.94983, 3.98054, 3.98538, 4.01731, 4.03024),
)
SEEDS = st.integers(0, 2**32 - 1)


def published(order: list[int] | None = None) -> Readings:
    rows = [
        (t, word, x)
        for word, side in (("up", UP), ("down", DOWN))
        for t, xs in zip(TARGETS, side, strict=True)
        for x in xs
    ]
    rows = rows if order is None else [rows[number] for number in order]
    target, direction, measured = zip(*rows, strict=True)
    return readings(direction, target_deg=target, measured_deg=measured)


def rig(seed: int, play: float, scatter: float, targets: int = 5, times: int = 5) -> Readings:
    """An axis that lags by half its backlash on either side, with an error of its own over the turn."""
    rng = np.random.default_rng(seed)
    places = np.repeat(rng.uniform(0, 360, targets).round(2), 2 * times)
    up = np.tile(np.repeat([True, False], times), targets)
    noise = scatter * np.clip(rng.normal(size=len(places)), -2, 2)
    measured = places + np.where(up, -play / 2, play / 2) + 0.05 * np.sin(np.radians(places)) + noise
    return readings(["up" if each else "down" for each in up], target_deg=places, measured_deg=measured)


def test_published_data() -> None:
    """B, mean reversal, s, R_i, M and A are in the report; its E and R are treated below."""
    found = from_approaches(published()).figures
    assert found.reversal_deg == pytest.approx(0.051238, abs=5e-7)
    assert found.mean_reversal_deg == pytest.approx(0.0354444, abs=5e-8)
    assert found.mean_deviation_range_deg == pytest.approx(0.022260, abs=5e-7)
    assert found.accuracy_deg == pytest.approx(0.2433701, abs=5e-8)
    assert found.repeatability_up_deg == pytest.approx(4 * 0.0313212, abs=2e-7)
    assert found.repeatability_down_deg == pytest.approx(4 * 0.0592872, abs=2e-7)
    reversals = [position.reversal_deg for position in from_approaches(published()).positions]
    assert reversals == pytest.approx([0.040242, 0.051238, 0.035478, 0.023194, 0.027070], abs=5e-7)


def test_systematic_and_repeatability_take_both_directions() -> None:
    """E = .063542 and R = .2371489 by the standard's formulas; the report prints E = .02806, that of one direction."""
    found = from_approaches(published()).figures
    assert found.systematic_deg == pytest.approx(0.063542, abs=5e-7)
    assert found.systematic_deg != pytest.approx(0.02806, abs=1e-4)
    assert found.repeatability_deg == pytest.approx(0.2371489, abs=5e-8)


@given(st.permutations(range(50)))
def test_the_order_of_the_rows_does_not_matter_to_the_figures(order: list[int]) -> None:
    one, other = figures(positions_of(published())), figures(positions_of(published(order)))
    for name in Figures.__slots__:
        assert getattr(one, name) == pytest.approx(getattr(other, name), rel=1e-9)


def test_where_two_s_and_the_reversal_exceed_four_s() -> None:
    """R_i = max(2 s up + 2 s down + |B_i|, 4 s up, 4 s down); s of (-d, 0, d) is d."""
    scatter: Array = np.array([-0.01, 0.0, 0.01])
    rows = [
        (t, word, t + shift + x)
        for t in (0.0, 90.0, 200.0)
        for word, shift in (("up", 0), ("down", 0.1))
        for x in scatter
    ]
    target, direction, measured = zip(*rows, strict=True)
    found = from_approaches(readings(direction, target_deg=target, measured_deg=measured)).figures
    assert found.repeatability_deg == pytest.approx(0.02 + 0.02 + 0.1)
    assert found.accuracy_deg == pytest.approx(0.1 + 4 * 0.01)
    assert found.mean_reversal_deg == pytest.approx(-0.1)


@given(SEEDS, st.floats(0.05, 1.0))
def test_play_is_found(seed: int, play: float) -> None:
    found = from_approaches(rig(seed, play, 0.005))
    assert found.mean_reversal.value == pytest.approx(-play, abs=0.01)
    assert found.play_deg == found.figures.reversal_deg
    assert found.play_deg == pytest.approx(play, abs=0.02)


def test_no_play_is_called_none_in_most_cases() -> None:
    none = [from_approaches(rig(seed, 0.0, 0.005)).play_deg == 0 for seed in range(200)]
    assert sum(none) >= 0.93 * len(none)


def test_play_without_any_scatter() -> None:
    found = from_approaches(rig(3, 0.1, 0.0))
    assert found.play_deg == pytest.approx(0.1)
    assert from_approaches(rig(3, 0.0, 0.0)).play_deg == 0


def test_a_dial_that_begins_again_at_360() -> None:
    rows = [
        (t, word, (t + shift) % 360) for t in (0.0, 120.0, 240.0) for word, shift in (("up", -0.1), ("down", 0.1)) * 2
    ]
    target, direction, measured = zip(*rows, strict=True)
    found = from_approaches(readings(direction, target_deg=target, measured_deg=measured))
    assert found.figures.reversal_deg == pytest.approx(0.2)


class TestRefused:
    def refused(self, given_: Readings) -> str:
        with pytest.raises(ReadingsRefused) as caught:
            from_approaches(given_)
        text = str(caught.value)
        assert text.startswith("readings.csv")
        assert "\n" not in text
        return text

    def changed(self, factor: float = 1.0, keep: slice = slice(None)) -> Readings:
        whole = rig(1, 0.1, 0.01)
        direction = whole.words["direction"][keep]
        target, measured = whole.numbers["target_deg"][keep], whole.numbers["measured_deg"][keep] * factor
        return readings(direction, target_deg=target, measured_deg=measured)

    def test_too_few(self) -> None:
        assert "approached 1 times from above" in self.refused(self.changed(keep=slice(0, 6)))
        assert "2 positions are too few" in self.refused(self.changed(keep=slice(0, 20)))

    @pytest.mark.parametrize(
        ("unit", "factor"), [("radians", math.pi / 180), ("arc minutes", 60), ("arc seconds", 3600), ("turns", 1 / 360)]
    )
    def test_another_unit(self, unit: str, factor: float) -> None:
        assert unit in self.refused(self.changed(factor))

    @pytest.mark.parametrize("seed", range(10))
    def test_shuffled(self, seed: int) -> None:
        whole = rig(seed, 0.1, 0.01)
        mixed = np.random.default_rng(seed).permutation(whole.numbers["measured_deg"])
        target = whole.numbers["target_deg"]
        assert "do not follow" in self.refused(readings(whole.words["direction"], target_deg=target, measured_deg=mixed))

    def test_play_beyond_any_gear(self) -> None:
        assert "play of" in self.refused(rig(1, 8.0, 0.01))

    def test_a_direction_that_is_none(self) -> None:
        with pytest.raises(InputError, match=r"readings\.csv line 3: direction = left"):
            from_approaches(readings(["up", "left"], target_deg=[1, 2], measured_deg=[1, 2]))
