"""The area that moving frames leave uncovered, and its gradient as frames turn.

Only the uncovered arcs matter. Turn a frame a little, and the area changes by what its uncovered arcs sweep: the integral
along them of the outward motion of each point (the shape derivative of a covering: E. Birgin, A. Laurain, R. Massambone
and A. Santana, SIAM J. Sci. Comput. 43:A2047, 2021, treat coverings of the plane by balls the same way; from memory). The
area itself follows from the same arcs by Stokes' theorem. On an arc of a circle both integrals have closed forms.

A search evaluates this many thousand times, so it is written for speed. A core's boundary is the same for every frame, so
it is computed once, in the frame's own axes. What one core covers of another's boundary depends only on the rotation
between the two, and linearly: one matrix product does all pairs. The list of frames that may touch is kept until one has
turned too far.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from controller.optics.outline import Outline
from controller.planning.arcs import INSIDE_RAD, Arcs, Numbers, edge_intervals
from controller.planning.cores import AT_ONCE, Cores, place
from controller.planning.directions import Array
from controller.planning.intervals import LONG, TURN, in_common
from controller.planning.near import pairs_within
from controller.planning.region import Bounds

SHORT_RAD = np.pi / 2  # pieces of a boundary are at most this long, so that an interval meets each from one side
SKIN = 0.1  # how far frames may turn before the neighbours are searched again, as a share of a core's reach
NEARLY_RAD = 1e-7  # tolerance for points on a boundary
NEARLY_GREAT = 0.98  # from this sine of its radius on, a circle counts as a great circle
APART = 7.0  # more than a turn, so that one piece's intervals never reach into the next one's


@dataclass(frozen=True, slots=True)
class Left:
    """The uncovered area, in steradians, and its derivatives by each frame's yaw and pitch (radians), shape (n, 2)."""

    area: float
    slope: Array


