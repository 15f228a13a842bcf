"""All that is known about a set before it is judged, and each frame against its neighbours."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from controller.inspection.adjustment import Adjusted
from controller.inspection.compared import Brighter, brighter, common_cells, directions, levels
from controller.inspection.detail import Detail, Sharper, noise_of, sharper
from controller.inspection.lens_model import Array
from controller.inspection.limits import Limits
from controller.inspection.linking import Pair, around
from controller.inspection.near_points import NoPupil
from controller.inspection.points import LinkFinding
from controller.inspection.poses import HeadFrame, predicted, turn_of
from controller.inspection.pupil import PupilFound
from controller.inspection.suspects import AGREEING, Explained, contradicts
from controller.inspection.taken import TakenFrame
from controller.planning.plan import Plan


class SetEvidence(NamedTuple):
    """All that is known about a set. Frames are numbered in the plan's order."""

    plan: Plan
    taken: Sequence[TakenFrame]
    frames: Sequence[HeadFrame]
    size_px: tuple[int, int]
    pairs: Sequence[Pair]
    findings: dict[Pair, LinkFinding]
    explained: Explained
    linked: dict[Pair, int]
    adjusted: Adjusted
    details: dict[int, Detail]
    circle_px: float | None
    orientation: int
    pupil: PupilFound | NoPupil
    turned_files: Sequence[str] = ()

    def id_of(self, number: int) -> int:
        """The frame's id in the plan."""
        return self.plan.frames[number].id

    def good_pairs(self) -> list[Pair]:
        """The pairs that agree."""
        return [pair for pair in self.comparable() if self.findings[pair].reason in AGREEING]

    def comparable(self) -> list[Pair]:
        """The pairs whose pictures may show the same: neither contradicts the other, and neither is of another place."""
        misplaced = self.explained.misplaced
        return [pair for pair, finding in self.findings.items() if not contradicts(finding) and not misplaced & {*pair}]


@dataclass(frozen=True, slots=True, eq=False)
class Compared:
    """Each frame against its neighbours, NaN if unknown.

    `turned` (n, 3): its turn from its pose, less that of its neighbours, as a vector in the world, in degrees. `detail`
    (n,) is a logarithm, `direction` (n, 2) as in `compared.directions`. `brighter` by exposure, (n,) each, in EV.
    `least_different` (n,): whether this pass of a pose differs least.
    """

    turned: Array
    detail: Array
    direction: Array
    brighter: dict[int, Array]
    least_different: list[bool]


def compare(evidence: SetEvidence, limits: Limits) -> Compared:
    """Compare each frame with its neighbours."""
    count = len(evidence.frames)
    clearer = _clearer(evidence)
    pairs, found = list(clearer), list(clearer.values())
    return Compared(
        _turned(evidence, evidence.good_pairs(), limits),
        levels(
            count,
            pairs,
            [one.overall for one in found],
            kinds=[one.chosen or 0 for one in evidence.taken],
            unsure=[one.unsure for one in found],
            common=[np.array([one.larger]) for one in found],
        ),
        directions(count, pairs, found),
        {
            exposure: levels(
                count, list(each), [one.ev for one in each.values()], common=[one.outward for one in each.values()]
            )
            for exposure, each in _lights(evidence).items()
        },
        _least_different(evidence),
    )


def _clearer(evidence: SetEvidence) -> dict[Pair, Sharper]:
    """How the detail of each pair compares, at the points that both show."""
    adjusted, noise = evidence.adjusted, noise_of(evidence.details.values())
    found: dict[Pair, Sharper] = {}
    for pair in evidence.comparable():
        number = evidence.linked.get(pair)
        if number is None:
            continue
        matches, good = evidence.findings[pair].matches, adjusted.good[number]
        points = matches.first_px[good], matches.second_px[good]
        details = evidence.details[pair[0]], evidence.details[pair[1]]
        rotations = adjusted.rotations[pair[0]], adjusted.rotations[pair[1]]
        clearer = sharper(details, points, adjusted.lens, rotations, noise)
        if clearer is not None:
            found[pair] = clearer
    return found


def _lights(evidence: SetEvidence) -> dict[int, dict[Pair, Brighter]]:
    """How the light of each pair compares, by exposure. Frames of the sky are compared too, by their poses."""
    lights: dict[int, dict[Pair, Brighter]] = {}
    adjusted = evidence.adjusted
    for pair in evidence.comparable():
        first, second = (evidence.taken[frame].lit for frame in pair)
        shared = sorted(set(first) & set(second))
        if not shared:
            continue
        rotations = adjusted.rotations[pair[0]], adjusted.rotations[pair[1]]
        common = common_cells(first[shared[0]], second[shared[0]], adjusted.lens, rotations, evidence.circle_px)
        if common is None:
            continue
        for exposure in shared:
            more = brighter(first[exposure], second[exposure], common)
            if more is not None:
                lights.setdefault(exposure, {})[pair] = more
    return lights


def _least_different(evidence: SetEvidence) -> list[bool]:
    """Whether each frame differs least from the neighbours of its pose, among all passes of it.

    All passes are compared with the same pictures, so what moves in those counts for all alike. A pass without a good
    link counts as wholly different; the first of equals is taken.
    """
    places = {frame.id: place for place, frame in enumerate(evidence.plan.frames)}
    originals = [places[frame.first_id] for frame in evidence.plan.frames]
    seen: list[list[float]] = [[] for _ in originals]
    for pair, finding in evidence.findings.items():
        if originals[pair[0]] == originals[pair[1]]:
            continue
        for frame, other in (pair, pair[::-1]):
            if originals[other] == other:
                seen[frame].append(finding.differs if finding.reason in AGREEING else 1.0)
    score = [float(np.mean(each)) if each else 1.0 for each in seen]
    best: dict[int, int] = {}
    for frame, original in enumerate(originals):
        if original not in best or score[frame] < score[best[original]]:
            best[original] = frame
    return [best[original] == frame for frame, original in enumerate(originals)]


def _turned(evidence: SetEvidence, good: Sequence[Pair], limits: Limits) -> Array:
    """Turns from the poses, in degrees in the world, less those of neighbours that are not turned themselves.

    What a whole neighbourhood has in common is the gear's wobble or a kit that is not exact, and no frame's fault.
    """
    adjusted = evidence.adjusted
    expected, _ = predicted(evidence.frames, adjusted.axis, adjusted.head)
    own = np.degrees((expected @ turn_of(expected.transpose(0, 2, 1) @ adjusted.rotations)[:, :, None])[:, :, 0])
    own[adjusted.alone] = np.nan
    beside = around(good)
    turned: set[int] = set()
    excess = np.full_like(own, np.nan)
    while True:
        for frame, others in beside.items():
            sound = [other for other in others if other not in turned] or sorted(others)
            excess[frame] = own[frame] - np.median(own[sound], axis=0)
        size = np.linalg.norm(excess, axis=1)
        size[list(turned)] = np.nan
        if not np.any(size > limits.turned_deg):
            return excess
        turned.add(int(np.nanargmax(size)))
