"""The exposure of a bracket that shows most."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.inspection.exposures import histogram, lost_shares, shows_most
from sim.scene.sensor import SensorSpec, develop

PICTURES = st.lists(st.lists(st.integers(0, 255), min_size=1, max_size=30), min_size=1, max_size=6)


def bracket(light: float, spread: float) -> list[int]:
    """The best of five exposures, two steps apart, of light spread evenly in its logarithm."""
    steps = np.exp2(np.linspace(-spread, spread, 4000)).astype(np.float32) * np.float32(light)
    taken = [develop(steps, 2.0**ev, SensorSpec(), (1,)) for ev in (-4, -2, 0, 2, 4)]
    return [shows_most([histogram(picture) for picture in taken])]


@pytest.mark.parametrize(("light", "best"), [(4.0, 0), (1.0, 1), (0.25, 2), (0.06, 3), (0.015, 4)])
def test_a_dark_scene_needs_the_long_exposure_and_a_bright_one_the_short(light: float, best: int) -> None:
    assert bracket(light, 1.5) == [best]


@given(PICTURES)
def test_no_other_exposure_loses_less(pictures: list[list[int]]) -> None:
    counts = [histogram(np.array(picture, dtype=np.uint8)) for picture in pictures]
    lost = [sum(lost_shares(each)) for each in counts]
    assert lost[shows_most(counts)] <= min(lost) + 1e-3


@given(PICTURES)
def test_the_first_of_equals_and_the_same_in_any_order_of_pixels(pictures: list[list[int]]) -> None:
    counts = [histogram(np.array(picture, dtype=np.uint8)) for picture in pictures]
    again = [histogram(np.array(picture[::-1], dtype=np.uint8)) for picture in pictures]
    assert shows_most(counts + again) == shows_most(counts) < len(counts)


def test_nothing_shows_nothing() -> None:
    assert lost_shares(np.zeros(256, dtype=np.int64)) == (1.0, 1.0)
    with pytest.raises(ValueError, match="no exposures"):
        shows_most([])
