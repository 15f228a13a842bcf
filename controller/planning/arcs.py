"""The arcs that bound shrunk cores, and the parts of them that no other core covers.

A cap of pole n and radius r, shrunk by m, is bounded by the points cos(r - m) n + sin(r - m) (cos(t) u + sin(t) v) for an
orthonormal pair u, v; u points along the lens, so t = 0 is the middle of the edge. Another cap contains an interval of t
on this circle: centre +- arccos((c - A) / B). A union of caps contains all but one interval.

An interval that would have to be split in two to be exact loses one part. So everything reported as covered is covered.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from controller.planning.cores import AT_ONCE, Cores
from controller.planning.directions import Array
from controller.planning.intervals import TURN, in_common, longest_run

Numbers = NDArray[np.intp]

# Another core must contain a boundary point by this margin. Otherwise rounding (below 1e-9 here), or two edges exactly on
# each other, could pass for a cover.
INSIDE_RAD = 1e-8


@dataclass(frozen=True, slots=True)
class Piece:
    """An uncovered piece of an arc: the positions of its core and its arc, its ends, and the direction of its middle."""

    core: int
    arc: int
    start: float
    end: float
    direction: Array


def edge_intervals(above: Array, cos_part: Array, sin_part: Array, middle: Array) -> tuple[Array, Array]:
    """The intervals around t = `middle` where cos_part cos(t) + sin_part sin(t) >= above for some cap of each edge.

    The first three arguments have shape (..., edges, caps), `middle` has shape (...,). Start and end have shape (...,
    edges). An empty interval has start > end; the whole circle is -inf to inf.
    """
    ratio = above / np.maximum(np.hypot(cos_part, sin_part), 1e-300)
    half = np.arccos(np.clip(ratio, -1, 1))
    half[ratio > 1], half[ratio < -1] = -np.inf, np.inf
    centre = np.arctan2(sin_part, cos_part)
    # The intervals of one edge's caps are side by side. Counted from the first, none wraps around the turn.
    several = above.shape[-1] > 1
    beside = centre[..., :1] if several else middle[..., None, None]
    centre -= TURN * np.round((centre - beside) / TURN)
    start, end = longest_run(centre - half, centre + half)
    if several:
        with np.errstate(invalid="ignore"):
            turns = TURN * np.round(np.nan_to_num((start + end) / 2 - middle[..., None]) / TURN)
        start, end = start - turns, end - turns
    everything = end >= start + TURN
    start[everything], end[everything] = -np.inf, np.inf
    return start, end


class Arcs:
    """The arcs of the cores `numbers` of `cores`, shrunk by `margin_rad`.

    A core's arcs are counted edge by edge and within an edge cap by cap; positions count along `numbers`.
    """

    def __init__(self, cores: Cores, numbers: Numbers, margin_rad: float) -> None:
        self._cores, self._margin = cores, margin_rad
        count, (edges, caps) = len(numbers), cores.radii.shape[1:]
        self.per_core = edges * caps
        self.poles = cores.poles[numbers].reshape(count, self.per_core, 3)
        shrink = np.where(cores.shrinks[numbers], margin_rad, 0.0)[:, None]
        radii = cores.radii[numbers].reshape(count, self.per_core)
        self.exists = np.isfinite(radii)
        radii = np.where(self.exists, radii, 1.0) - shrink
        forward = cores.forward[numbers][:, None, :]
        self.cosine, self.sine = np.cos(radii), np.sin(radii)
        self.u = self._toward(forward)
        self.v = np.cross(self.poles, self.u)
        self._whole_circle = np.abs(np.einsum("nac,nxc->na", self.poles, forward)) > 1 - 1e-9
        self._cut(numbers, caps)
        self.present = self.exists & (radii > 0) & (self.start < self.end)

    def _toward(self, forward: Array) -> Array:
        """For each arc, the direction perpendicular to its pole that points along the lens."""
        u = forward - np.einsum("nac,nxc->na", self.poles, forward)[..., None] * self.poles
        size = np.linalg.norm(u, axis=2, keepdims=True)
        # The image circle is centred on the lens, so any perpendicular direction will do: use the axis with the smallest
        # component.
        spare = np.eye(3)[np.abs(self.poles).argmin(axis=2)]
        spare = spare - np.einsum("nac,nac->na", spare, self.poles)[..., None] * self.poles
        spare /= np.linalg.norm(spare, axis=2, keepdims=True)
        unit: Array = np.where(size > 1e-6, u / np.maximum(size, 1e-300), spare)
        return unit

    def _cut(self, numbers: Numbers, caps: int) -> None:
        """The start and end of each arc, as limited by the core's other edges."""
        self.start = np.full(self.exists.shape, -np.pi)
        self.end = np.full(self.exists.shape, np.pi)
        middle = np.zeros(self.exists.shape)
        start, end = self._edge_intervals(np.arange(len(numbers)), numbers, middle, 0.0)
        own_edge = np.repeat(np.arange(self.per_core // caps), caps)
        start[:, np.arange(self.per_core), own_edge] = -np.inf
        end[:, np.arange(self.per_core), own_edge] = np.inf
        self._own_start, self._own_end = start, end
        cut = ~self._whole_circle
        self.start[cut] = np.maximum(start.max(axis=2), -np.pi)[cut]
        self.end[cut] = np.minimum(end.min(axis=2), np.pi)[cut]

    def _edge_intervals(self, position: Numbers, other: Numbers, middle: Array, extra: float) -> tuple[Array, Array]:
        """The part of the arcs of the core at `position[k]` inside each edge of core `other[k]`, around t = `middle`.

        Returns start and end, shape (k, arcs, edges); an empty interval has start > end.
        """
        cores = self._cores
        poles, radii = cores.poles[other], cores.radii[other]
        shrink = np.where(cores.shrinks[other], self._margin, 0.0) + extra
        limit = np.cos(np.clip(radii - shrink[:, None, None], 0, np.pi))[:, None]
        edge_poles = poles.reshape(len(other), -1, 3).transpose(0, 2, 1)
        shape = (len(other), self.per_core, *radii.shape[1:])

        def dot(vectors: Array) -> Array:
            product: Array = (vectors[position] @ edge_poles).reshape(shape)
            return product

        constant = self.cosine[position][..., None, None] * dot(self.poles)
        sine = self.sine[position][..., None, None]
        above = np.where(np.isinf(radii)[:, None], -np.inf, limit - constant)
        return edge_intervals(above, sine * dot(self.u), sine * dot(self.v), middle)

    def _covered(self, position: Numbers, other: Numbers) -> Iterator[tuple[Numbers, Array, Array]]:
        """Intervals of arcs inside core `other[k]`: arc number, start, end; yields some pairs at a time."""
        per_pair = self.per_core * self._cores.radii[0].size
        step = max(1, AT_ONCE // per_pair)
        for begin in range(0, len(position), step):
            at, of = position[begin : begin + step], other[begin : begin + step]
            aim = self._cores.forward[of][:, None, :]
            middle = np.arctan2((self.v[at] * aim).sum(axis=2), (self.u[at] * aim).sum(axis=2))
            for start, end in in_common(*self._edge_intervals(at, of, middle, INSIDE_RAD)):
                yield from self._clipped(at, start, end)

    def _not_boundary(self) -> Iterator[tuple[Numbers, Array, Array]]:
        """Intervals of whole circles that their own core's edges cut off; they need no cover."""
        for arc in np.flatnonzero(self._whole_circle.any(axis=0)):
            at = np.flatnonzero(self._whole_circle[:, arc] & self.present[:, arc])
            for start, end in zip(self._own_end[at, arc].T, self._own_start[at, arc].T + TURN, strict=True):
                cut = np.full((len(at), self.per_core), np.inf), np.full((len(at), self.per_core), -np.inf)
                cut[0][:, arc], cut[1][:, arc] = start, end
                yield from self._clipped(at, *cut)

    def _clipped(self, at: Numbers, start: Array, end: Array) -> Iterator[tuple[Numbers, Array, Array]]:
        """The parts of the intervals `start` to `end` (k, arcs) on arcs of the cores at `at`."""
        if len(at) == 0:
            return
        arc = at[:, None] * self.per_core + np.arange(self.per_core)
        low, high = self.start[at], self.end[at]
        for turns in (-TURN, 0.0, TURN):  # t and t + 2 pi are the same point
            if start.min() + turns >= high.max() or end.max() + turns <= low.min():
                continue
            left, right = np.maximum(start + turns, low), np.minimum(end + turns, high)
            use = (left < right) & self.present[at]
            yield arc[use], left[use], right[use]

    def gaps(self, position: Numbers, other: Numbers) -> tuple[Numbers, Array, Array]:
        """All uncovered pieces if cores `other[k]` cover the core at `position[k]`: arc number, start, end."""
        parts = [*self._covered(position, other), *self._not_boundary()]
        ends = np.flatnonzero(self.present.ravel())
        low, high = self.start.ravel()[ends], self.end.ravel()[ends]
        # A zero-length interval at each end of every arc turns "covers the arc" into "leaves no gap".
        arc = np.concatenate([ends, ends, *(part[0] for part in parts)])
        start = np.concatenate([low, high, *(part[1] for part in parts)])
        end = np.concatenate([low, high, *(part[2] for part in parts)])
        order = np.lexsort((start, arc))
        arc = arc[order]
        apart = 7.0 * arc  # one arc's intervals span at most 2 pi, so none reaches into the next arc's
        start, reached = start[order] + apart, np.maximum.accumulate(end[order] + apart)
        gap = np.flatnonzero((arc[1:] == arc[:-1]) & (start[1:] > reached[:-1]))
        return arc[gap], reached[gap] - apart[gap], start[gap + 1] - apart[gap]

    def first_gap(self, position: Numbers, other: Numbers) -> Piece | None:
        """The first uncovered piece, or None."""
        arc, start, end = self.gaps(position, other)
        if len(arc) == 0:
            return None
        core, number = divmod(int(arc[0]), self.per_core)
        middle = (start[0] + end[0]) / 2
        return Piece(core, number, float(start[0]), float(end[0]), self.directions(arc[:1], np.array([middle]))[0])

    def directions(self, arc: Numbers, t: Array) -> Array:
        """The points at `t` on the arcs with numbers `arc`, shape (k, 3)."""
        core, number = np.divmod(arc, self.per_core)
        across = np.cos(t)[:, None] * self.u[core, number] + np.sin(t)[:, None] * self.v[core, number]
        points: Array = self.cosine[core, number][:, None] * self.poles[core, number]
        return points + self.sine[core, number][:, None] * across
