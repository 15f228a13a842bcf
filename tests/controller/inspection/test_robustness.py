"""The adjustment of sets in which something is wrong, or nearly nothing is right."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.inspection.adjustment import Adjusted, adjust
from controller.inspection.lens_model import project, see
from controller.inspection.links import Link
from controller.inspection.pose_checks import off_pose, poses_within
from controller.inspection.poses import commanded, pan_axis, turn_of, turned
from tests.controller.inspection.sets import ASSUMED, LENS, MadeUp, grid, make

AXIS = pan_axis(0, 0)
ROWS = (np.arange(0, 125, 25.0), np.array([-15.0, 10.0]))
ANGLES = ("yaw_deg", "pitch_deg", "roll_deg")


def wild(rng: np.random.Generator, link: Link, count: int | None = None) -> Link:
    """The same link with points of another place."""
    shape = (len(link.first_px) if count is None else count, 2)
    return replace(link, first_px=rng.uniform(0, 3000, shape), second_px=rng.uniform(0, 3000, shape))


def off_deg(made: MadeUp, adjusted: Adjusted) -> np.ndarray:
    """Each frame's turn from the truth in degrees, without what most frames have in common."""
    turns = np.degrees(turn_of(adjusted.rotations @ made.rotations.transpose(0, 2, 1)))
    return np.asarray(np.linalg.norm(turns - np.median(turns, axis=0), axis=1))


@settings(max_examples=12)
@given(
    st.integers(0, 10_000),
    st.integers(5, 7),
    st.integers(1, 2),
    st.floats(np.log(0.2), np.log(5)),
    st.sampled_from([-1, 1]),
    st.sampled_from(ANGLES),
)
def test_a_frame_that_was_moved_is_found_where_it_is(
    seed: int, columns: int, rows: int, size: float, sign: int, angle: str
) -> None:
    """From 0.2 to 5 degrees, in any place and about any axis, where two links or more hold it.

    The photographs are the same, of a head that claims to be elsewhere.
    """
    rng = np.random.default_rng(seed)
    made = make(rng, grid(np.arange(columns) * 22.0, np.array([-12.0, 12.0])[:rows]), points=15)
    frames, number = list(made.frames), int(rng.integers(len(made.frames)))
    turn = sign * float(np.exp(size))
    frames[number] = replace(frames[number], **{angle: getattr(frames[number], angle) + turn})
    sound, adjusted = (adjust(each, made.links, ASSUMED, AXIS) for each in (made.frames, frames))
    assert not adjusted.alone.any()
    # Without its pose a little less is known: by as much as the uncertainty allows.
    allowed = 0.03 + 4 * np.linalg.norm(poses_within(adjusted), axis=1)
    assert (off_deg(made, adjusted) < np.maximum(allowed, 1.5 * off_deg(made, sound))).all()
    off = off_pose(frames, adjusted)
    assert int(np.argmax(off.distance)) == number
    assert off.distance[number] > 5
    # The axes of yaw and roll have their whole length in the camera's axes.
    assert off.turn_deg[number] == pytest.approx(abs(turn), abs=0.15)


@pytest.mark.parametrize("count", [40, 12])
def test_a_picture_of_another_place_holds_nothing(count: int) -> None:
    """Its links do not count: it keeps its commanded pose, and the other frames come out as without it."""
    rng = np.random.default_rng(count)
    made = make(rng, grid(*ROWS), points=30)
    number = 3
    touched = [number in (link.first, link.second) for link in made.links]
    links = [wild(rng, link, count) if hit else link for link, hit in zip(made.links, touched, strict=True)]
    without = [link for link, hit in zip(made.links, touched, strict=True) if not hit]
    adjusted, reference = (adjust(made.frames, each, ASSUMED, AXIS) for each in (links, without))
    assert list(np.flatnonzero(adjusted.alone)) == [number]
    assert np.array_equal(adjusted.rotations[number], commanded(made.frames)[number])
    assert not any(good.any() for good, hit in zip(adjusted.good, touched, strict=True) if hit)
    others = np.arange(len(made.frames)) != number
    apart = turn_of(adjusted.rotations.transpose(0, 2, 1) @ reference.rotations)[others]
    assert np.degrees(np.abs(apart)).max() < 1e-3


