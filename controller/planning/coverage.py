"""The proof that a set of cores covers a region. It is independent of how the plan was made.

Why it is a proof. Shrink every core by an angle m: keep the directions whose margin in it is at least m. Treat the part
of the sphere outside the region as covered by cores of its own. Suppose that every boundary point of each core is inside
another core. Then their union has no boundary. A closed set without a boundary on the sphere is nothing or everything,
and some core still contains its own axis. So the union is the whole sphere, and every direction of the region has a
margin of at least m.

The boundary of a shrunk core consists of arcs of circles. Each other core covers intervals of each arc, which have a
closed form (`arcs.py`). The question is therefore whether intervals cover a line; no grid of samples is involved. The
worst margin is the largest m for which this is true, found by bisection. A wrong pose, a missing frame or a hole anywhere
leaves part of an arc uncovered.
"""

from dataclasses import dataclass

import numpy as np

from controller.planning.arcs import Arcs, Numbers
from controller.planning.cores import Cores
from controller.planning.directions import Array, spiral, yaw_pitch_deg
from controller.planning.near import nearest, pairs_within
from controller.planning.region import SPHERE, Bounds

# Two frames that share exactly the requested overlap cover with a margin of zero, which rounding may reduce by this much:
# a thousandth of any pixel.
ROUNDING_DEG = 1e-6
RESOLUTION_RAD = np.radians(1e-5)
# Search for the worst direction of a gap: start from the lowest of so many samples, evaluate so many cores near each, and
# try so many steps around each.
SAMPLES_PER_CORE, FEWEST_SAMPLES, MOST_SAMPLES = 100, 2000, 40_000
LOWEST, NEARBY, KEPT, TO_ALL_SIDES, SHRINK = 100, 12, 12, 16, 0.75
NEAR_ENOUGH_RAD = 1e-7


@dataclass(frozen=True, slots=True)
class Proof:
    """Whether the region is covered, with its worst direction and the margin there in degrees.

    A negative margin means a gap: the distance from its middle to the nearest core.
    """

    covered: bool
    worst_margin_deg: float
    worst_yaw_deg: float
    worst_pitch_deg: float


@dataclass(frozen=True, slots=True)
class _Bare:
    """An uncovered piece of a boundary: the number of its core, and the direction of its middle."""

    core: int
    direction: Array


def prove_coverage(cores: Cores, region: Bounds = SPHERE) -> Proof:
    """Prove or refute that `cores` cover `region`."""
    question = _Question(cores, region)
    low, high = -float(np.radians(ROUNDING_DEG)), float(cores.reach_rad.max())
    bare = question.first_bare(low)
    if bare is not None:
        return _name_gap(cores, region, bare)
    worst = cores.forward[0]
    # First bisect for the uncovered core alone, which is quick, then check all cores at that margin. Either none is
    # uncovered, or another one sets a smaller margin.
    bare = question.first_bare(high)
    while bare is not None:
        worst, suspect = bare.direction, np.array([bare.core])
        lowest = low
        while high - lowest > RESOLUTION_RAD:
            middle = (lowest + high) / 2
            found = question.first_bare(middle, suspect)
            if found is None:
                lowest = middle
            else:
                high, worst = middle, found.direction
        if lowest == low:
            break
        bare, high = question.first_bare(lowest), lowest
    low = max(low, high if bare is None else low)
    yaw_deg, pitch_deg = yaw_pitch_deg(worst)
    return Proof(True, max(0.0, float(np.degrees(low))), yaw_deg, pitch_deg)


def covers(cores: Cores, region: Bounds, margin_rad: float) -> bool:
    """Prove that `cores` cover `region` with at least `margin_rad`, without searching for the worst margin."""
    return _Question(cores, region).first_bare(margin_rad - float(np.radians(ROUNDING_DEG))) is None


class _Question:
    """Whether any boundary is uncovered: the cores, the cores outside the region, and the pairs that can touch."""

    def __init__(self, cores: Cores, region: Bounds) -> None:
        rest = region.elsewhere()
        self._cores = cores if rest is None else cores.joined(rest)
        own_axis = self._cores.own_margin_rad(self._cores.forward, np.arange(len(self._cores)))
        self._axis_margin_rad = np.where(self._cores.shrinks, own_axis, np.inf)
        self._own, self._other = neighbours(cores, len(self._cores))
        if self._cores.radii.shape[2] > 1:  # the arc of one cap may be inside another cap of the same edge
            itself = np.arange(len(self._cores))
            self._own, self._other = np.append(self._own, itself), np.append(self._other, itself)

    def first_bare(self, margin_rad: float, chosen: Numbers | None = None) -> _Bare | None:
        """An uncovered piece of the boundary of a `chosen` core (None: any) shrunk by `margin_rad`, or None."""
        numbers = np.arange(len(self._cores)) if chosen is None else chosen
        arcs = Arcs(self._cores, numbers, margin_rad)
        if not (self._axis_margin_rad[numbers] > margin_rad).any():
            return _Bare(int(numbers[0]), self._cores.forward[numbers[0]])  # shrunk to nothing: covers nothing
        if chosen is None:
            own, other, position = self._own, self._other, self._own
        else:
            wanted = np.isin(self._own, chosen)
            own, other = self._own[wanted], self._other[wanted]
            position = np.searchsorted(chosen, own)
        piece = arcs.first_gap(position, other)
        return None if piece is None else _Bare(int(numbers[piece.core]), piece.direction)


