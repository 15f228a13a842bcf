"""From evidence to verdicts: what is wrong with each frame and each link, and how large it is."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from controller.amounts import counted
from controller.inspection.adjustment import Adjusted
from controller.inspection.compared import brighter_ev, common_cells, directions, levels
from controller.inspection.detail import Detail, Sharper, sharper
from controller.inspection.head_measured import Measured, measure_head
from controller.inspection.inspected import (
    Blemish,
    FrameFault,
    Inspected,
    InspectedFrame,
    InspectedLink,
    LensMeasured,
    LinkVerdict,
    PoseKnown,
)
from controller.inspection.lens_model import Array, BrownLens
from controller.inspection.limits import Limits
from controller.inspection.linking import Pair
from controller.inspection.points import LinkFinding, LinkReason
from controller.inspection.pose_checks import commanded_known, poses_known
from controller.inspection.poses import HeadFrame, angles_of, commanded, pan_axis, predicted, turn_of
from controller.inspection.suspects import AGREEING, Explained, contradicts
from controller.inspection.taken import TakenFrame
from controller.matching.checks import bracket_step_ev
from controller.planning.plan import Plan

COMMON_PX = 0.02  # of error at a corner that all matches of a set share: they are interpolated. From simulated sets


class Evidence(NamedTuple):
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

    def id_of(self, number: int) -> int:
        """The frame's id in the plan."""
        return self.plan.frames[number].id

    def good_pairs(self) -> list[Pair]:
        """The pairs that agree."""
        return [pair for pair, finding in self.findings.items() if finding.reason in AGREEING]


@dataclass(frozen=True, slots=True, eq=False)
class Compared:
    """Each frame against its neighbours, NaN if unknown.

    `turned` (n, 3): its turn from its pose, less that of its neighbours, as a vector in the world, in degrees. `detail`
    (n,) is a logarithm, `direction` (n, 2) as in `compared.directions`. `brighter` by exposure, (n,) each, in EV.
    """

    turned: Array
    detail: Array
    direction: Array
    brighter: dict[int, Array]


def judged(evidence: Evidence, limits: Limits) -> Inspected:
    """The verdicts on a set."""
    compared = _compared(evidence, limits)
    links = [_link(evidence, compared, pair, limits) for pair in evidence.pairs]
    known = _poses(evidence)
    frames = [_frame(evidence, compared, number, known[number], limits) for number in range(len(evidence.frames))]
    retake = sorted({one.frame for one in frames if any(each.retake for each in one.blemishes)})
    kit, head = evidence.plan.kit, evidence.plan.kit.head
    return Inspected(
        evidence.plan,
        frames,
        links,
        _lens(evidence),
        measure_head(evidence.frames, evidence.adjusted, head.pan.steps_per_degree, head.tilt.steps_per_degree),
        retake,
        _todo(frames, links),
        _notes(evidence, kit.exposure.bracket_ev),
    )


# What is compared


def _compared(evidence: Evidence, limits: Limits) -> Compared:
    count = len(evidence.frames)
    pairs: list[Pair] = []
    found: list[Sharper] = []
    lights: dict[int, tuple[list[Pair], list[float]]] = {}
    adjusted = evidence.adjusted
    for pair in evidence.findings:
        if contradicts(evidence.findings[pair]):
            continue
        rotations = adjusted.rotations[pair[0]], adjusted.rotations[pair[1]]
        number = evidence.linked.get(pair)
        if number is not None:
            matches, good = evidence.findings[pair].matches, adjusted.good[number]
            points = matches.first_px[good], matches.second_px[good]
            details = [evidence.details[frame] for frame in pair]
            clearer = sharper(details[0], details[1], points, adjusted.lens, rotations)
            if clearer is not None:
                pairs.append(pair)
                found.append(clearer)
        lit_both = [evidence.taken[frame].lit for frame in pair]
        shared = sorted(set(lit_both[0]) & set(lit_both[1]))
        common = (
            common_cells(lit_both[0][shared[0]], lit_both[1][shared[0]], adjusted.lens, rotations, evidence.circle_px)
            if shared
            else None
        )
        if common is None:
            continue
        for exposure in shared:
            ev = brighter_ev(lit_both[0][exposure], lit_both[1][exposure], common)
            if ev is not None:
                lights.setdefault(exposure, ([], []))
                lights[exposure][0].append(pair)
                lights[exposure][1].append(ev)
    return Compared(
        _turned(evidence, evidence.good_pairs(), limits),
        levels(
            count,
            pairs,
            [one.overall for one in found],
            [one.chosen or 0 for one in evidence.taken],
            [one.unsure for one in found],
        ),
        directions(count, pairs, found),
        {exposure: levels(count, *each, [0] * count) for exposure, each in lights.items()},
    )


