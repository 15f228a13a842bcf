"""The proof that a set of cores covers the sphere. It knows nothing of how the plan was made.

Why it is a proof. Shrink every core by an angle m: keep the directions whose margin in it is at least m. If every
point on the boundary of every shrunk core lies inside another shrunk core, the union of them has no boundary;
a closed set without a boundary on the sphere is nothing or everything, so the union is the whole sphere and every
direction has a margin of at least m. The boundary of a shrunk core consists of four arcs of small circles, and
each other core covers an interval of each arc, which has a closed form; so the question is whether intervals
cover a line, and no grid of samples is involved. The worst margin is the largest m for which this holds, found
by bisection; cores with a wrong pose, a missing frame or a hole anywhere leave an arc bare.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from controller.planning.cores import EDGES, Cores
from controller.planning.directions import Array, spiral, yaw_pitch_deg

Numbers = NDArray[np.intp]

# Another core must hold a boundary point by this much more than nothing, so that neither rounding (below 1e-9
# here) nor two edges lying exactly on each other can pass for a cover.
INSIDE_RAD = 1e-8
# Two frames that share exactly the overlap that was asked for cover with a margin of zero, which rounding may
# turn into this much less than zero; a thousandth of any pixel.
ROUNDING_DEG = 1e-6
RESOLUTION_RAD = np.radians(1e-5)


@dataclass(frozen=True, slots=True)
class Proof:
    """Whether the sphere is covered, and the worst place: its direction and its margin in degrees.

    A negative margin names a gap and how far its middle lies from the nearest core.
    """

    covered: bool
    worst_margin_deg: float
    worst_yaw_deg: float
    worst_pitch_deg: float


@dataclass(frozen=True, slots=True)
class _Bare:
    """One bare piece of an arc: a frame's number and a direction in the middle of the piece."""

    frame: int
    direction: Array


def prove_coverage(cores: Cores) -> Proof:
    """Prove or refute that `cores` cover the sphere."""
    neighbours = _neighbours(cores)
    every = np.arange(len(cores.forward))
    bare = _first_bare(cores, neighbours, every, -np.radians(ROUNDING_DEG))
    if bare is not None:
        return _name_gap(cores, bare)
    low, high = -float(np.radians(ROUNDING_DEG)), cores.radius_rad
    worst = cores.forward[0]
    suspects = every
    # Frames found bare at a larger margin are tried first: only when they pass must all the others be asked.
    while high - low > RESOLUTION_RAD:
        middle = (low + high) / 2
        bare = _first_bare(cores, neighbours, suspects, middle)
        if bare is None and len(suspects) < len(every):
            bare = _first_bare(cores, neighbours, every, middle)
        if bare is None:
            low = middle
        else:
            high, worst, suspects = middle, bare.direction, np.array([bare.frame])
    yaw_deg, pitch_deg = yaw_pitch_deg(worst)
    return Proof(True, float(np.degrees(low)), yaw_deg, pitch_deg)


def _neighbours(cores: Cores) -> tuple[Numbers, Numbers]:
    """Pairs of frames whose cores can touch, as two arrays of frame numbers, each pair in both orders."""
    reach = 2 * np.sin(min(2 * cores.radius_rad, np.pi) / 2) + 1e-9
    pairs = cKDTree(cores.forward).query_pairs(reach, output_type="ndarray")
    return np.concatenate([pairs[:, 0], pairs[:, 1]]), np.concatenate([pairs[:, 1], pairs[:, 0]])


