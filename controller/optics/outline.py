"""The outline of a picture or core on the sphere around the camera, as caps.

A cap is all directions within an angle of its pole; a half-space through the centre is a cap of 90 degrees. Each edge
of a picture leaves a union of caps, and the picture is what all its edges leave. The angle by which a direction lies
inside a cap changes exactly as fast as the direction moves, so the smallest over the edges of the largest over an
edge's caps is a margin that never promises too much.

An edge x = X of the picture is, seen on the sphere,

- a great circle for a rectilinear lens: tan(a) z >= x;
- a circle for a stereographic lens, 2x <= X (1 + z), and for an orthographic one, x <= X (unit focal length);
- for equidistant and equisolid lenses a curve that bends toward the axis. What lies beyond it is convex, so it is
  contained in every disc that touches the curve and bends no more than the curve does anywhere (Blaschke's rolling
  theorem); each such disc leaves a cap. Together they leave all but a sliver (measured in the tests) of what the
  edge leaves, and never more.

Directions are (forward, right, up) in the camera's own axes.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from controller.optics.field import Field, Sides
from controller.optics.projection import LAWS, Projection

Array = NDArray[np.float64]

CAPS_PER_CURVE = 16
SAMPLES = 481
ALWAYS = np.inf  # the radius of a cap that holds everything


@dataclass(frozen=True, slots=True)
class Outline:
    """`poles` (edges, caps, 3) and `radii` (edges, caps) in radians; `reach_rad` is the angle to its farthest corner."""

    poles: Array
    radii: Array
    reach_rad: float


def core_outline(field: Field) -> Outline:
    """The outline of the core of `field`."""
    return _outline(field, field.core)


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
    # Each edge is worked out as if it were the right one; a quarter turn brings it to its place.
    turned = [(_turn(poles, turns), radii) for (poles, radii), turns in zip(edges, (0, 2, 1, 3), strict=True)]
    if field.projection is not Projection.RECTILINEAR or limit < law.angle(float(corner)):
        turned.append((np.array([[1.0, 0.0, 0.0]]), np.array([reach])))
    most = max(len(radii) for _, radii in turned)
    poles = np.stack([np.concatenate([p, np.repeat(p[:1], most - len(p), axis=0)]) for p, _ in turned])
    radii = np.stack([np.concatenate([r, np.repeat(r[:1], most - len(r))]) for _, r in turned])
    return Outline(poles, radii, float(reach))


def _turn(poles: Array, quarters: int) -> Array:
    """Rotate about the forward axis by quarter turns that take right to up."""
    forward, right, up = poles.T
    for _ in range(quarters):
        right, up = -up, right
    return np.stack([forward, right, up], axis=-1)


def _edge(projection: Projection, side: float, across: tuple[float, float], reach: float) -> tuple[Array, Array]:
    """Caps left by the edge at angle `side` to the right: poles (caps, 3) and radii (caps,)."""
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
    longest = np.sqrt(max(0.0, law.radius(reach) ** 2 - x * x))  # beyond it the image circle or the corner ends
    if longest < 1e-6:  # the edge only touches the image circle, which ends the picture by itself
        return np.array([[1.0, 0.0, 0.0]]), np.array([ALWAYS])
    low, high = (min(law.radius(angle), longest) for angle in across)
    y = np.linspace(-low, high, SAMPLES)
    points = _directions(projection, np.full(SAMPLES, x), y)
    tangent = np.gradient(points, axis=0)
    tangent -= np.einsum("kc,kc->k", tangent, points)[:, None] * points
    speed = np.linalg.norm(tangent, axis=1)
    tangent /= speed[:, None]
    outward = np.cross(tangent, points)
    farther_in = _directions(projection, np.full(SAMPLES, x * (1 - 1e-6)), y)
    outward *= -np.sign(np.einsum("kc,kc->k", farther_in - points, outward))[:, None]
    bend = np.einsum("kc,kc->k", np.gradient(tangent, axis=0), outward) / speed
    flattest = float(bend[2:-2].min())
    disc = np.arctan2(1.0, flattest)  # a circle of angular radius r bends by cot(r)
    touching = np.linspace(0, len(points) - 1, CAPS_PER_CURVE).round().astype(int)
    poles = -(np.cos(disc) * points[touching] + np.sin(disc) * outward[touching])
    radii = np.full(CAPS_PER_CURVE, np.pi - disc)
    # Differences instead of derivatives leave a trace of error: draw in by whatever a cap claims beyond the curve.
    claimed = radii - np.arccos(np.clip(points @ poles.T, -1, 1))
    return poles, radii - np.maximum(claimed.max(axis=0), 0.0) - 1e-9


def _directions(projection: Projection, x: Array, y: Array) -> Array:
    """The directions that the lens shows at x, y (focal length 1), shape (k, 3)."""
    law = LAWS[projection]
    theta = np.array([law.angle(float(min(r, law.largest_radius))) for r in np.hypot(x, y)])
    turn = np.arctan2(y, x)
    return np.stack([np.cos(theta), np.sin(theta) * np.cos(turn), np.sin(theta) * np.sin(turn)], axis=-1)
