"""Fewer frames than complete rows need: move every frame freely until every direction is covered.

Start from rows that almost cover with fewer frames, or from frames spread evenly or at random. Reduce the uncovered area
(of the cores shrunk by a small margin). If it does not vanish, move some frames to a hole or shake those near it, and
keep the result if it leaves less uncovered (basin hopping: D. Wales and J. Doye, J. Phys. Chem. A 101:5111, 1997). A
result counts only after the proof has passed it.
"""

from collections.abc import Callable, Iterator
from itertools import cycle

import numpy as np

from controller.optics.outline import core_outline
from controller.planning.cores import place
from controller.planning.coverage import covers
from controller.planning.descent import descend
from controller.planning.directions import Array, camera_axes, spiral
from controller.planning.effort import Effort, SpentError
from controller.planning.region import SPHERE, Bounds
from controller.planning.row_poses import start_yaw_deg
from controller.planning.rows import Row, Task, path
from controller.planning.uncovered import Uncovered

AIM_RAD = float(np.radians(0.02))  # extra margin, so that the proof finds slightly more than zero
CLOSED_SR = 1e-7  # an area this small means a margin missed by a hair: worth a proof
BOLD_SHARE = 11  # the first attempt drops one frame in this many; if it fails, half as many
BOLD_TRIES = 3
SPREADS = (0.025, 0.1, 0.25)  # how far frames are shaken before a new attempt, as a share of the core's half-width
SHAKES = (0.1, 0.25, 0.5)  # the same near a hole
SHAKEN_FROM, SHAKEN_TO = 3, 8  # number of frames shaken near a hole
PATIENCE_SHARE = 2  # give up after this many unsuccessful changes: the number of frames divided by this
STEEPEST = 0.2  # smallest cosine of the pitch used to scale the shake in yaw: limits it near a pole