def _first_bare(
    cores: Cores, neighbours: tuple[Numbers, Numbers], frames: Numbers, margin_rad: float
) -> _Bare | None:
    """A bare piece of the boundaries of `frames` shrunk by `margin_rad`, or None when all are covered."""
    arcs = _Arcs(cores, frames, margin_rad)
    if not arcs.present.any():
        return _Bare(int(frames[0]), cores.forward[frames[0]])  # shrunk to nothing: nothing covers
    wanted = np.isin(neighbours[0], frames)
    own, other = neighbours[0][wanted], neighbours[1][wanted]
    position = np.searchsorted(frames, own)
    start, end = arcs.covered_by(position, cores.normals[other], np.sin(margin_rad + INSIDE_RAD))
    arc = np.repeat(position * EDGES, EDGES).reshape(-1, EDGES) + np.arange(EDGES)
    piece = arcs.first_gap(arc.ravel(), start.ravel(), end.ravel())
    if piece is None:
        return None
    arc_number, parameter = piece
    return _Bare(int(frames[arc_number // EDGES]), arcs.direction(arc_number, parameter))


class _Arcs:
    """The four boundary arcs of each of the shrunk cores, each a piece of a small circle.

    A point of arc (frame, edge) is sin(m) n + cos(m) (cos(t) u + sin(t) v) for the edge's normal n and an
    orthonormal pair u, v; u points along the lens, so that t = 0 is the middle of the edge.
    """

    def __init__(self, cores: Cores, frames: Numbers, margin_rad: float) -> None:
        self.normals = cores.normals[frames]
        forward = cores.forward[frames][:, None, :]
        along = np.einsum("nec,ndc->ne", self.normals, forward)[..., None]
        u = forward - along * self.normals
        self.u = u / np.linalg.norm(u, axis=2, keepdims=True)
        self.v = np.cross(self.normals, self.u)
        self.sine, self.cosine = np.sin(margin_rad), np.cos(margin_rad)
        self.start, self.end = self._interval(self.normals, self.sine)
        self.present = self.start < self.end

    def _interval(self, constraints: Array, sine: float, position: Numbers | None = None) -> tuple[Array, Array]:
        """Where on each arc all `constraints` (k, c, 3) hold by at least `sine`: start and end, shape (k, 4).

        Without `position` the constraints are the core's own and each edge is left out for its own arc.
        """
        own = position is None
        at = slice(None) if position is None else position
        n, u, v = self.normals[at], self.u[at], self.v[at]
        constant = self.sine * np.einsum("kec,kjc->kej", n, constraints)
        cos_part = self.cosine * np.einsum("kec,kjc->kej", u, constraints)
        sin_part = self.cosine * np.einsum("kec,kjc->kej", v, constraints)
        size = np.hypot(cos_part, sin_part)
        ratio = (sine - constant) / np.maximum(size, 1e-300)
        half = np.arccos(np.clip(ratio, -1, 1))
        half[ratio > 1] = -np.inf
        half[ratio < -1] = np.inf
        if own:
            half[:, range(EDGES), range(EDGES)] = np.inf
        centre = np.arctan2(sin_part, cos_part)
        start: Array = (centre - half).max(axis=2)
        end: Array = (centre + half).min(axis=2)
        return start, end

    def covered_by(self, position: Numbers, constraints: Array, sine: float) -> tuple[Array, Array]:
        """Which interval of the arcs of core `position[k]` the core `constraints[k]` covers, (k, 4) each.

        An interval that would wrap round the far side of its circle is cut there, which can only understate
        what is covered.
        """
        return self._interval(constraints, sine, position)

    def first_gap(self, arc: Numbers, start: Array, end: Array) -> tuple[int, float] | None:
        """The first arc with a bare piece and the parameter of the piece's middle; None if there is none."""
        low, high = self.start.ravel(), self.end.ravel()
        start, end = np.maximum(start, low[arc]), np.minimum(end, high[arc])
        use = start < end
        ends = np.flatnonzero(self.present.ravel())
        # An interval without length at either end of each arc turns "covers the arc" into "leaves no gap".
        arc = np.concatenate([ends, ends, arc[use]])
        start = np.concatenate([low[ends], high[ends], start[use]])
        end = np.concatenate([low[ends], high[ends], end[use]])
        order = np.lexsort((start, arc))
        arc = arc[order]
        apart = 7.0 * arc  # keeps one arc's intervals, at most 2 pi long, from reaching into the next arc's
        start, reached = start[order] + apart, np.maximum.accumulate(end[order] + apart)
        gap = (arc[1:] == arc[:-1]) & (start[1:] > reached[:-1])
        if not gap.any():
            return None
        k = int(np.argmax(gap))
        return int(arc[k]), float((reached[k] + start[k + 1]) / 2 - apart[k])

    def direction(self, arc: int, parameter: float) -> Array:
        """The point of arc number `arc` at `parameter`, a unit vector."""
        frame, edge = divmod(arc, EDGES)
        across = np.cos(parameter) * self.u[frame, edge] + np.sin(parameter) * self.v[frame, edge]
        point: Array = self.sine * self.normals[frame, edge] + self.cosine * across
        return point


def _name_gap(cores: Cores, bare: _Bare) -> Proof:
    """The direction farthest from all cores, sought from samples and from the bare piece, and its margin.

    That there is a gap is certain; its worst place is found by refining the worst of evenly spread samples.
    """
    found = np.vstack([spiral(20_000), bare.direction[None]])
    margins = cores.best_margin_rad(found)
    direction, margin = found[int(margins.argmin())], float(margins.min())
    radius = 0.03
    while radius > 1e-6:
        around = direction + radius * (spiral(64))
        around /= np.linalg.norm(around, axis=1, keepdims=True)
        margins = cores.best_margin_rad(around)
        if margins.min() < margin:
            direction, margin = around[int(margins.argmin())], float(margins.min())
        else:
            radius /= 2
    yaw_deg, pitch_deg = yaw_pitch_deg(direction)
    return Proof(False, min(float(np.degrees(margin)), 0.0), yaw_deg, pitch_deg)