def _turned(evidence: Evidence, good: Sequence[Pair], limits: Limits) -> Array:
    """Turns from the poses, in degrees in the world, less those of neighbours that are not turned themselves.

    What a whole neighbourhood has in common is the gear's wobble or a kit that is not exact, and no frame's fault.
    """
    adjusted, head = evidence.adjusted, evidence.plan.kit.head
    expected, _ = predicted(evidence.frames, pan_axis(head.lean_deg, head.lean_toward_deg), adjusted.head)
    own = np.degrees((expected @ turn_of(expected.transpose(0, 2, 1) @ adjusted.rotations)[:, :, None])[:, :, 0])
    own[adjusted.alone] = np.nan
    around: dict[int, set[int]] = {}
    for first, second in good:
        around.setdefault(first, set()).add(second)
        around.setdefault(second, set()).add(first)
    turned: set[int] = set()
    excess = np.full_like(own, np.nan)
    while True:
        for frame, others in around.items():
            sound = [other for other in others if other not in turned] or sorted(others)
            excess[frame] = own[frame] - np.median(own[sound], axis=0)
        size = np.linalg.norm(excess, axis=1)
        size[list(turned)] = np.nan
        if not np.any(size > limits.turned_deg):
            return excess
        turned.add(int(np.nanargmax(size)))


# Links


def _link(evidence: Evidence, compared: Compared, pair: Pair, limits: Limits) -> InspectedLink:
    first, second = (evidence.id_of(frame) for frame in pair)
    finding = evidence.findings.get(pair)
    if finding is None:
        missing = " and ".join(str(evidence.id_of(frame)) for frame in pair if evidence.taken[frame].path is None)
        return InspectedLink(first, second, LinkVerdict.NO_PICTURE, 0, math.nan, 0.0, f"No picture of frame {missing}.")
    number = evidence.linked.get(pair)
    good = 0 if number is None else int(evidence.adjusted.good[number].sum())
    rms = math.nan if number is None else float(evidence.adjusted.rms_px[number])
    verdict, sentence = _link_verdict(evidence, compared, pair, (good, rms), limits)
    return InspectedLink(first, second, verdict, good, rms, finding.differs, sentence)


def _link_verdict(
    evidence: Evidence, compared: Compared, pair: Pair, good: tuple[int, float], limits: Limits
) -> tuple[LinkVerdict, str]:
    finding, (points, rms_px) = evidence.findings[pair], good
    if contradicts(finding):
        return LinkVerdict.CONTRADICTS, "Both show detail where they overlap, but not the same."
    if finding.reason in {LinkReason.NOTHING_TO_SEE, LinkReason.NOTHING_COMMON, LinkReason.DIFFERENT}:
        return LinkVerdict.NOTHING_TO_SEE, "Sky, water or a plain wall: nothing to hold on to."
    if finding.reason is LinkReason.REPEATED:
        return LinkVerdict.WEAK, "The texture repeats, so that several shifts fit."
    turned = [frame for frame in pair if np.linalg.norm(compared.turned[frame]) > limits.turned_deg]
    if turned:
        which = " and ".join(str(evidence.id_of(frame)) for frame in turned)
        return LinkVerdict.CONTRADICTS, f"They agree, but frame {which} is turned away from its pose."
    if points < limits.points:
        return LinkVerdict.WEAK, f"Only {counted(points, 'point')} agree."
    if rms_px > limits.rms_px:
        return LinkVerdict.WEAK, f"The points fit no better than {rms_px:.1f} px."
    return LinkVerdict.LINKED, f"{points} points agree to {rms_px:.2f} px."


# Frames


