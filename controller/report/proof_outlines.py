"""Lines on the unrolled sphere: outlines of frames, and links between their middles."""

import numpy as np

from controller.inspection.lens_model import Array
from controller.inspection.overlap import FrameView
from controller.inspection.sphere_grid import SphereGrid

BORDER_POINTS = 16  # on each side of a picture
LINK_STEP_DEG = 4.0
INWARD = 40  # steps in which the edge of what the lens shows is looked for


def outline(view: FrameView) -> Array:
    """Directions (n, 3) along the edge of what a picture shows, beginning and ending at the same place."""
    middle = (np.array(view.size_px, dtype=np.float64) - 1) / 2
    steps = np.linspace(-1, 1, BORDER_POINTS, endpoint=False)
    one = np.ones_like(steps)
    sides = [(steps, -one), (one, steps), (-steps, one), (-one, -steps)]
    edge = np.concatenate([np.stack(side, axis=1) for side in sides]) * middle
    if view.circle_px is not None:
        edge *= np.minimum(1, (view.circle_px - 1) / np.hypot(*edge.T))[:, None]
    # Toward the middle, until the lens shows something: past the fold of its distortion it does not.
    for share in np.linspace(1, 0.3, INWARD):
        rays = view.directions(middle + edge * share)
        if np.isfinite(rays).all():
            return np.concatenate([rays, rays[:1]])
    return np.empty((0, 3))


def arc(begin: Array, end: Array) -> Array:
    """Unit vectors (n, 3) along the great circle between two of them."""
    angle = float(np.arccos(np.clip(begin @ end, -1, 1)))
    parts = np.linspace(0, 1, 2 + int(np.degrees(angle) / LINK_STEP_DEG))[:, None]
    if not 1e-6 < angle < np.pi - 1e-6:
        return np.stack([begin, end])
    return np.asarray((np.sin((1 - parts) * angle) * begin + np.sin(parts * angle) * end) / np.sin(angle))


def path(grid: SphereGrid, directions: Array) -> str:
    """A line through directions as SVG path data, broken where it leaves at one side of the grid and enters at the
    other.
    """
    if not len(directions):
        return ""
    places = np.round(grid.places(directions), 1)
    jump = np.abs(np.diff(places[:, 0], prepend=places[0, 0])) > grid.turn_px / 2
    words: list[str] = []
    for (x, y), new in zip(places, jump, strict=True):
        words.append(f"{'L' if words and not new else 'M'}{x:g} {y:g}")
    return "".join(words)
