"""Lines on the unrolled sphere: outlines of frames, and links between their middles."""

import numpy as np

from controller.inspection.lens_model import Array
from controller.inspection.overlap import FrameView
from controller.inspection.sphere_grid import SphereGrid

BORDER_POINTS = 16  # on each side of a picture
LINK_STEP_DEG = 4.0
AT_POLE = 1e-3  # from the axis, in radians: a direction has no yaw of its own
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
    """A line through directions as SVG path data. Where it leaves at one side of the grid and enters at the other, it is
    broken, and both parts are drawn past the edge.
    """
    if not len(directions):
        return ""
    places = _from_poles(grid.places(directions), directions)
    words, last = [f"M{_point(*places[0])}"], places[0]
    for place in places[1:]:
        if abs(place[0] - last[0]) > grid.turn_px / 2:
            turn = np.array([np.copysign(grid.turn_px, place[0] - last[0]), 0.0])
            words += [f"L{_point(*(place - turn))}", f"M{_point(*(last + turn))}"]
        words.append(f"L{_point(*place)}")
        last = place
    return "".join(words)


def _point(x: float, y: float) -> str:
    return f"{round(x, 1):g} {round(y, 1):g}"


def _from_poles(places: Array, directions: Array) -> Array:
    """The places, with lines that begin or end at a pole running straight up or down there."""
    at_pole = np.hypot(directions[:, 0], directions[:, 2]) < AT_POLE
    for here, neighbour in ((0, 1), (-1, -2)):
        if at_pole[here] and len(places) > 1 and not at_pole[neighbour]:
            places[here, 0] = places[neighbour, 0]
    return places
