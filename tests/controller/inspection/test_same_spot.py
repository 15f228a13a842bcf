"""A photograph of today against an earlier set, both made up, with a known difference between them."""

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from controller.inspection.adjustment import Adjusted, adjust
from controller.inspection.lens_model import Array, project, see
from controller.inspection.links import Link
from controller.inspection.poses import HeadFrame, middle_of, pan_axis, predicted, turn_of, turned
from controller.inspection.same_spot import NotPlaced, SpotFound, place, zero_difference
from controller.inspection.shifted import Shifted, Unshifted, shift_of
from tests.controller.inspection.sets import ASSUMED, LENS, NOISE_PX, MadeUp, grid, make

AXIS = pan_axis(0, 0)
TODAY = HeadFrame(40.0, 5.0, 0.0, 0.02, 0.02, 0.02, 40.0, 5.0, 1, 1)
SIZE = 2 * np.array([2000.0, 1500.0])


@lru_cache(maxsize=4)
def earlier(seed: int) -> tuple[MadeUp, Adjusted]:
    made = make(np.random.default_rng(seed), grid(np.arange(0, 100, 22.0), np.array([-10.0, 15.0])), points=25)
    return made, adjust(made.frames, made.links, ASSUMED, AXIS)


def pointed(made: MadeUp, zero_deg: tuple[float, float, float], rng: np.random.Generator) -> Array:
    """Where today's camera really points: the same head, whose zero differs by turns about the world's axes."""
    expected, _ = predicted([TODAY], AXIS, made.head, middle_of(made.frames))
    own = turned(rng.normal(size=(1, 3)) * np.radians(0.02))[0]
    return np.asarray(turned(np.radians([zero_deg]))[0] @ expected[0] @ own)


def shared(
    made: MadeUp,
    rotation: Array,
    rng: np.random.Generator,
    way: tuple[float, float, float] = (0, 0, 0),
    near: float = 0.3,
    wild: float = 0.05,
    focal: float = 1.0,
) -> list[Link]:
    """Matches of today's photograph with all frames that share something. Near things are at 1 to 3, far ones nowhere."""
    links = []
    lens = replace(LENS, focal_px=LENS.focal_px * focal)
    for number, own in enumerate(made.rotations):
        pixels = rng.uniform(0, 1, (300, 2)) * SIZE
        world = see(LENS, pixels).rays @ own.T
        per_distance = np.where(rng.uniform(size=300) < near, 1 / rng.uniform(1, 3, 300), 0.0)
        hit = project(lens, (world - per_distance[:, None] * np.array(way)) @ rotation).pixels
        inside = ((hit > 0) & (hit < SIZE)).all(axis=1)
        pixels, hit = pixels[inside][:40], hit[inside][:40]
        strange = rng.uniform(size=len(hit)) < wild
        hit = np.where(strange[:, None], rng.uniform(0, 1, hit.shape) * SIZE, hit)
        noise = rng.normal(0, NOISE_PX, (2, *hit.shape))
        links.append(Link(number, 0, pixels + noise[0], hit + noise[1], NOISE_PX))
    return links


def test_the_zero_differs_by_what_it_was_turned() -> None:
    """Errors over uncertainties of yaw and both leans, over twelve sets and turns up to twenty degrees."""
    ratios = []
    for seed in range(12):
        rng = np.random.default_rng(seed)
        made, adjusted = earlier(seed % 4)
        truth = np.array([rng.uniform(-0.5, 0.5), rng.uniform(-20, 20), rng.uniform(-0.5, 0.5)])
        # The pan axis leans first, then the head turns about it.
        lean = np.array([truth[0], 0.0, truth[2]])
        expected, _ = predicted([TODAY], AXIS, made.head, middle_of(made.frames))
        own = turned(rng.normal(size=(1, 3)) * np.radians(0.02))[0]
        turn = turned(np.radians([lean]))[0] @ turned(np.radians([[0.0, truth[1], 0.0]]))[0]
        placed = place(adjusted, shared(made, turn @ expected[0] @ own, rng))
        assert isinstance(placed, SpotFound)
        found = zero_difference(made.frames, adjusted, TODAY, placed)
        up = -turned(np.radians([lean]))[0][:, 1]
        due = truth[1], np.degrees(np.arcsin(up[2])), np.degrees(np.arcsin(up[0]))
        each = (found.yaw, found.lean_to_0, found.lean_to_90)
        assert all(one.sd < 0.06 for one in each)
        ratios.append([(one.value - value) / one.sd for one, value in zip(each, due, strict=True)])
    assert 0.6 < np.sqrt(np.mean(np.square(ratios))) < 1.4
    assert np.abs(ratios).max() < 4