class Search:
    """One search for fewer frames, repeatable for its `seed`.

    `effort` only decides when it ends. Plans found keep a margin of at least `margin_rad`. `yaw_limits_deg` are those of
    the head, or None if it turns all the way round.
    """

    def __init__(
        self,
        task: Task,
        effort: Effort,
        seed: int,
        yaw_limits_deg: tuple[float, float] | None = None,
        margin_rad: float = 0.0,
    ) -> None:
        self._task, self._outline, self._margin_rad = task, core_outline(task.field), margin_rad
        self._yaw_limits = None if yaw_limits_deg is None else _near(task.bounds, yaw_limits_deg)
        self._random = np.random.default_rng(seed)
        self._effort = effort
        self._uncovered = Uncovered(self._outline, task.bounds, margin_rad + AIM_RAD)
        self._best = self._trying = 0

    def run(self, aims_deg: Array) -> Array:
        """Aims (n, 2) of yaw and pitch in degrees, proved to cover, with no more frames than `aims_deg`."""
        best = aims_deg
        fewer = max(1, len(best) // BOLD_SHARE)
        try:
            while len(best) > 1:
                self._best, self._trying = len(best), len(best) - fewer
                self._spend()
                found = self._attempt(len(best) - fewer, BOLD_TRIES if fewer > 1 else None)
                if found is None:
                    fewer = max(1, fewer // 2)
                else:
                    best = found
        except SpentError:
            pass
        return best

    def _spend(self) -> None:
        self._effort.spend(self._best, self._trying)

    def _attempt(self, count: int, tries: int | None) -> Array | None:
        """Aims of `count` frames that cover; None after `tries` failed attempts (None: no limit). Raises SpentError."""
        rows = self._start(count)
        starts: list[Callable[[], Array]] = [lambda: self._shaken(rows, count), lambda: self._by_chance(count)]
        if self._task.bounds == SPHERE:
            starts.append(lambda: self._evenly(count))
        for number, begin in enumerate(cycle(starts), start=1):
            for aims, left_sr in self._settled(begin(), hop=tries is None):
                found = _folded(np.degrees(aims), self._task.bounds)
                if left_sr < CLOSED_SR and self._proved(found):
                    return found
            if number == tries:
                return None
        raise AssertionError("starts never end")

    def _settled(self, aims_deg: Array, *, hop: bool) -> Iterator[tuple[Array, float]]:
        """Aims at rest (radians) with their uncovered area, and again after each improvement."""
        aims, left_sr = self._close(np.radians(aims_deg))
        yield aims, left_sr
        vain = 0
        while hop and left_sr >= CLOSED_SR and vain < len(aims) // PATIENCE_SHARE:
            tried, remaining_sr = self._close(self._changed(aims))
            if remaining_sr < left_sr:
                aims, left_sr, vain = tried, remaining_sr, 0
                yield aims, left_sr
            else:
                vain += 1

    def _changed(self, aims: Array) -> Array:
        """The aims (radians) with one frame moved to a hole, or with the frames near a hole shaken."""
        random, aims = self._random, aims.copy()
        pull = np.hypot(*self._uncovered(aims).slope.T)
        chances = pull / pull.sum() if pull.sum() > 0 else np.full(len(aims), 1 / len(aims))
        at = int(random.choice(len(aims), p=chances))
        half_rad = self._task.field.core_half_width_rad
        if random.random() < 0.5:
            aims[random.integers(len(aims))] = aims[at] + random.normal(scale=half_rad / 2, size=2)
            return aims
        forward = camera_axes(aims[:, 0], aims[:, 1]).forward
        near = np.argsort(-forward @ forward[at])[: random.integers(SHAKEN_FROM, SHAKEN_TO + 1)]
        aims[near] += self._shake(aims[near, 1], random.choice(SHAKES) * half_rad)
        return aims

    def _shake(self, pitch_rad: Array, spread: float) -> Array:
        """Random changes of yaw and pitch (n, 2), in the unit of `spread`; larger in yaw at steep pitches."""
        change: Array = self._random.normal(scale=spread, size=(len(pitch_rad), 2))
        change[:, 0] /= np.maximum(STEEPEST, np.cos(pitch_rad))
        return change

    def _proved(self, aims_deg: Array) -> bool:
        return covers(place(self._outline, aims_deg[:, 0], aims_deg[:, 1]), self._task.bounds, self._margin_rad)

    def _start(self, count: int) -> list[Row]:
        """Rows of at most `count` frames that would cover if the cores were larger by as little as possible."""
        low, high = 0.0, 0.6 * self._task.field.core_half_width_rad
        rows = path(self._task, -high, count, coarse=True) or []
        for _ in range(10):
            self._spend()
            middle = (low + high) / 2
            found = path(self._task, -middle, count, coarse=True)
            if found is None:
                low = middle
            else:
                high, rows = middle, found
        return rows

    def _shaken(self, rows: list[Row], count: int) -> Array:
        """Aims in degrees: the rows, each turned at random, every frame shaken, plus the remaining frames."""
        bounds, random = self._task.bounds, self._random
        aims = []
        for row in rows:
            phase = random.uniform(0, 1) if bounds.yaw_width_deg >= 360 else 0.5
            yaw = start_yaw_deg(bounds) + bounds.yaw_width_deg * (np.arange(row.count) + phase) / row.count
            aims.append(np.stack([yaw, np.full(row.count, row.pitch_deg)], axis=1))
        known = np.concatenate(aims) if aims else np.zeros((0, 2))
        spread_deg = random.choice(SPREADS) * float(np.degrees(self._task.field.core_half_width_rad))
        known = known + self._shake(np.radians(known[:, 1]), spread_deg)
        return np.concatenate([known, self._by_chance(count - len(known))])

    def _by_chance(self, count: int) -> Array:
        """Random aims in degrees, uniform over the region."""
        bounds, random = self._task.bounds, self._random
        low, high = np.sin(np.radians([bounds.pitch_from_deg, bounds.pitch_to_deg]))
        yaw = start_yaw_deg(bounds) + random.uniform(0, bounds.yaw_width_deg, count)
        return np.stack([yaw, np.degrees(np.arcsin(random.uniform(low, high, count)))], axis=1)

    def _evenly(self, count: int) -> Array:
        """Aims in degrees spread evenly over the sphere, turned at random and slightly shaken."""
        turn, _ = np.linalg.qr(self._random.normal(size=(3, 3)))
        at = spiral(count) @ turn
        pitch = np.arcsin(np.clip(at[:, 2], -1, 1))
        aims: Array = np.stack([np.arctan2(at[:, 1], at[:, 0]), pitch], axis=1)
        aims += self._shake(pitch, SPREADS[1] * self._task.field.core_half_width_rad)
        aims_deg: Array = np.degrees(aims)
        return aims_deg

    def _close(self, aims: Array) -> tuple[Array, float]:
        """Move the frames (radians) until almost nothing is left uncovered or they get stuck. Raises SpentError."""

        def area_and_slope(flat: Array) -> tuple[float, Array]:
            self._spend()
            left = self._uncovered(flat.reshape(-1, 2))
            return left.area, left.slope.ravel()

        low, high = np.full(aims.shape, -np.inf), np.full(aims.shape, np.inf)
        whole = self._task.lowest_deg <= -90 and self._task.highest_deg >= 90
        # A camera may cross the pole and look back upside down, if the head may turn to any yaw.
        if not (whole and self._task.field.upright_either_way and self._yaw_limits is None):
            low[:, 1], high[:, 1] = np.radians([self._task.lowest_deg, self._task.highest_deg])
        if self._yaw_limits is not None:
            low[:, 0], high[:, 0] = np.radians(self._yaw_limits)
        found, left_sr = descend(area_and_slope, aims.ravel(), low.ravel(), high.ravel(), CLOSED_SR)
        return found.reshape(-1, 2), left_sr


def _near(bounds: Bounds, limits_deg: tuple[float, float]) -> tuple[float, float]:
    """The same yaw limits, in the turn that contains the region."""
    away = start_yaw_deg(bounds) + bounds.yaw_width_deg / 2 - sum(limits_deg) / 2
    turns = 360 * round(away / 360)
    return limits_deg[0] + turns, limits_deg[1] + turns


def _folded(aims_deg: Array, bounds: Bounds) -> Array:
    """The same aims with pitch within a quarter turn and yaw within one turn from the region's left edge.

    Past the zenith a camera looks back upside down, and an upright picture is the same either way up.
    """
    yaw, pitch = aims_deg.T
    pitch = (pitch + 180) % 360 - 180
    over = np.abs(pitch) > 90
    yaw = np.where(over, yaw + 180, yaw)
    pitch = np.where(over, np.sign(pitch) * 180 - pitch, pitch)
    left = start_yaw_deg(bounds) - (360 - bounds.yaw_width_deg) / 2
    return np.stack([(yaw - left) % 360 + left, pitch], axis=1)
