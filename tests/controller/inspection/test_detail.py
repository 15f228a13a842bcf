"""Detail of pictures that are blurred by known amounts, and of pairs of frames."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import ndimage

from controller.inspection.detail import FINE_PX, NOISE_PX, Detail, detail_of, noise_of, sharper, turned_tensors
from controller.inspection.lens_model import BrownLens, project, see
from controller.inspection.poses import turned
from controller.optics.projection import Projection

SIDE = 400
SIZE = (SIDE, SIDE)
LENS = BrownLens(Projection.RECTILINEAR, 300.0, (SIDE - 1) / 2, (SIDE - 1) / 2)
LEVEL = np.eye(3)
Codes = NDArray[np.float64]


def texture(seed: int = 1) -> Codes:
    """Codes about 128, as rough at one scale as at another."""
    random = np.random.default_rng(seed)
    parts = [ndimage.gaussian_filter(random.normal(size=SIZE), size) * size for size in (1.0, 2.0, 4.0, 8.0)]
    whole = sum(parts, np.zeros(SIZE))
    return np.asarray(128 + 25 * whole / whole.std())


def picture(codes: Codes, noise: float = 1.5, seed: int = 2) -> Detail:
    noisy = codes + np.random.default_rng(seed).normal(0, noise, SIZE)
    return detail_of(np.clip(np.rint(noisy), 0, 255).astype(np.uint8))


def grid(margin: float = 20.0) -> NDArray[np.float64]:
    line = np.linspace(margin, SIDE - margin, 18)
    return np.stack(np.meshgrid(line, line), axis=-1).reshape(-1, 2)


def left_of(codes: Codes, sigma_px: float) -> float:
    """What a Gaussian blur must leave of the detail, by its spectrum and the filters' transfer functions."""
    down, across = np.meshgrid(*2 * [2 * np.pi * np.fft.fftfreq(SIDE)], indexing="ij")
    square = down**2 + across**2
    band = np.exp(-square * NOISE_PX**2 / 2) - np.exp(-square * FINE_PX**2 / 2)
    power = np.abs(np.fft.fft2(codes - codes.mean())) ** 2 * band**2 * (np.sin(down) ** 2 + np.sin(across) ** 2)
    return float(np.sum(power * np.exp(-square * sigma_px**2)) / np.sum(power))


@pytest.mark.parametrize("sigma_px", [0.0, 0.4, 0.75, 1.5])
def test_blur_takes_as_much_detail_as_its_transfer_function_says(sigma_px: float) -> None:
    """Alike in all directions."""
    soft = np.fft.ifft2(ndimage.fourier_gaussian(np.fft.fft2(texture()), sigma_px)).real
    sound, blurred = picture(texture()), picture(soft, seed=3)
    quiet = noise_of([picture(np.full(SIZE, 128.0))])
    found = sharper((blurred, sound), (grid(), grid()), LENS, (LEVEL, LEVEL), quiet)
    assert found is not None
    assert math.exp(found.overall) == pytest.approx(
        left_of(texture(), sigma_px), rel=0.1, abs=0.045
    )  # light bends codes, and FLOOR adds 0.02
    assert np.abs(found.along).max() < 0.02


@pytest.mark.parametrize("angle_deg", [0.0, 30.0, 90.0, 135.0])
def test_motion_takes_the_detail_along_it(angle_deg: float) -> None:
    way = np.radians(angle_deg)
    codes = texture()
    shifts = np.linspace(-3.0, 3.0, 13)
    moved = np.mean(
        [ndimage.shift(codes, (each * np.sin(way), each * np.cos(way)), mode="reflect") for each in shifts], 0
    )
    quiet = noise_of([picture(np.full(SIZE, 128.0))])
    found = sharper((picture(np.asarray(moved)), picture(codes)), (grid(), grid()), LENS, (LEVEL, LEVEL), quiet)
    assert found is not None
    assert np.linalg.norm(found.along) > 0.25 * -found.overall > 0.1
    most_deg = math.degrees(math.atan2(found.along[1], found.along[0])) / 2
    assert abs(math.remainder(most_deg - angle_deg - 90, 180)) < 10


@given(st.floats(-math.pi, math.pi), st.integers(0, 2**32 - 1))
def test_turned_tensors_are_those_of_the_turned_slopes(by_rad: float, seed: int) -> None:
    slopes = np.random.default_rng(seed).normal(size=(5, 2))
    cosine, sine = math.cos(by_rad), math.sin(by_rad)
    after = slopes @ np.array([[cosine, sine], [-sine, cosine]])

    def tensors(each: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.stack([each[:, 0] ** 2, each[:, 1] ** 2, each[:, 0] * each[:, 1]], axis=1)

    assert np.allclose(turned_tensors(tensors(slopes), np.full(5, by_rad)), tensors(after))


@given(st.floats(-0.3, 0.3), st.floats(-0.3, 0.3), st.floats(-3.0, 3.0))
def test_how_the_second_picture_is_turned_and_stretched_is_that_of_the_lens(up: float, right: float, roll: float) -> None:
    """Checked by the places of many small steps about the points."""
    between = turned(np.array([[up, right, 0.0]]))[0] @ turned(np.array([[0.0, 0.0, roll]]))[0]
    points = grid(150.0)
    blank = picture(np.full(SIZE, 128.0))
    there = project(LENS, see(LENS, points).rays @ between).pixels
    found = sharper((blank, blank), (points, there), LENS, (LEVEL, between), noise_of([]))
    assert found is not None
    angles = np.linspace(0, np.pi, 12, endpoint=False)
    steps = np.stack([np.cos(angles), np.sin(angles)], axis=1)
    longer = np.array([
        np.mean(np.linalg.norm(project(LENS, see(LENS, points + step).rays @ between).pixels - there, axis=1) ** 2)
        for step in steps
    ])  # fmt: skip
    along = np.array([np.mean(longer * np.cos(2 * angles)), np.mean(longer * np.sin(2 * angles))]) * 2
    assert np.allclose(found.stretch, along / longer.mean(), atol=0.03)
    assert found.larger == pytest.approx(math.log(longer.mean()) / 2, abs=0.03)
    assert abs(math.remainder(found.turn_rad + roll, 2 * math.pi)) < 0.1


@pytest.mark.parametrize("side", [6, 12])
def test_noise_alone_is_no_detail(side: int) -> None:
    """Whether a cell has few pixels or many."""
    across = 250 * side
    noisy = np.random.default_rng(4).normal(128, 5, (600, across)).round().clip(0, 255).astype(np.uint8)
    found = detail_of(noisy)
    places = np.random.default_rng(5).uniform((0, 0), (across - 1, 599), (4000, 2))
    left, whole = (found.at(places, each)[:, :2].sum(axis=1) for each in (noise_of([found]), noise_of([])))
    assert abs(np.mean(left)) < 0.05 * np.mean(whole)


def test_too_few_points_say_nothing() -> None:
    blank = picture(np.full(SIZE, 128.0))
    assert sharper((blank, blank), (grid()[:5], grid()[:5]), LENS, (LEVEL, LEVEL), noise_of([])) is None
