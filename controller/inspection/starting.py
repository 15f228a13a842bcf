"""Where the adjustment starts: frames that were moved are first turned to where most of their links put them.

From commanded poses a frame that is some degrees off has all its points hundreds of pixels away, where a robust loss
hardly pulls. So each link is first given the one small turn that its points agree on. Then each frame is given a turn so
that the absolute values of what is left on links and of the frames' own turns are least. This problem is convex, so
nothing can stick half-way, and most frames keep a turn of nearly zero (least absolute deviations by reweighting: E. J.
Schlossmacher, J. Amer. Stat. Assoc. 68:857, 1973). The focal length is an unknown of it, because a wrong one turns all
links alike.
"""

from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_factor, cho_solve

from controller.inspection.lens_model import Array, Lens, see
from controller.inspection.links import Flags, Points
from controller.inspection.poses import commanded, turn_of, turned
from controller.inspection.problem import Problem

PER_LINK = 16  # points are enough to see where a link points
TURNINGS, REWEIGHTINGS, PASSES = 12, 15, 2
FINEST_RAD = 1e-3  # of points: agreement below this is not wanted here
NEAR_RAD = 0.01  # points this near to the common turn agree with it
FEWEST, LEAST_AGREEING = 5, 0.35  # points that agree, or the link says nothing
FOCAL_STEP = 0.01
LINK_SHARE = 0.5  # of the head's uncertainty: two links outvote a frame's pose
LEAST_TURN_DEG = 1e-4  # below this, absolute values are as good as squares


@dataclass(frozen=True, slots=True, eq=False)
class _LinkTurns:
    """The turn (links, 3) of each link in the second frame's axes, in radians, and which links say anything."""

    turns: Array
    counts: Flags


def start_of(problem: Problem) -> Array:
    """The rotations (n, 3, 3) to start from, given the commanded ones and the points."""
    rotations = commanded(problem.frames)
    points = problem.points.thinned(PER_LINK)
    if not len(points.first):
        return rotations
    first = np.zeros(len(points.bounds) - 1, dtype=np.int64)
    second = first.copy()
    first[points.link], second[points.link] = points.first, points.second
    lens = problem.lens
    longer = lens.moved(("focal_px",), np.array([FOCAL_STEP * lens.focal_px]))
    turns = np.zeros((len(rotations), 3))
    start = rotations
    for _ in range(PASSES):
        here = _link_turns(points, lens, start)
        by_focal = (_link_turns(points, longer, start).turns - here.turns) / FOCAL_STEP
        if not here.counts.any():
            return rotations
        kept = here.counts
        between = start[second].transpose(0, 2, 1) @ start[first]
        more = _fewest_turned(
            problem, (first[kept], second[kept]), between[kept], here.turns[kept], by_focal[kept], turns
        )
        start = start @ turned(more)
        turns = turn_of(rotations.transpose(0, 2, 1) @ start)
    return start


def _link_turns(points: Points, lens: Lens, rotations: Array) -> _LinkTurns:
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


def _summed(values: Array, link: Array, links: int) -> Array:
    """Sums of values (n, ...) over each link, (links, ...)."""
    total = np.zeros((links, *values.shape[1:]))
    np.add.at(total, link, values)
    return total


def _fewest_turned(
    problem: Problem, ends: tuple[Array, Array], between: Array, seen: Array, by_focal: Array, already: Array
) -> Array:
    """The turns (n, 3) of frames that leave least on the links. `already` are the turns from the commanded poses.

    A small turn t of the first frame turns the link by `between` t, one of the second by -t.
    """
    first, second = ends
    count, size = len(problem.frames), 3 * len(problem.frames) + 1
    sd = np.sqrt(3 / np.trace(problem.weights, axis1=1, axis2=2))  # one number a frame is enough here
    sd_link = LINK_SHARE * np.hypot(sd[first], sd[second]) / np.sqrt(2)
    least = np.radians(LEAST_TURN_DEG)
    one = np.arange(3)
    places = np.concatenate(
        [3 * first[:, None] + one, 3 * second[:, None] + one, np.full((len(first), 1), size - 1)], axis=1
    )
    rows = np.concatenate([between, np.tile(-np.eye(3), (len(first), 1, 1)), by_focal[:, :, None]], axis=2)
    found = np.zeros(size)
    for _ in range(REWEIGHTINGS):
        left = seen - (rows @ found[places][:, :, None])[:, :, 0]
        on_links = 1 / (sd_link * np.maximum(np.linalg.norm(left, axis=1), least))
        own = already + found[:-1].reshape(-1, 3)
        on_frames = 1 / (sd * np.maximum(np.linalg.norm(own, axis=1), least))
        matrix, gradient = np.zeros((size, size)), np.zeros(size)
        weighted = rows.transpose(0, 2, 1) * on_links[:, None, None]
        np.add.at(matrix, (places[:, :, None], places[:, None, :]), weighted @ rows)
        np.add.at(gradient, places, (weighted @ seen[:, :, None])[:, :, 0])
        three = np.repeat(on_frames, 3)
        matrix[np.arange(size - 1), np.arange(size - 1)] += three
        gradient[:-1] -= three * already.ravel()
        matrix[-1, -1] += 1 / problem.priors.lens[0] ** 2
        found = np.asarray(cho_solve(cho_factor(matrix), gradient))
    return found[:-1].reshape(count, 3)