def _poses(evidence: Evidence) -> list[tuple[PoseKnown, PoseKnown]]:
    """The commanded and the measured pose of each frame."""
    adjusted = evidence.adjusted
    measured = zip(angles_of(adjusted.rotations), poses_known(adjusted), strict=True)
    told = zip(angles_of(commanded(evidence.frames)), commanded_known(evidence.frames), strict=True)
    return [(_known(*one), _known(*other)) for one, other in zip(told, measured, strict=True)]


def _known(angles_deg: Array, sds_deg: Array) -> PoseKnown:
    yaw, pitch, roll = (Measured(float(angle), float(sd)) for angle, sd in zip(angles_deg, sds_deg, strict=True))
    return PoseKnown(yaw, pitch, roll)


def _frame(
    evidence: Evidence, compared: Compared, number: int, known: tuple[PoseKnown, PoseKnown], limits: Limits
) -> InspectedFrame:
    frame, taken = evidence.plan.frames[number], evidence.taken[number]
    detail = None if np.isnan(compared.detail[number]) else math.exp(compared.detail[number])
    brighter = [values[number] for values in compared.brighter.values() if not np.isnan(values[number])]
    blemishes = [
        *_picture_blemishes(evidence, number),
        *_pose_blemishes(evidence, compared, number, limits),
        *_blur_blemishes(compared, number, limits),
        *_light_blemishes(evidence, compared, number, limits),
    ]
    return InspectedFrame(
        frame=frame.id,
        row=frame.row,
        pass_number=getattr(frame, "pass_number", 1),
        file=None if taken.chosen is None else taken.name_of(taken.chosen),
        exposure=taken.chosen,
        size_px=evidence.size_px,
        commanded=known[0],
        measured=known[1],
        rotation=evidence.adjusted.rotations[number],
        alone=bool(evidence.adjusted.alone[number]),
        blemishes=tuple(sorted(blemishes, key=lambda one: list(FrameFault).index(one.fault))),
        detail=detail,
        brighter_ev=max(brighter, key=abs, default=None),
        dark=taken.lost[0],
        bright=taken.lost[1],
    )


def _picture_blemishes(evidence: Evidence, number: int) -> list[Blemish]:
    taken, frame = evidence.taken[number], evidence.id_of(number)
    found = [Blemish(FrameFault.UNREADABLE, 0, trouble) for trouble in taken.troubles.values()]
    if taken.path is None and not found:
        found.append(Blemish(FrameFault.NO_PICTURE, 0, f"Frame {frame} has no picture."))
    if number in evidence.explained.elsewhere:
        found.append(Blemish(FrameFault.ANOTHER_PLACE, 0, f"Frame {frame} shows something else than its neighbours."))
    for shown, place in evidence.explained.place_of.items():
        if shown != number:
            continue
        other = evidence.id_of(place)
        if number in evidence.explained.exchanged:
            sentence = f"The pictures of frames {frame} and {other} had changed places. They were exchanged."
            found.append(Blemish(FrameFault.SWAPPED, 0, sentence, retake=False, other=other))
        else:
            sentence = f"Frame {frame} shows the place of frame {other}."
            found.append(Blemish(FrameFault.ANOTHER_PLACE, 0, sentence, other=other))
    return found


def _pose_blemishes(evidence: Evidence, compared: Compared, number: int, limits: Limits) -> list[Blemish]:
    turned = float(np.linalg.norm(compared.turned[number]))
    if not turned > limits.turned_deg or evidence.adjusted.alone[number]:
        return []
    sentence = f"Frame {evidence.id_of(number)} is turned {turned:.2f}° away from its pose."
    return [Blemish(FrameFault.TURNED, turned, sentence, retake=turned > evidence.plan.proof.worst_margin_deg)]


def _blur_blemishes(compared: Compared, number: int, limits: Limits) -> list[Blemish]:
    overall, direction = compared.detail[number], float(np.linalg.norm(compared.direction[number]))
    if np.isnan(overall):
        return []
    least = math.exp(overall - direction)
    if least >= limits.detail:
        return []
    times = math.exp(2 * direction)
    if times > limits.moved:
        angle = math.degrees(math.atan2(compared.direction[number, 1], compared.direction[number, 0]) / 2) + 90
        way = (
            "sideways"
            if abs(math.remainder(angle, 180)) < 30
            else "up or down"
            if abs(angle % 180 - 90) < 30
            else "askew"
        )
        return [Blemish(FrameFault.MOVED, times, f"moved {way} during the exposure: {least:.0%} of the detail is left.")]
    if math.exp(overall) >= limits.detail:
        return []
    return [Blemish(FrameFault.SOFT, math.exp(overall), f"shows {math.exp(overall):.0%} of its neighbours' detail.")]