def test_a_sharp_point_weighs_more_than_a_blurred_one() -> None:
    """Half of the points have ten times the noise, and say so: the poses are nearly those of the others alone."""
    rng = np.random.default_rng(3)
    made = make(rng, grid(*ROWS), points=40, wild=0.0)
    links, plain = [], []
    for link in made.links:
        blurred = rng.uniform(size=len(link.first_px)) < 0.5
        second = link.second_px + rng.normal(size=link.second_px.shape) * 4.0 * blurred[:, None]
        sigma = np.where(blurred, 3.0, 0.3)
        links.append(replace(link, second_px=second, sigma_px=sigma))
        plain.append(replace(link, second_px=second, sigma_px=1.5))
    told, untold = (
        float(np.sqrt(np.mean(off_deg(made, adjust(made.frames, each, ASSUMED, AXIS)) ** 2))) for each in (links, plain)
    )
    assert told < 0.6 * untold


@settings(max_examples=25, deadline=None)
@given(
    seed=st.integers(0, 10_000),
    columns=st.integers(1, 4),
    kinds=st.lists(st.sampled_from(["sound", "wild", "one", "none", "same", "nan", "exact"]), min_size=6, max_size=6),
    sd=st.sampled_from([0.02, 0.0, 5.0]),
    links=st.integers(0, 6),
)
def test_any_set_is_adjusted(seed: int, columns: int, kinds: list[str], sd: float, links: int) -> None:
    """Few links, wild ones, separate parts, points all in one place, without noise, not numbers: never an exception."""
    rng = np.random.default_rng(seed)
    made = make(rng, grid(np.arange(columns) * 25.0, np.array([0.0, 20.0]), sd_deg=0.02), points=12)
    frames = [replace(frame, yaw_sd_deg=sd, pitch_sd_deg=sd, roll_sd_deg=sd) for frame in made.frames]
    chosen = [changed(rng, link, kind) for link, kind in zip(made.links[:links], kinds, strict=False)]
    adjusted = adjust(frames, chosen, ASSUMED, AXIS)
    assert np.isfinite(adjusted.rotations).all()
    assert np.isfinite(adjusted.covariance).all()
    assert (adjusted.covariance.diagonal() >= 0).all()
    assert adjusted.lens.focal_px > 0
    off = off_pose(frames, adjusted)
    assert np.isfinite(off.distance).all()
    assert np.isfinite(off.turn_deg).all()


def changed(rng: np.random.Generator, link: Link, kind: str) -> Link:
    match kind:
        case "wild":
            return wild(rng, link)
        case "one":
            return replace(link, first_px=link.first_px[:1], second_px=link.second_px[:1])
        case "none":
            return replace(link, first_px=np.zeros((0, 2)), second_px=np.zeros((0, 2)))
        case "same":
            return replace(link, first_px=link.first_px * 0 + 900.0, second_px=link.second_px * 0 + 950.0)
        case "nan":
            return replace(link, first_px=link.first_px * np.nan)
        case "exact":
            return replace(link, second_px=link.first_px.copy(), sigma_px=0.0)
        case _:
            return link


def test_separate_parts_are_each_where_the_head_puts_them() -> None:
    made = make(np.random.default_rng(6), grid(np.array([0.0, 22.0, 44.0, 130.0, 152.0, 174.0]), np.array([-10.0, 12.0])))
    adjusted = adjust(made.frames, made.links, ASSUMED, AXIS)
    assert not adjusted.alone.any()
    assert off_deg(made, adjusted).max() < 0.08


@settings(max_examples=6)
@given(st.integers(0, 10_000), st.floats(np.log(0.3), np.log(5)), st.sampled_from([90.0, -90.0]))
def test_a_pole_s_frame_that_was_turned_does_not_turn_the_others(seed: int, size: float, pole_deg: float) -> None:
    """About any axis. At a pole the head's pose leaves one direction next to no uncertainty.

    Two rows, or the tilt's scale could explain a pole frame that is turned up or down.
    """
    rng = np.random.default_rng(seed)
    frames = grid(np.arange(0, 360, 60.0), np.sign(pole_deg) * np.array([50.0, 15.0]))
    pole = replace(frames[0], yaw_deg=0.0, pitch_deg=pole_deg, pan_deg=0.0, tilt_deg=pole_deg)
    made = make(rng, [pole, *frames], points=15)
    axis = rng.normal(size=3)
    turn = turned((axis / np.linalg.norm(axis) * np.radians(np.exp(size)))[None])[0]
    # The photographs are those of a camera that was turned in its own frame: its points carried by the turn.
    links = [_carried(link, turn) if link.first == 0 else link for link in made.links]
    off = off_pose(made.frames, adjust(made.frames, links, ASSUMED, AXIS))
    assert off.turn_deg[1:].max() < 0.15
    assert off.turn_deg[0] == pytest.approx(np.exp(size), rel=0.1, abs=0.15)


def _carried(link: Link, turn: np.ndarray) -> Link:
    """The link if its first camera was turned."""
    rays = see(LENS, link.first_px).rays
    return replace(link, first_px=project(LENS, rays @ turn).pixels)