class Uncovered:
    """The area of `bounds` that cores of one outline, each shrunk by `margin_rad`, leave uncovered."""

    def __init__(self, outline: Outline, bounds: Bounds, margin_rad: float) -> None:
        alone, rest = place(outline, np.zeros(1), np.zeros(1)), bounds.elsewhere()
        cores = alone if rest is None else alone.joined(rest)
        self._pieces = pieces = _boundaries(cores, margin_rad)
        self._own = int((pieces.core == 0).sum())
        frame = pieces.some(pieces.core == 0)
        self._frame_by_frame = _Facing(frame, cores, 0, margin_rad)
        others = range(1, len(cores))
        self._frame_by_rest = [_Facing(frame, cores, other, margin_rad) for other in others]
        self._rest_by_frame = _Facing(pieces.some(pieces.core > 0), cores, 0, margin_rad) if rest is not None else None
        self._reach, self._skin = outline.reach_rad, SKIN * outline.reach_rad
        self._seen_at: Array | None = None
        self._pairs = np.zeros((2, 0), dtype=np.intp)

    def __call__(self, aims: Array) -> Left:
        """The area left uncovered by frames aimed at `aims` (n, 2), yaw and pitch in radians, and its gradient."""
        axes, count, own, pieces = _axes(aims), len(aims), self._own, self._pieces
        self._keep_pairs(aims, axes)
        number, start, end = _bare(self._ends(count), self._covered(axes))
        turned = number < own * count
        piece = np.where(turned, number // count, number - own * (count - 1))
        frame = number[turned] % count
        basis = pieces.basis[piece]
        basis[turned] = np.einsum("kpa,axk->kpx", basis[turned], axes[:, :, frame])
        sine_part, cosine_part = np.cos(start) - np.cos(end), np.sin(end) - np.sin(start)
        sweep = pieces.sine[piece] * (sine_part * basis[:, 1].T - cosine_part * basis[:, 2].T)
        x, y, z = (np.bincount(frame, part[turned], count) for part in sweep)
        slope = np.stack([z, -(x * axes[1, 0] + y * axes[1, 1])], axis=1)
        area = _enclosed(basis @ axes[0, :, 0], pieces.cosine[piece], pieces.sine[piece], start, end)
        return Left(area, slope)

    def _keep_pairs(self, aims: Array, axes: Array) -> None:
        """Update the list of frames that may touch, if one has turned too far."""
        seen = self._seen_at
        if seen is not None and len(seen) == len(aims) and np.abs(aims - seen).sum(axis=1).max() < self._skin / 2:
            return
        self._seen_at = aims.copy()
        reach = 2 * np.sin(min(2 * self._reach + self._skin, np.pi) / 2) + 1e-9
        self._pairs = pairs_within(axes[0].T, reach).T

    def _ends(self, count: int) -> Array:
        """Start and end of all pieces of `count` frames and of the rest, one piece APART from the next, (2, pieces)."""
        own, limits = self._own, np.stack([self._pieces.start, self._pieces.end])
        limits = np.concatenate([np.repeat(limits[:, :own], count, axis=1), limits[:, own:]], axis=1)
        return limits + APART * np.arange(limits.shape[1])

    def _covered(self, axes: Array) -> Iterator[tuple[Array, Array]]:
        """Covered intervals of pieces, as start and end, one piece APART from the next."""
        count = axes.shape[2]
        step = max(1, AT_ONCE // self._frame_by_frame.size)
        for begin in range(0, self._pairs.shape[1], step):
            one, other = self._pairs[:, begin : begin + step]
            turned = np.einsum("axk,bxk->abk", axes[:, :, one], axes[:, :, other])
            turned = np.concatenate([turned, turned.transpose(1, 0, 2)], axis=2)
            first = count * np.arange(self._own)[:, None] + np.concatenate([one, other])
            yield from self._frame_by_frame.covered(turned, first)
        for facing in self._frame_by_rest:
            yield from facing.covered(axes, count * np.arange(self._own)[:, None] + np.arange(count))
        if self._rest_by_frame is not None:
            first = self._own * count + np.arange(len(self._pieces.core) - self._own)
            yield from self._rest_by_frame.covered(
                axes.transpose(1, 0, 2), np.broadcast_to(first[:, None], (len(first), count))
            )


@dataclass(frozen=True, slots=True)
class _Pieces:
    """Pieces of boundaries in their core's own axes: arcs of circles, from `start` to `end`.

    `basis` (k, 3, 3) contains each circle's pole and the unit vectors toward t = 0 and a quarter turn. `cosine` and
    `sine` are of its radius.
    """

    core: Numbers
    basis: Array
    cosine: Array
    sine: Array
    start: Array
    end: Array

    def some(self, chosen: NDArray[np.bool_]) -> "_Pieces":
        """The pieces where `chosen` is true."""
        return _Pieces(*(getattr(self, part)[chosen] for part in self.__slots__))


class _Facing:
    """What a core covers of some pieces of another core's boundary, for many rotations between the two."""

    def __init__(self, pieces: _Pieces, cores: Cores, other: int, margin_rad: float) -> None:
        shrink = INSIDE_RAD + (margin_rad if cores.shrinks[other] else 0.0)
        radii = cores.radii[other]
        self._limit = np.where(np.isinf(radii), -np.inf, np.cos(np.clip(radii - shrink, 0, np.pi)))
        # Edges that bulge, or any edge with a small circle, may cover a piece from both ends, which needs more care.
        bulging = (radii[np.isfinite(radii)] > LONG / 2).any() or (pieces.sine < NEARLY_GREAT).any()
        self._bulging = bool(bulging) or radii.shape[1] > 1
        poles = np.concatenate([cores.poles[other].reshape(-1, 3), cores.forward[other : other + 1]])
        size = np.stack([pieces.cosine, pieces.sine, pieces.sine], axis=1)
        products = np.einsum("kpa,mb->pmkab", pieces.basis * size[:, :, None], poles)
        self._products = products.reshape(-1, 9)
        self._start, self._end = pieces.start[:, None], pieces.end[:, None]
        self._shape = (3, len(poles), len(pieces.core), -1)
        self.size = len(self._products)

    def covered(self, turned: Array, number: Numbers) -> Iterator[tuple[Array, Array]]:
        """Covered intervals of the pieces `number` (pieces, k), for rotations `turned` (3, 3, k)."""
        seen = (self._products @ turned.reshape(9, -1)).reshape(self._shape)
        apart = APART * number
        low, high = self._start, self._end
        centre = (low + high) / 2
        for start, end in self._intervals(seen, centre):
            for turn in (0.0, -TURN, TURN) if self._bulging else (0.0,):
                left, right = np.maximum(start + turn, low), np.minimum(end + turn, high)
                use = left < right
                if use.any():
                    yield (left + apart)[use], (right + apart)[use]

    def _intervals(self, seen: Array, centre: Array) -> Iterator[tuple[Array, Array]]:
        height, across, along = seen[:, :-1].reshape(3, *self._limit.shape, *seen.shape[2:])
        above = self._limit[:, :, None, None] - height
        if self._bulging:
            nearest = np.arctan2(seen[2, -1], seen[1, -1])
            above, across, along = (np.moveaxis(part, (0, 1), (2, 3)) for part in (above, across, along))
            yield from in_common(*edge_intervals(above, across, along, nearest))
            return
        above, across, along = above[:, 0], across[:, 0], along[:, 0]
        ratio = above / np.maximum(np.sqrt(across * across + along * along), 1e-300)
        half = np.arccos(np.minimum(np.maximum(ratio, -1), 1))
        half[ratio > 1], half[ratio <= -1] = -np.inf, np.inf
        middle = np.arctan2(along, across)
        middle -= TURN * np.round((middle - centre) / TURN)
        yield (middle - half).max(axis=0), (middle + half).min(axis=0)


def _axes(aims: Array) -> Array:
    """Forward, right and up of every frame, (3, xyz, n), as `camera_axes` has them."""
    (sin_yaw, sin_pitch), (cos_yaw, cos_pitch) = np.sin(aims.T), np.cos(aims.T)
    axes = np.empty((3, 3, len(aims)))
    axes[0, 0], axes[0, 1], axes[0, 2] = cos_pitch * cos_yaw, cos_pitch * sin_yaw, sin_pitch
    axes[1, 0], axes[1, 1], axes[1, 2] = -sin_yaw, cos_yaw, 0.0
    axes[2, 0], axes[2, 1], axes[2, 2] = -sin_pitch * cos_yaw, -sin_pitch * sin_yaw, cos_pitch
    return axes


def _bare(ends: Array, covered: Iterator[tuple[Array, Array]]) -> tuple[Numbers, Array, Array]:
    """The uncovered parts of pieces that are APART from each other: the piece's number, start and end.

    An uncovered part begins at the k-th smallest end if the next smallest start is beyond it.
    """
    # A zero-length interval at each end of every piece turns "covers the piece" into "leaves no gap".
    lefts, rights = zip((ends.ravel(), ends.ravel()), *covered, strict=True)
    left, right = np.sort(np.concatenate(lefts)), np.sort(np.concatenate(rights))
    gap = np.flatnonzero(left[1:] > right[:-1])
    start, end = right[gap], left[gap + 1]
    number = np.floor(start / APART + 0.5)
    same = end - APART * number < APART / 2
    number, start, end = number[same], start[same], end[same]
    return number.astype(np.intp), start - APART * number, end - APART * number


def _boundaries(cores: Cores, margin_rad: float) -> _Pieces:
    """The boundaries of the first core, and of the others together, in pieces of at most SHORT_RAD.

    Every circle is cut where another circle of the same cores crosses it. Between two cuts it is either all boundary or
    none, so its middle decides.
    """
    found: list[tuple[int, Array, float, float, float]] = []
    arcs = Arcs(cores, np.arange(len(cores)), margin_rad)
    own_margin_rad = np.where(cores.shrinks, margin_rad, 0.0)
    seen: set[tuple[float, ...]] = set()
    for core, arc in zip(*np.nonzero(arcs.exists), strict=True):
        cosine, sine = float(arcs.cosine[core, arc]), float(arcs.sine[core, arc])
        basis = np.stack([arcs.poles[core, arc], arcs.u[core, arc], arcs.v[core, arc]])
        key = (float(core), *np.round([*basis[0], cosine], 9))
        if key in seen:  # edges with few caps repeat one
            continue
        seen.add(key)
        alike = np.arange(1) if core == 0 else np.arange(1, len(cores))
        cuts = _crossings(basis, cosine, sine, arcs.poles[alike], arcs.cosine[alike])
        middle = (cuts[1:] + cuts[:-1]) / 2
        across = np.cos(middle)[:, None] * basis[1] + np.sin(middle)[:, None] * basis[2]
        points = cosine * basis[0] + sine * across
        inside = cores.margin_rad(points, alike) - own_margin_rad[alike]
        others = np.delete(inside, np.flatnonzero(alike == core), axis=1).max(axis=1, initial=-np.inf)
        bare = (np.abs(inside[:, alike == core][:, 0]) < NEARLY_RAD) & (others < NEARLY_RAD)
        ends = cuts[np.diff(bare, prepend=False, append=False)]
        for start, end in zip(ends[::2], ends[1::2], strict=True):
            if end - start > NEARLY_RAD:
                parts = np.linspace(start, end, 1 + int(np.ceil((end - start) / SHORT_RAD - 1e-9)))
                found += [(int(core), basis, np.arccos(cosine), a, b) for a, b in pairwise(parts)]
    whose, bases, radius, starts, ends = (np.array(part) for part in zip(*found, strict=True))
    return _Pieces(whose, bases, np.cos(radius), np.sin(radius), starts, ends)


def _crossings(basis: Array, cosine: float, sine: float, poles: Array, limits: Array) -> Array:
    """The angles, -pi to pi including these two ends, at which other circles cross one circle, sorted."""
    height, across, along = (poles @ part for part in basis)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = (limits - cosine * height) / (sine * np.hypot(across, along))
    meets = np.abs(ratio) < 1
    nearest, half = np.arctan2(along, across)[meets], np.arccos(ratio[meets])
    at = np.concatenate([nearest - half, nearest + half])
    return np.sort(np.concatenate([[-np.pi, np.pi], (at + np.pi) % TURN - np.pi]))


def _enclosed(toward: Array, cosine: Array, sine: Array, start: Array, end: Array) -> float:
    """The area enclosed by uncovered arcs. `toward` (k, 3): their basis along a direction s outside the area.

    The area form of the sphere is the derivative of (s x p) . dp / (1 - s . p) everywhere except at p = s. Along a circle
    of pole n and radius r it is cos(r) dt + (s . n - cos(r)) dt / (a - b cos(t - t0)), and a^2 - b^2 = (s . n -
    cos(r))^2.
    """
    height, across, along = toward.T
    a, b = 1 - cosine * height, sine * np.hypot(across, along)
    nearest = np.arctan2(along, across)
    up, down = np.sqrt(a + b), np.sqrt(np.maximum(a - b, 0.0))

    def angle(t: Array) -> Array:
        half = (t - nearest) / 2
        along_it: Array = np.arctan2(up * np.sin(half), down * np.cos(half))
        return along_it

    density = cosine * (end - start) + 2 * np.sign(height - cosine) * (angle(end) - angle(start))
    return abs(float(density.sum()))
