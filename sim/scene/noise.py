"""Seeded random clouds on the sphere, without a seam and with the same texture at the poles and at the horizon.

Each octave is read from a cube of random numbers at the directions of an equirectangular grid that is just fine enough
for it. Coarse octaves are then enlarged (fractional Brownian motion by octaves: D. Ebert et al., *Texturing and
Modeling*, 3rd ed. 2003, chapter 2).
"""

import numpy as np
from scipy import ndimage

from sim.scene.lens import Floats

CUBE = 64  # numbers along each edge
POINTS_PER_CELL = 2.0  # of the grid, along the horizon, at least: finer detail would not show
COARSEST = 64, 96  # points across the coarsest grid
MOST_OCTAVES = 8  # on which strengths are based, so that a wider grid shows the same clouds with finer detail
MOST_TURNS = 1365  # of a skyline's finest wave


def clouds(seed: tuple[int, ...], width: int, gain: float, upright: float = 1.0) -> Floats:
    """Numbers of shape (width / 2, width) about zero, mostly between -1 and 1, smooth from point to point.

    Every octave is `gain` times as strong as the one before, which is twice as coarse. An `upright` above 1 makes detail
    that much finer from bottom to top than from side to side. `width` is a power of two times one of COARSEST. The same
    seed gives the same clouds at any width.
    """
    random = np.random.default_rng(seed)
    cube = ndimage.gaussian_filter(random.standard_normal((CUBE,) * 3, dtype=np.float32), 0.6, mode="wrap")
    cube /= cube.std()
    octaves = 0
    while width >> octaves > max(COARSEST):
        octaves += 1
    total, strength, cells = np.zeros((0, 0), dtype=np.float32), 1.0, min(COARSEST) / (2 * np.pi * POINTS_PER_CELL)
    for octave in range(octaves, -1, -1):
        across = width >> octave
        total = _doubled(total) if total.size else np.zeros((across // 2, across), dtype=np.float32)
        shift = random.uniform(0, CUBE, 3)
        _add_octave(total, cube, strength, cells, upright, shift)
        strength, cells = strength * gain, cells * 2
    return total / np.float32(2 * np.sqrt(sum(gain ** (2 * octave) for octave in range(MOST_OCTAVES))))


def _add_octave(
    total: Floats,
    cube: Floats,
    strength: float,
    cells: float,
    upright: float,
    shift: np.ndarray[tuple[int], np.dtype[np.float64]],
) -> None:
    """Add one octave with `cells` cells to a unit of length, a few rows at a time."""
    height, width = total.shape
    yaw = ((np.arange(width) + 0.5) / width - 0.5) * (2 * np.pi)
    pitch = (0.5 - (np.arange(height) + 0.5) / height) * np.pi
    for begin in range(0, height, 64):
        rows = slice(begin, begin + 64)
        level = np.cos(pitch[rows])[:, np.newaxis]
        places = np.stack(
            [
                (level * np.cos(yaw) * cells + shift[0]).astype(np.float32),
                (level * np.sin(yaw) * cells + shift[1]).astype(np.float32),
                np.broadcast_to(
                    (np.sin(pitch[rows])[:, np.newaxis] * cells * upright + shift[2]).astype(np.float32),
                    (len(level), width),
                ),
            ]
        )
        total[rows] += np.float32(strength) * ndimage.map_coordinates(cube, places, order=1, mode="grid-wrap")


def _doubled(grid: Floats) -> Floats:
    """Twice as fine in both directions, linear between the middles of the points; yaw wraps around."""
    return _doubled_down(_doubled_down(np.pad(grid.T, ((1, 1), (0, 0)), mode="wrap"))[2:-2].T)


def _doubled_down(grid: Floats) -> Floats:
    before = np.concatenate([grid[:1], grid[:-1]])
    after = np.concatenate([grid[1:], grid[-1:]])
    fine = np.empty((2 * grid.shape[0], grid.shape[1]), dtype=np.float32)
    fine[0::2] = np.float32(0.75) * grid + np.float32(0.25) * before
    fine[1::2] = np.float32(0.75) * grid + np.float32(0.25) * after
    return fine


def ridge(seed: tuple[int, ...], yaw_rad: Floats, roughness: float) -> Floats:
    """A skyline: one number, about -1 to 1, for each yaw; it closes after a whole turn. `roughness` is from 0 to 1."""
    random = np.random.default_rng(seed)
    line, power = np.zeros_like(yaw_rad), 0.0
    for count in np.unique(np.geomspace(2, MOST_TURNS, 56).astype(int)):
        strength, phase = count ** (roughness - 1.5), random.uniform(0, 2 * np.pi)
        power += strength**2 / 2
        if count <= len(yaw_rad) / 6:  # finer waves than the grid can show are left out
            line += np.float32(strength) * np.sin(count * yaw_rad + np.float32(phase))
    return line / np.float32(2 * np.sqrt(power))
