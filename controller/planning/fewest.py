"""Fewer frames than complete rows need, by moving every frame freely until no direction is left out.

Start from rows that almost cover with fewer frames, and let the area that is left out (of the cores shrunk by a small
margin) shrink. Only the bare arcs count: turn a frame a little, and the area changes by what its bare arcs sweep over,
the integral along them of how far each point moves outward (the shape derivative of a covering: E. Birgin,
A. Laurain, R. Massambone and A. Santana, SIAM J. Sci. Comput. 43:A2047, 2021, treat coverings of the plane by balls the
same way; from memory). The area itself follows from the same arcs by Stokes' theorem. Nothing found here counts until
the proof has passed it.
"""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import count as count_up
from typing import Any

import numpy as np
from scipy.optimize import minimize

from controller.optics.outline import Outline, core_outline
from controller.planning.arcs import Arcs
from controller.planning.cores import place
from controller.planning.coverage import neighbours, prove_coverage
from controller.planning.directions import Array, camera_axes
from controller.planning.pose import start_yaw_deg
from controller.planning.region import Bounds
from controller.planning.rows import Row, Task, path

NODES, WEIGHTS = np.polynomial.legendre.leggauss(6)
MARGIN_RAD = float(np.radians(0.02))  # what the search aims at, so that the proof finds a little more than nothing
CLOSED_SR = 1e-7  # an area this small is a margin missed by a hair: worth a proof
STEPS = 300
BOLD_SHARE = 16  # the first attempt does without one frame in so many; where it fails twice, half as bold
TRIES = 2
SPREADS = (0.025, 0.1, 0.25)  # how far frames are shaken before a new attempt, as a share of the core's half-width
# Effort is counted in evaluations, not on a clock, so that a seed gives the same plan on any machine: this many seconds
# for each, and for each frame in it, on a usual computer; more for curved edges and for the edges of a region.
SECONDS_EACH, SECONDS_PER_FRAME = 2e-3, 2.5e-5


@dataclass(frozen=True, slots=True)
class Left:
    """The area left out, in steradians, and its change with every frame's yaw and pitch (radians), shape (n, 2)."""

    area: float
    slope: Array


class _SpentError(Exception):
    """The effort is used up."""


def left_out(outline: Outline, bounds: Bounds, aims: Array, margin_rad: float) -> Left:
    """What frames aimed at `aims` (n, 2), yaw and pitch in radians, leave out of the region."""
    cores = place(outline, np.degrees(aims[:, 0]), np.degrees(aims[:, 1]))
    rest = bounds.elsewhere()
    everything = cores if rest is None else cores.joined(rest)
    arcs = Arcs(everything, np.arange(len(everything)), margin_rad)
    own, other = neighbours(cores, len(everything))
    if arcs.per_core > outline.radii.shape[0]:
        own, other = np.append(own, np.arange(len(everything))), np.append(other, np.arange(len(everything)))
    arc, start, end = arcs.gaps(own, other)
    slope = np.zeros_like(aims)
    if len(arc) == 0:
        return Left(0.0, slope)
    middle, half = (start + end) / 2, (end - start) / 2
    t = middle[:, None] + half[:, None] * NODES
    points = arcs.directions(np.repeat(arc, len(NODES)), t.ravel()).reshape(*t.shape, 3)
    core, number = np.divmod(arc, arcs.per_core)
    cosine, sine = arcs.cosine[core, number][:, None], arcs.sine[core, number][:, None]
    # Along an arc a step of dt is sin(r) long; outward is away from the cap's pole.
    length = half[:, None] * WEIGHTS * sine
    outward = (points * cosine[..., None] - arcs.poles[core, number][:, None]) / sine[..., None]
    of_frames = core < len(cores)
    core, moving, out, sweep = core[of_frames], points[of_frames], outward[of_frames], length[of_frames]
    up, right = np.array([0.0, 0.0, 1.0]), camera_axes(aims[:, 0], aims[:, 1]).right[core][:, None]
    # A point of a frame that turns moves along up x point for yaw and point x right for pitch.
    for axis, moved in enumerate((np.cross(up, moving), np.cross(moving, right))):
        np.add.at(slope[:, axis], core, -(np.einsum("kqc,kqc->kq", moved, out) * sweep).sum(axis=1))
    return Left(_enclosed(points, np.cross(outward, points), length, cores.forward[0]), slope)


def _enclosed(points: Array, along: Array, length: Array, elsewhere: Array) -> float:
    """The area enclosed by bare arcs, with `elsewhere` a direction outside of it.

    The area form of the sphere is the derivative of (s x p) . dp / (1 - s . p) everywhere but at p = s.
    """
    density = np.einsum("kqc,kqc->kq", np.cross(elsewhere, points), along) / (1 - points @ elsewhere)
    return abs(float((density * length).sum()))