def _light_blemishes(evidence: Evidence, compared: Compared, number: int, limits: Limits) -> list[Blemish]:
    found = []
    for exposure, values in sorted(compared.brighter.items()):
        if abs(values[number]) > limits.brighter_ev:
            word = "brighter" if values[number] > 0 else "darker"
            sentence = f"exposure {exposure} is {abs(values[number]):.1f} EV {word} than its neighbours."
            found.append(Blemish(FrameFault.BRIGHTNESS, float(values[number]), sentence))
    taken, planned = evidence.taken[number], evidence.plan.kit.exposure.bracket_ev
    for darker, brighter in pairwise(sorted(taken.greys, key=lambda exposure: planned[exposure])):
        wanted = planned[brighter] - planned[darker]
        step = bracket_step_ev(taken.greys[darker], taken.greys[brighter])
        if step is not None and abs(step - wanted) > max(limits.step_ev, abs(wanted) / 2):
            sentence = f"exposure {brighter} is {step:+.1f} EV from exposure {darker}, planned {wanted:+.1f} EV."
            found.append(Blemish(FrameFault.BRACKET, step - wanted, sentence))
    if max(taken.lost) > limits.clipped and taken.chosen is not None:
        dark, bright = taken.lost
        sentence = f"{bright:.0%} is clipped and {dark:.0%} is black even in exposure {taken.chosen}, which shows most."
        found.append(Blemish(FrameFault.CLIPPED, max(taken.lost), sentence, retake=False))
    return found


# The set


def _lens(evidence: Evidence) -> LensMeasured:
    adjusted = evidence.adjusted
    sds = np.sqrt(np.diag(adjusted.lens_covariance()))
    corner_px = math.hypot(*evidence.size_px) / 2
    common = {
        "focal_px": COMMON_PX / corner_px * adjusted.lens.focal_px,
        "centre_x_px": COMMON_PX,
        "centre_y_px": COMMON_PX,
    }
    terms = {
        term: Measured(float(getattr(adjusted.lens, term)), math.hypot(sd, common.get(term, 0.0)))
        for term, sd in zip(adjusted.terms, sds, strict=True)
    }
    focal = terms.get("focal_px")
    per_mm = _pixels_per_mm(evidence)
    return LensMeasured(
        adjusted.lens, terms, None if focal is None else Measured(focal.value / per_mm, focal.sd / per_mm)
    )


def _pixels_per_mm(evidence: Evidence) -> float:
    camera = evidence.plan.kit.camera
    return evidence.size_px[0] / camera.used_mm[camera.mounted == "portrait"]


def _todo(frames: Sequence[InspectedFrame], links: Sequence[InspectedLink]) -> list[str]:
    """What to do, worst first."""
    order = list(FrameFault)
    found = [(order.index(each.fault), -abs(each.size), one.frame, each) for one in frames for each in one.blemishes]
    said = [_about(frame, each) for _, _, frame, each in sorted(found, key=lambda one: one[:3])]
    weak = [link for link in links if link.verdict is LinkVerdict.WEAK]
    said += [f"Frames {link.first} and {link.second}: {link.sentence}" for link in weak]
    return said


def _about(frame: int, blemish: Blemish) -> str:
    return blemish.sentence if blemish.sentence.startswith(("Frame", "The")) else f"Frame {frame}: {blemish.sentence}"


def _notes(evidence: Evidence, bracket: Sequence[float]) -> list[str]:
    alone = [
        evidence.id_of(number)
        for number, unheld in enumerate(evidence.adjusted.alone)
        if unheld and evidence.taken[number].path is not None
    ]
    notes = []
    if alone:
        numbers = ", ".join(map(str, alone))
        notes.append(f"Held by no link, so the commanded pose counts: frame{'s' if len(alone) > 1 else ''} {numbers}.")
    del bracket
    return notes


def lens_words(lens: BrownLens) -> str:
    """A lens in one line."""
    return f"{lens.projection}, {lens.focal_px:.1f} px"