def neighbours(cores: Cores, total: int) -> tuple[Numbers, Numbers]:
    """Pairs of cores that can touch, as two arrays of numbers, each pair in both orders.

    Numbers from len(cores) to `total` are the cores outside the region, which may touch everything.
    """
    count = len(cores)
    reach = 2 * np.sin(min(2 * cores.reach_rad.max(), np.pi) / 2) + 1e-9
    pairs = pairs_within(cores.forward, reach)
    rest = np.array([(i, j) for j in range(count, total) for i in range(j)], dtype=np.intp).reshape(-1, 2)
    pairs = np.concatenate([pairs, rest])
    return np.concatenate([pairs[:, 0], pairs[:, 1]]), np.concatenate([pairs[:, 1], pairs[:, 0]])


def _name_gap(cores: Cores, region: Bounds, bare: _Bare) -> Proof:
    """The direction of the region farthest from all cores, searched from samples and from the uncovered piece.

    The gap is already certain. Its worst direction is found by descending from the worst of evenly spread samples.
    """
    count = int(np.clip(SAMPLES_PER_CORE * len(cores), FEWEST_SAMPLES, MOST_SAMPLES))
    samples = spiral(count)
    samples = samples[region.holds(samples)]
    margins = _margin_nearby(cores, samples)
    lowest = margins.argsort()[:LOWEST]
    samples, step = samples[lowest], float(np.sqrt(4 * np.pi / count))
    lower_nearby = np.tril(samples @ samples.T > np.cos(2 * step), k=-1).any(axis=1)
    starts = np.vstack([samples[~lower_nearby], bare.direction[None]])
    place = _downhill(cores.some(_best_cores(cores, starts)), region, starts, step)
    # The descent evaluated only a few cores. Evaluate its result against all of them.
    candidates = np.vstack([place[None], starts])
    margins = cores.best_margin_rad(candidates)
    deepest = int(margins.argmin())
    yaw_deg, pitch_deg = yaw_pitch_deg(candidates[deepest])
    return Proof(False, min(float(np.degrees(margins[deepest])), 0.0), yaw_deg, pitch_deg)


def _margin_nearby(cores: Cores, directions: Array) -> Array:
    """The margin of each direction, radians, in the best of the cores whose lenses point nearest to it."""
    if len(cores) <= 3 * NEARBY:
        return cores.best_margin_rad(directions)
    margins = np.full(len(directions), -np.inf)
    for numbers in nearest(directions, cores.forward, NEARBY).T:
        np.maximum(margins, cores.own_margin_rad(directions, numbers), out=margins)
    return margins


def _best_cores(cores: Cores, directions: Array) -> Numbers:
    """The numbers of the cores among the NEARBY + 1 best for at least one direction."""
    if len(cores) <= NEARBY:
        return np.arange(len(cores))
    return np.unique(np.argpartition(-cores.margin_rad(directions), NEARBY, axis=1)[:, :NEARBY])


def _downhill(cores: Cores, region: Bounds, places: Array, radius: float) -> Array:
    """The lowest direction of the region found by ever smaller steps around `places`, starting at `radius` (radians).

    The lowest few of the old and new directions are kept. Together they follow a narrow valley, where most steps lead up
    the sides.
    """
    every_side, turn = spiral(TO_ALL_SIDES), 0
    margins = cores.best_margin_rad(places)
    while radius > NEAR_ENOUGH_RAD:
        # Turn the pattern every time. Otherwise a valley could run between the directions that are tried.
        tried = (places[:, None] + radius * (every_side @ _spin(turn).T)).reshape(-1, 3)
        tried /= np.linalg.norm(tried, axis=1, keepdims=True)
        tried = tried[region.holds(tried)]
        places, margins = np.vstack([places, tried]), np.append(margins, cores.best_margin_rad(tried))
        lowest = margins.argsort()[:KEPT]
        places, margins, radius, turn = places[lowest], margins[lowest], SHRINK * radius, turn + 1
    found: Array = places[0]
    return found


def _spin(turn: int) -> Array:
    """A rotation that differs for each `turn`."""
    a, b = 2.39996 * turn, 1.0 * turn
    about_z = np.array([[np.cos(a), -np.sin(a), 0.0], [np.sin(a), np.cos(a), 0.0], [0.0, 0.0, 1.0]])
    about_x = np.array([[1.0, 0.0, 0.0], [0.0, np.cos(b), -np.sin(b)], [0.0, np.sin(b), np.cos(b)]])
    spun: Array = about_z @ about_x
    return spun