def test_the_rotation_is_as_uncertain_as_it_says() -> None:
    """Against the earlier frames as they really were: squares over the covariance, with three degrees of freedom.

    The world of the set is off the true one by a turn that all its frames share.
    """
    squares = []
    for seed in range(12):
        rng = np.random.default_rng(100 + seed)
        made, adjusted = earlier(seed % 4)
        rotation = pointed(made, (0.2, 3.0, -0.1), rng)
        placed = place(adjusted, shared(made, rotation, rng, focal=1.002))
        assert isinstance(placed, SpotFound)
        frames = turn_of(made.rotations.transpose(0, 2, 1) @ adjusted.rotations).ravel()
        off = turn_of((rotation.T @ placed.rotation)[None])[0] - placed.by_frames @ frames
        squares.append(off @ np.linalg.solve(placed.covariance, off))
        assert abs(placed.focal_px.value / LENS.focal_px - 1.002) < 5 * placed.focal_px.sd / LENS.focal_px + 5e-4
    assert 1.5 < np.mean(squares) < 5


@pytest.mark.parametrize("way", [(0.05, 0.0, 0.0), (0.0, -0.04, 0.01), (-0.02, 0.03, 0.06)])
def test_a_camera_that_was_elsewhere_is_said_to_be(way: tuple[float, float, float]) -> None:
    rng = np.random.default_rng(5)
    made, adjusted = earlier(1)
    placed = place(adjusted, shared(made, pointed(made, (0, 2, 0), rng), rng, way))
    assert isinstance(placed, SpotFound)
    assert isinstance(placed.shift, Shifted)
    size = float(np.linalg.norm(way))
    apart = np.degrees(np.arccos(np.clip(placed.shift.direction @ way / size, -1, 1)))
    assert apart < max(4 * placed.shift.direction_sd_deg, 1)
    assert placed.shift.direction_sd_deg < 5
    # The nearest things are at a distance of 1; the tenth of them that says so reaches a little farther.
    assert 0.75 * size < placed.shift.share.value < 1.05 * size
    assert placed.shift.way_mm(2000.0) == pytest.approx(2000 * np.array(way), abs=0.3 * 2000 * size)


def test_a_camera_that_is_where_it_was_has_no_way() -> None:
    rng = np.random.default_rng(6)
    made, adjusted = earlier(1)
    placed = place(adjusted, shared(made, pointed(made, (0, 2, 0), rng), rng))
    assert isinstance(placed, SpotFound)
    assert placed.shift is Unshifted.NOTHING_OFF


def test_a_way_needs_points_that_move_alike() -> None:
    """A quarter of the points, all wild, are no way of the camera."""
    rng = np.random.default_rng(7)
    made, adjusted = earlier(1)
    placed = place(adjusted, shared(made, pointed(made, (0, 2, 0), rng), rng, wild=0.3))
    assert isinstance(placed, SpotFound)
    assert placed.shift is Unshifted.UNLIKE


def test_another_place_is_refused() -> None:
    rng = np.random.default_rng(8)
    made, adjusted = earlier(1)
    links = shared(made, pointed(made, (0, 2, 0), rng), rng, wild=1.0)
    assert place(adjusted, links) is NotPlaced.DISAGREE
    assert place(
        adjusted, [replace(link, first_px=link.first_px[:1], second_px=link.second_px[:1]) for link in links]
    ) in (
        NotPlaced.FEW,
        NotPlaced.DISAGREE,
    )
    assert place(adjusted, []) is NotPlaced.FEW


def test_the_tail_of_the_matches_errors_is_no_way_of_the_camera() -> None:
    """Points a little beyond the gate, all alike by chance: what some matches of one moving thing may show."""
    rng = np.random.default_rng(9)
    by_way = np.zeros((16, 2, 3))
    by_way[:, 0, 0] = by_way[:, 1, 1] = -1000.0
    by_way[:, :, 2] = rng.uniform(-500, 500, (16, 2))  # by the places in the picture
    ways = np.concatenate([np.tile([1.0, 0.2], (10, 1)), rng.normal(size=(6, 2))])
    unit = ways / np.linalg.norm(ways, axis=1)[:, None]
    assert shift_of(by_way, -rng.uniform(4.0, 7.5, (16, 1)) * unit, 338) is Unshifted.NOTHING_OFF
    assert isinstance(shift_of(by_way, -rng.uniform(12.0, 20.0, (16, 1)) * unit, 338), Shifted)
