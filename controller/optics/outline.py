"""The outline of a picture or core on the sphere around the camera, as caps.

A cap is all directions within an angle of its pole; a half-space through the centre is a cap of 90 degrees. Each edge of
a picture leaves a union of caps, and the picture is the intersection of these unions. The depth of a direction inside a
cap changes exactly as fast as the direction moves. So the minimum over the edges of the maximum over an edge's caps is a
margin that is never too large.

On the sphere, an edge x = X of the picture is

- a great circle for a rectilinear lens: tan(a) z >= x;
- a circle for a stereographic lens, 2x <= X (1 + z), and for an orthographic one, x <= X (unit focal length);
- for equidistant and equisolid lenses a curve that bends toward the axis. The part beyond it, as far as the picture
  reaches, is convex. A disc no larger than half the sphere contains that part if it contains the curve and the
  picture's farthest points beyond it. Some discs that touch the curve are chosen, each as small as possible, and each
  leaves a cap. Together these caps leave all but a sliver (measured in the tests) of what the edge leaves, and never
  more.

Directions are (forward, right, up) in the camera's own axes.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from controller.optics.field import Field, Sides
from controller.optics.projection import LAWS, Projection

Array = NDArray[np.float64]

# An edge gets caps until at most a sliver is lost, or this many of them.
SLIVER_RAD, MOST_CAPS = float(np.radians(0.04)), 24
SAMPLES, CANDIDATES = 961, 60
NEAREST = 0.01  # radians: the curvature of an edge is measured over this distance
ALWAYS = np.inf  # the radius of a cap that contains everything


@dataclass(frozen=True, slots=True)
class Outline:
    """`poles` (edges, caps, 3) and `radii` (edges, caps) in radians; `reach_rad` is the angle to its farthest corner."""

    poles: Array
    radii: Array
    reach_rad: float


@lru_cache(maxsize=64)
def core_outline(field: Field) -> Outline:
    """The outline of the core of `field`."""
    return _outline(field, field.core)


@lru_cache(maxsize=64)
def whole_outline(field: Field) -> Outline:
    """The outline of the whole picture of `field`."""
    return _outline(field, field.whole)


def _outline(field: Field, sides: Sides) -> Outline:
    radius = LAWS[field.projection].radius
    corner = max(np.hypot(radius(x), radius(y)) for x in (sides.right, sides.left) for y in (sides.top, sides.bottom))
    limit = np.inf if field.circle_rad is None else field.circle_rad
    law = LAWS[field.projection]
    reach = limit if corner >= law.largest_radius else min(limit, law.angle(float(corner)))
    edges = [
        _edge(field.projection, side, (across[0], across[1]), reach)
        for side, across in (
            (sides.right, (sides.bottom, sides.top)),
            (sides.left, (sides.top, sides.bottom)),
            (sides.top, (sides.right, sides.left)),
            (sides.bottom, (sides.left, sides.right)),
        )
    ]
    # Each edge is computed as if it were the right one; quarter turns bring it into position.
    turned = [(_turn(poles, turns), radii) for (poles, radii), turns in zip(edges, (0, 2, 1, 3), strict=True)]
    if field.projection is not Projection.RECTILINEAR or limit < law.angle(float(corner)):
        turned.append((np.array([[1.0, 0.0, 0.0]]), np.array([reach])))
    most = max(len(radii) for _, radii in turned)
    poles = np.stack([np.concatenate([p, np.repeat(p[:1], most - len(p), axis=0)]) for p, _ in turned])
    radii = np.stack([np.concatenate([r, np.repeat(r[:1], most - len(r))]) for _, r in turned])
    return Outline(poles, radii, float(reach))


def _turn(poles: Array, quarters: int) -> Array:
    """Rotate about the forward axis by quarter turns that move right to up."""
    forward, right, up = poles.T
    for _ in range(quarters):
        right, up = -up, right
    return np.stack([forward, right, up], axis=-1)


def _edge(projection: Projection, side: float, across: tuple[float, float], reach: float) -> tuple[Array, Array]:
    """The caps that the edge at angle `side` to the right leaves: poles (caps, 3) and radii (caps,)."""
    if projection is Projection.RECTILINEAR:
        return np.array([[np.sin(side), -np.cos(side), 0.0]]), np.array([np.pi / 2])
    x = LAWS[projection].radius(side)
    if projection is Projection.STEREOGRAPHIC:
        size = np.hypot(2.0, x)
        return np.array([[x / size, -2.0 / size, 0.0]]), np.array([np.arccos(-x / size)])
    if projection is Projection.ORTHOGRAPHIC:
        return np.array([[0.0, -1.0, 0.0]]), np.array([np.pi / 2 + side])
    return _curved_edge(projection, x, across, reach)


def _curved_edge(projection: Projection, x: float, across: tuple[float, float], reach: float) -> tuple[Array, Array]:
    law = LAWS[projection]
    farthest = law.radius(reach)
    longest = np.sqrt(max(0.0, farthest**2 - x * x))  # the image circle or the corner ends it there
    if longest < 1e-6:  # the edge only touches the image circle, which already ends the picture
        return np.array([[1.0, 0.0, 0.0]]), np.array([ALWAYS])
    low, high = (min(law.radius(angle), longest) for angle in across)
    y = _evenly(projection, x, np.linspace(-low, high, SAMPLES))
    points = _directions(projection, np.full(SAMPLES, x), y)
    turn = np.linspace(-1, 1, SAMPLES) * np.arctan2(longest, x)
    beyond = np.concatenate([points, _directions(projection, farthest * np.cos(turn), farthest * np.sin(turn))])
    candidates = slice(None, None, (SAMPLES - 1) // CANDIDATES)
    touching, inward = points[candidates], _inward(projection, np.full(CANDIDATES + 1, x), y[candidates])
    # The disc that touches the edge at p, with unit normal n, has its centre at cos(r) p - sin(r) n. It contains q if
    # cot(r) (1 - p . q) <= -n . q, so the most demanding point sets its smallest size.
    short = 1 - touching @ beyond.T
    with np.errstate(divide="ignore", invalid="ignore"):
        bend = np.where(short > NEAREST**2 / 2, -(inward @ beyond.T) / short, np.inf).min(axis=1)
    disc = np.arctan2(1.0, bend)[:, None]
    poles, radii = np.sin(disc) * inward - np.cos(disc) * touching, np.pi - disc[:, 0]
    # Between two samples an edge may be farther in, by as much as a curvature of 1 makes of their distance. Shrink by
    # that.
    between = float(np.linalg.norm(np.diff(points, axis=0), axis=1).max()) ** 2 / 8
    left = radii - np.arccos(np.clip(beyond @ poles.T, -1, 1))
    radii -= np.maximum(left.max(axis=0), 0.0) + between
    few = _needed(left[:SAMPLES])
    return poles[few], radii[few]


def _needed(left: Array) -> list[int]:
    """Caps that leave all but a sliver. `left` (samples of the edge, caps): how far each cap leaves each sample inside.

    First one in the middle, then always one where the most is lost.
    """
    chosen = [left.shape[1] // 2]
    best = left[:, chosen[0]]
    while len(chosen) < MOST_CAPS and best.min() < -SLIVER_RAD:
        chosen.append(round(int(best.argmin()) * CANDIDATES / (SAMPLES - 1)))
        best = np.maximum(best, left[:, chosen[-1]])
    return chosen


def _evenly(projection: Projection, x: float, y: Array) -> Array:
    """As many positions on the edge at `x`, from the first to the last of `y`, nearly evenly spaced on the sphere."""
    steps = np.linalg.norm(np.diff(_directions(projection, np.full(len(y), x), y), axis=0), axis=1)
    length = np.concatenate([[0.0], np.cumsum(steps)])
    even: Array = np.interp(np.linspace(0, length[-1], len(y)), length, y)
    return even


def _inward(projection: Projection, x: Array, y: Array) -> Array:
    """Unit vectors (k, 3) from the edge at `x`, `y` toward the lens's axis, perpendicular to the edge."""
    step = 1e-5
    along = _directions(projection, x, y + step) - _directions(projection, x, y - step)
    here = _directions(projection, x, y)
    across = np.cross(along, here)
    across *= np.sign(across[:, :1])  # toward smaller x means toward smaller angles off axis
    unit: Array = across / np.linalg.norm(across, axis=1, keepdims=True)
    return unit


def _directions(projection: Projection, x: Array, y: Array) -> Array:
    """The directions that the lens shows at x, y (focal length 1), shape (k, 3)."""
    law = LAWS[projection]
    theta = np.array([law.angle(float(min(r, law.largest_radius))) for r in np.hypot(x, y)])
    turn = np.arctan2(y, x)
    return np.stack([np.cos(theta), np.sin(theta) * np.cos(turn), np.sin(theta) * np.sin(turn)], axis=-1)
