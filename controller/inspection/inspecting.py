"""Inspect a whole set: from the files that were paired with a session to a verdict on each frame and link."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from controller.amounts import counted
from controller.errors import InputError
from controller.inspection.adjustment import Adjusted, adjust
from controller.inspection.evidence import SetEvidence
from controller.inspection.expected import circle_px, fits_camera, head_frames, lens_of, neighbours, views_of
from controller.inspection.inspected import Inspected
from controller.inspection.kit_priors import priors_of
from controller.inspection.lens_model import BrownLens
from controller.inspection.limits import Limits
from controller.inspection.linking import Pair, find_all
from controller.inspection.links import link_of
from controller.inspection.near_points import NoPupil
from controller.inspection.overlap import FrameView
from controller.inspection.picture_source import PictureSource
from controller.inspection.points import LinkFinding
from controller.inspection.pose_checks import as_sure_as_seen
from controller.inspection.poses import HeadFrame, pan_axis
from controller.inspection.problem import Priors
from controller.inspection.pupil import LevelGround, NearestThings, PupilFound, adjust_with_pupil
from controller.inspection.share_done import ShareDone, Stage, expected_s
from controller.inspection.suspects import AGREEING, Explained, contradicts, explain, suspects_in
from controller.inspection.taken import SharedFacts, TakenFrame, choose, glance, preview_note, shared_facts, taken_frames
from controller.inspection.verdicts import judged
from controller.inspection.workers import Workers
from controller.kit.kit import Head
from controller.matching.matched import Matched
from controller.planning.plan import Plan
from controller.progress import Begin

KnownLength = NearestThings | LevelGround
SMALLEST_PX = 160  # of the short side: smaller pictures share too few pixels to tell what contradicts
STRANGE_SHARE, FEWEST_STRANGE = 0.5, 6  # more frames than this agree with none, in so many links: other pictures


@dataclass(frozen=True, slots=True, eq=False)
class Looked:
    """All links of a set, and what the frames show that contradict them."""

    findings: dict[Pair, LinkFinding]
    explained: Explained


@dataclass(frozen=True, slots=True, eq=False)
class AdjustedSet:
    """The pictures of a set after the adjustment, and what was found on the way.

    `frames` are those of the plan in its order, with the head's uncertainty as the pictures show it. `numbers` has the
    number of each link in `adjusted`. `circle_px` is the radius of the image circle, None without one. `done` is told of
    the work that follows.
    """

    plan: Plan
    taken: list[TakenFrame]
    frames: Sequence[HeadFrame]
    shared: SharedFacts
    circle_px: float | None
    pairs: Sequence[Pair]
    looked: Looked
    numbers: dict[Pair, int]
    adjusted: Adjusted
    source: PictureSource
    pupil: PupilFound | NoPupil
    done: ShareDone


def inspect_set(
    found: Matched, folder: Path, limits: Limits, begin: Begin, known: KnownLength | None = None
) -> Inspected:
    """Inspect the pictures that `match` paired with a session. Nothing is written.

    With a `known` length, the entrance pupil's offset comes in millimetres.

    Raises InputError as `adjust_set` does.
    """
    one = adjust_set(found, folder, begin, known)
    evidence = SetEvidence(
        one.plan, one.taken, one.frames, one.shared.size_px, one.pairs, one.looked.findings, one.looked.explained,
        one.numbers, one.adjusted, one.source.details, one.circle_px, one.shared.orientation, one.pupil,
        one.shared.turned,
    )  # fmt: skip
    result = judged(evidence, limits)
    one.done.finish()
    return replace(result, notes=[*preview_note(one.taken, one.shared), *result.notes])


def adjust_set(found: Matched, folder: Path, begin: Begin, known: KnownLength | None = None) -> AdjustedSet:
    """Read the pictures that `match` paired with a session, find their links and adjust them together.

    `begin` is told the number of equal parts of the work and returns what to call after each. Raises InputError if no
    picture can be read, if they are not of the kit's camera, if they show something else than the session shot, and if
    memory runs out.
    """
    plan = found.plan
    taken = taken_frames(plan.frames, found.lines, folder)
    shared = shared_facts(taken)
    _must_fit(plan, shared, folder)
    lens, circle = lens_of(plan.kit, shared.size_px), circle_px(plan.kit, shared.size_px)
    bracket_ev = plan.kit.exposure.bracket_ev
    told = head_frames(plan, {one.frame.id: next(iter(one.lines.values())) for one in taken if one.lines}, plan.frames)
    pairs = neighbours(plan, told)
    with Workers() as workers:
        done = ShareDone(_expected_s(taken, pairs, shared, workers.count), begin)
        for number, _ in enumerate(workers.in_order(lambda one: glance(one, shared, circle, bracket_ev), taken), 1):
            done.reached(Stage.GLANCES, number, len(taken))
    choose(taken)
    source = PictureSource(taken, shared)
    views = views_of(told, lens, shared.size_px, circle)
    there = [pair for pair in pairs if all(taken[frame].path is not None for frame in pair)]
    findings = dict(_watched(find_all(views, there, source), len(there), source, done))
    _must_be_this_set(findings, folder)
    looked = _look(findings, views, taken, source)
    priors = priors_of(plan.kit, (), lens, shared.size_px)
    frames, adjusted, numbers, pupil = _adjusted(plan.kit.head, told, looked, lens, priors, known, done)
    return AdjustedSet(plan, taken, frames, shared, circle, pairs, looked, numbers, adjusted, source, pupil, done)


def _expected_s(
    taken: Sequence[TakenFrame], pairs: Sequence[Pair], shared: SharedFacts, threads: int
) -> dict[Stage, float]:
    there = [one for one in taken if one.paths]
    megapixels = math.prod(shared.size_px) / 1e6
    return expected_s(sum(len(one.paths) for one in there), len(there), len(pairs), megapixels, threads)


def _must_fit(plan: Plan, shared: SharedFacts, folder: Path) -> None:
    if min(shared.size_px) < SMALLEST_PX:
        raise InputError(
            f"{folder}: its pictures are {shared.size_px[0]} x {shared.size_px[1]} pixels upright, too small to compare. "
            "Give them as the camera wrote them."
        )
    if not fits_camera(plan.kit, shared.size_px):
        wide, high = plan.kit.camera.used_mm
        raise InputError(
            f"{folder}: its pictures are {shared.size_px[0]} x {shared.size_px[1]} pixels upright, which is not the "
            f"shape of the kit's, {wide:g} x {high:g} mm mounted in {plan.kit.camera.mounted}. Give the uncropped "
            "pictures of this run, or correct `mounted` in the kit."
        )


def _look(
    findings: dict[Pair, LinkFinding], views: Sequence[FrameView], taken: list[TakenFrame], source: PictureSource
) -> Looked:
    """Explain what contradicts. Pictures that only changed places are exchanged in `taken` and looked at there."""
    explained = explain(suspects_in(findings), views, findings, source)
    moved = explained.exchanged
    if moved:
        was = {frame: (taken[frame], source.details.pop(frame)) for frame in moved}
        for frame, place in moved.items():
            taken[place] = TakenFrame(taken[place].frame, was[frame][0].lines)
            taken[place].adopt(was[frame][0])
        again = [pair for pair in findings if set(pair) & set(moved)]
        findings = findings | dict(find_all(views, again, source))
    return Looked(findings, explained)


def _watched(
    found: Iterable[tuple[Pair, LinkFinding]], count: int, source: PictureSource, done: ShareDone
) -> Iterable[tuple[Pair, LinkFinding]]:
    """The same findings; `done` hears of each, and of the pictures read meanwhile."""
    for number, finding in enumerate(found, 1):
        done.reached(Stage.PICTURES, len(source.details), source.readable)
        done.reached(Stage.LINKS, number, count)
        yield finding


def _strange(findings: dict[Pair, LinkFinding]) -> bool:
    """Whether links contradict each other all over the set, so that these are pictures of something else.

    Frames count, not links: in a small set two spoilt frames touch most links, but the others still agree.
    """
    against = [pair for pair, finding in findings.items() if contradicts(finding)]
    agreeing = {frame for pair, finding in findings.items() if finding.reason in AGREEING for frame in pair}
    showing = agreeing | {frame for pair in against for frame in pair}
    return len(against) >= FEWEST_STRANGE and len(agreeing) < (1 - STRANGE_SHARE) * len(showing)


def _must_be_this_set(findings: dict[Pair, LinkFinding], folder: Path) -> None:
    if _strange(findings):
        against = sum(contradicts(finding) for finding in findings.values())
        raise InputError(
            f"{folder}: these pictures do not show what the session shot: {counted(against, 'pair')} of neighbours "
            "show different things. Give the card of this run."
        )


def _adjusted(
    head: Head,
    frames: Sequence[HeadFrame],
    looked: Looked,
    lens: BrownLens,
    priors: Priors,
    known: KnownLength | None,
    done: ShareDone,
) -> tuple[Sequence[HeadFrame], Adjusted, dict[Pair, int], PupilFound | NoPupil]:
    """The frames with the head's uncertainty as the pictures show it, the set adjusted, each link's number in it, and the
    entrance pupil.
    """
    agreeing = [pair for pair, finding in looked.findings.items() if finding.reason in AGREEING]
    links = [link_of(*pair, looked.findings[pair].matches) for pair in agreeing]
    axis = pan_axis(head.lean_deg, head.lean_toward_deg)
    adjusted = adjust(frames, links, lens, axis, priors)
    done.reached(Stage.FIT)
    frames = as_sure_as_seen(frames, adjusted)
    adjusted, pupil = adjust_with_pupil(frames, links, lens, axis, known, priors, before=adjusted)
    done.reached(Stage.REFIT)
    return frames, adjusted, {pair: number for number, pair in enumerate(agreeing)}, pupil
