"""The exposure of a bracket that shows most."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.inspection.exposures import (
    ALIKE,
    WORSE,
    bracket_step_ev,
    choose_exposures,
    histogram,
    lost_shares,
    shows_most,
)
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


BRACKETS = st.lists(
    st.dictionaries(st.integers(0, 2), st.lists(st.integers(0, 255), min_size=1, max_size=20), max_size=3), max_size=6
)


@given(BRACKETS)
def test_each_frame_is_examined_in_an_exposure_that_it_has_and_loses_little_by_it(
    brackets: list[dict[int, list[int]]],
) -> None:
    """And frames of one exposure are all examined in the same one, unless they lose much in it."""
    frames = [{number: histogram(np.array(codes, dtype=np.uint8)) for number, codes in each.items()} for each in brackets]
    chosen = choose_exposures(frames)
    usual = {number for frame, number in zip(frames, chosen, strict=True) if len(frame) == 3}
    for frame, number in zip(frames, chosen, strict=True):
        assert (number is None) == (not frame)
        if number is not None:
            lost = {each: sum(lost_shares(counts)) for each, counts in frame.items()}
            assert lost[number] <= min(lost.values()) + WORSE + ALIKE
    alike = [frames[0]] * 4 if frames else []
    assert len(set(choose_exposures(alike))) <= 1
    assert usual <= {0, 1, 2}


def test_a_dark_frame_of_a_light_set_is_examined_in_its_own_exposure() -> None:
    light, dark, black = (histogram(np.full(100, codes, dtype=np.uint8)) for codes in (200, 90, 3))
    white = histogram(np.full(100, 255, dtype=np.uint8))
    day = {0: light, 1: white}
    night = {0: black, 1: dark}
    assert choose_exposures([day, day, day, night]) == [0, 0, 0, 1]
    assert choose_exposures([{}, day]) == [None, 0]


@given(st.floats(-2, 2), st.integers(0, 9))
def test_the_step_of_a_bracket_is_that_of_the_shutter(ev: float, seed: int) -> None:
    scene = np.random.default_rng(seed).uniform(0.1, 0.5, (40, 40)).astype(np.float32)
    pair = [develop(scene, 2.0**step, SensorSpec(), (seed,)) for step in (0.0, ev)]
    found = bracket_step_ev(pair[0], pair[1])
    assert found is None or found == pytest.approx(ev, abs=0.15)
    assert bracket_step_ev(pair[0], np.zeros_like(pair[0])) is None
