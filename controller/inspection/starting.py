"""Where the adjustment starts: frames that were moved are first turned to where most of their links put them.

From commanded poses a frame that is some degrees off has all its points hundreds of pixels away, where a robust loss
hardly pulls. So each link is first given the one small turn that its points agree on. Then each frame is given a turn so
that the absolute values of what is left on links and of the frames' own turns are least. This problem is convex, so
nothing can stick half-way, and most frames stay where the head's terms put them (least absolute deviations by
reweighting: E. J. Schlossmacher, J. Amer. Stat. Assoc. 68:857, 1973). The head's terms and the focal length are unknowns
of it, because they turn many links alike.
"""

from dataclasses import dataclass

import numpy as np

from controller.inspection.lens_model import Array, BrownLens, see
from controller.inspection.links import Flags, Points, Whole
from controller.inspection.normal import solved
from controller.inspection.poses import HEAD_TERMS, commanded, predicted, turn_of, turned
from controller.inspection.problem import Problem, SetState

PER_LINK = 16  # points are enough to see where a link points
TURNINGS, REWEIGHTINGS, PASSES = 12, 15, 2
FINEST_RAD = 1e-3  # of points: agreement below this is not wanted here
NEAR_RAD = 0.01  # points this near to the common turn agree with it
FEWEST, LEAST_AGREEING = 5, 0.35  # points that agree, or the link says nothing
FOCAL_STEP = 0.01
LINK_SHARE = 0.5  # of the head's uncertainty: two links outvote a frame's pose
COARSEST_DEG = 4.0  # below this, squares count instead of absolute values; half as much with each reweighting


@dataclass(frozen=True, slots=True, eq=False)
class _LinkTurns:
    """The turn (links, 3) of each link in the second frame's axes, in radians, and which links say anything."""

    turns: Array
    counts: Flags


def start_of(problem: Problem) -> SetState:
    """The state to start from: the commanded poses, but for frames and head terms that most links contradict."""
    start = SetState(commanded(problem.frames), problem.lens, np.zeros(len(HEAD_TERMS)))
    points = problem.points.thinned(PER_LINK)
    ends = np.zeros((2, len(points.bounds) - 1), dtype=np.int64)
    ends[:, points.link] = points.first, points.second
    longer = problem.lens.moved(("focal_px",), np.array([FOCAL_STEP * problem.lens.focal_px]))
    for _ in range(PASSES):
        here = _link_turns(points, problem.lens, start.rotations)
        kept = here.counts
        if not kept.any():
            return start
        by_focal = (_link_turns(points, longer, start.rotations).turns - here.turns) / FOCAL_STEP
        first, second = ends[:, kept]
        between = start.rotations[second].transpose(0, 2, 1) @ start.rotations[first]
        rows = np.concatenate([between, np.tile(-np.eye(3), (len(first), 1, 1)), by_focal[kept][:, :, None]], axis=2)
        step = _fewest_turned(problem, start, (first, second), rows, here.turns[kept])
        start = start.moved((), step)
    return start


def _link_turns(points: Points, lens: BrownLens, rotations: Array) -> _LinkTurns:
    """The turn of each link from where the rotations put it, by the least sum of distances."""
    links, link = len(points.bounds) - 1, points.link
    rays, aims = see(lens, points.first_px).rays, see(lens, points.second_px).rays
    usable = np.isfinite(rays).all(axis=1) & np.isfinite(aims).all(axis=1)
    rays, aims, link = rays[usable], aims[usable], link[usable]
    between = rotations[points.second[usable]].transpose(0, 2, 1) @ rotations[points.first[usable]]
    start = (between @ rays[:, :, None])[:, :, 0]
    turn = np.zeros((links, 3))
    for _ in range(TURNINGS):
        there = (turned(turn)[link] @ start[:, :, None])[:, :, 0]
        weight = 1 / np.maximum(np.linalg.norm(aims - there, axis=1), FINEST_RAD)
        normal = _summed(weight[:, None, None] * (np.eye(3) - there[:, :, None] * there[:, None, :]), link, links)
        pull = _summed(weight[:, None] * np.cross(there, aims), link, links)
        size = np.trace(normal, axis1=1, axis2=2)[:, None, None] + 1e-12
        step = np.linalg.solve(normal + 1e-6 * size * np.eye(3), pull[:, :, None])[:, :, 0]
        turn = turn_of(turned(step) @ turned(turn))
    off = np.linalg.norm(aims - (turned(turn)[link] @ start[:, :, None])[:, :, 0], axis=1)
    agreeing = np.bincount(link[off < NEAR_RAD], minlength=links)
    return _LinkTurns(turn, (agreeing >= FEWEST) & (agreeing >= LEAST_AGREEING * np.diff(points.bounds)))


def _summed(values: Array, link: Whole, links: int) -> Array:
    """Sums of values (n, ...) over each link, (links, ...)."""
    total = np.zeros((links, *values.shape[1:]))
    np.add.at(total, link, values)
    return total


def _fewest_turned(problem: Problem, start: SetState, ends: tuple[Whole, Whole], rows: Array, seen: Array) -> Array:
    """The step of the turns and HEAD_TERMS that leaves least on links and frames.

    `rows` (links, 3, 7) is how each link turns by both its frames' turns and by the focal length; `seen` (links, 3) is
    its turn.
    """
    first, second = ends
    count, heads = len(problem.frames), len(HEAD_TERMS)
    # One number a frame is enough here: the mean variance, as at a pole one direction has next to none. By that one, the
    # whole set would give way to a zenith frame that was turned.
    sd = np.sqrt(np.trace(np.linalg.inv(problem.weights), axis1=1, axis2=2) / 3)
    sd_link = LINK_SHARE * np.hypot(sd[first], sd[second]) / np.sqrt(2)
    expected, by_terms = predicted(problem.frames, problem.axis, start.head)
    off = turn_of(expected.transpose(0, 2, 1) @ start.rotations)
    size = 3 * count + heads + 1
    frames_at = np.concatenate([_of_frame(np.arange(count)), np.tile(3 * count + np.arange(heads), (count, 1))], axis=1)
    links_at = np.concatenate([_of_frame(first), _of_frame(second), np.full((len(first), 1), size - 1)], axis=1)
    frames_by = np.concatenate([np.tile(np.eye(3), (count, 1, 1)), -by_terms], axis=2)
    known = 1 / np.concatenate(
        [np.full(3 * count, np.inf), np.square(problem.priors.head), [problem.priors.lens[0] ** 2]]
    )
    before = np.concatenate([np.zeros(3 * count), start.head, [0.0]])
    found = np.zeros(size)
    for number in range(REWEIGHTINGS):
        # From squares to absolute values: with a fine floor from the start, all frames would stay where they are.
        least = np.radians(COARSEST_DEG / 2**number)
        matrix, gradient = np.diag(known), -known * before
        for at, by, aim, spread in ((links_at, rows, seen, sd_link), (frames_at, frames_by, -off, sd)):
            left = aim - (by @ found[at][:, :, None])[:, :, 0]
            weighted = by.transpose(0, 2, 1) / (spread * np.maximum(np.linalg.norm(left, axis=1), least))[:, None, None]
            np.add.at(matrix, (at[:, :, None], at[:, None, :]), weighted @ by)
            np.add.at(gradient, at, (weighted @ aim[:, :, None])[:, :, 0])
        found = solved(matrix, gradient)
    return found[:-1]


def _of_frame(frames: Whole) -> Whole:
    return 3 * frames[:, None] + np.arange(3)