class Search:
    """One search for fewer frames, repeatable for its `seed`."""

    def __init__(
        self,
        task: Task,
        effort_s: float,
        seed: int,
        progress: Callable[[int, int], None],
        yaw_limits_deg: tuple[float, float] | None = None,
    ) -> None:
        self._task, self._outline = task, core_outline(task.field)
        self._yaw_limits = None if yaw_limits_deg is None else _near(task.bounds, yaw_limits_deg)
        rest = task.bounds.elsewhere()
        self._pieces = self._outline.radii.size / 4 * (1 if rest is None else 1 + len(rest))
        self._random = np.random.default_rng(seed)
        self._work = 0.0
        self._all_work = effort_s
        self._progress = progress

    def run(self, aims_deg: Array) -> Array:
        """Aims (n, 2) of yaw and pitch in degrees, proved to cover, with no more frames than `aims_deg`."""
        best = aims_deg
        fewer = max(1, len(best) // BOLD_SHARE)
        try:
            while len(best) > 1:
                found = self._attempt(len(best) - fewer, TRIES if fewer > 1 else None)
                if found is None:
                    fewer = max(1, fewer // 2)
                else:
                    best = found
                    self._progress(len(best), round(100 * self._work / max(self._all_work, 1e-9)))
        except _SpentError:
            pass
        return best

    def _attempt(self, count: int, tries: int | None) -> Array | None:
        """Aims of `count` frames that cover; None after `tries` in vain (None: however many). Raises _SpentError."""
        rows = self._start(count)
        for _ in range(tries) if tries else count_up():
            found = self._close(self._shaken(rows, count), MARGIN_RAD)
            if found is not None:
                proof = prove_coverage(place(self._outline, found[:, 0], found[:, 1]), self._task.bounds)
                if proof.covered:
                    return found
        return None

    def _start(self, count: int) -> list[Row]:
        """Rows of at most `count` frames that would cover if the cores were larger by as little as possible."""
        low, high = 0.0, 0.6 * self._task.field.core_half_width_rad
        rows = path(self._task, -high, count) or []
        for _ in range(10):
            middle = (low + high) / 2
            found = path(self._task, -middle, count)
            if found is None:
                low = middle
            else:
                high, rows = middle, found
        return rows

    def _shaken(self, rows: list[Row], count: int) -> Array:
        """Aims in degrees: the rows, each turned by chance, every frame shaken, and the frames that are left over."""
        bounds, random = self._task.bounds, self._random
        spread = random.choice(SPREADS) * float(np.degrees(self._task.field.core_half_width_rad))
        aims = []
        for row in rows:
            phase = random.uniform(0, 1) if bounds.yaw_width_deg >= 360 else 0.5
            yaw = start_yaw_deg(bounds) + bounds.yaw_width_deg * (np.arange(row.count) + phase) / row.count
            aims.append(np.stack([yaw, np.full(row.count, row.pitch_deg)], axis=1))
        known = np.concatenate(aims) if aims else np.zeros((0, 2))
        stretch = np.stack([1 / np.maximum(0.2, np.cos(np.radians(known[:, 1]))), np.ones(len(known))], axis=1)
        known = known + random.normal(scale=spread, size=known.shape) * stretch
        low, high = np.sin(np.radians([bounds.pitch_from_deg, bounds.pitch_to_deg]))
        more = count - len(known)
        yaw = start_yaw_deg(bounds) + random.uniform(0, bounds.yaw_width_deg, more)
        pitch = np.degrees(np.arcsin(random.uniform(low, high, more)))
        return np.concatenate([known, np.stack([yaw, pitch], axis=1)])

    def _close(self, aims_deg: Array, margin_rad: float) -> Array | None:
        """Move the frames until next to nothing is left out; None when they get stuck. Raises _SpentError."""

        def area_and_slope(flat: Array) -> tuple[float, Array]:
            self._work += self._pieces * (SECONDS_EACH + SECONDS_PER_FRAME * len(flat) / 2)
            if self._work > self._all_work:
                raise _SpentError
            left = left_out(self._outline, self._task.bounds, flat.reshape(-1, 2), margin_rad)
            return left.area, left.slope.ravel()

        low, high = np.radians([self._task.lowest_deg, self._task.highest_deg])
        whole = self._task.lowest_deg <= -90 and self._task.highest_deg >= 90
        # Over the pole and on, upside down, where the head may turn to any yaw.
        free = whole and self._task.field.upright_either_way and self._yaw_limits is None
        left, right = (None, None) if self._yaw_limits is None else np.radians(self._yaw_limits)
        limits: Any = [(left, right), (None, None) if free else (low, high)] * len(aims_deg)
        start = np.radians(aims_deg)
        if self._yaw_limits is not None:
            start[:, 0] = np.clip(start[:, 0], left, right)
        if not free:
            start[:, 1] = np.clip(start[:, 1], low, high)
        options: Any = {"maxiter": STEPS, "maxcor": 20, "ftol": 1e-12, "gtol": 1e-9}
        found: Any = minimize(area_and_slope, start.ravel(), jac=True, method="L-BFGS-B", bounds=limits, options=options)
        return _folded(np.degrees(found.x.reshape(-1, 2)), self._task.bounds) if found.fun < CLOSED_SR else None


def _near(bounds: Bounds, limits_deg: tuple[float, float]) -> tuple[float, float]:
    """The same limits of yaw, counted in the turn in which the region lies."""
    away = start_yaw_deg(bounds) + bounds.yaw_width_deg / 2 - sum(limits_deg) / 2
    turns = 360 * round(away / 360)
    return limits_deg[0] + turns, limits_deg[1] + turns


def _folded(aims_deg: Array, bounds: Bounds) -> Array:
    """The same aims with pitch within a quarter turn and yaw within a turn from the region's left edge.

    Past the zenith a camera looks back upside down, and an upright picture is the same either way up.
    """
    yaw, pitch = aims_deg.T
    pitch = (pitch + 180) % 360 - 180
    over = np.abs(pitch) > 90
    yaw = np.where(over, yaw + 180, yaw)
    pitch = np.where(over, np.sign(pitch) * 180 - pitch, pitch)
    left = start_yaw_deg(bounds) - (360 - bounds.yaw_width_deg) / 2
    return np.stack([(yaw - left) % 360 + left, pitch], axis=1)
