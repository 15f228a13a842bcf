"""From evidence to verdicts on a whole set."""

import math
from collections.abc import Sequence

import numpy as np

from controller.inspection.evidence import Evidence, compare
from controller.inspection.frame_verdicts import judge_frame, poses
from controller.inspection.head_measured import Measured, measure_head
from controller.inspection.inspected import (
    Blemish,
    FrameFault,
    Inspected,
    InspectedFrame,
    InspectedLink,
    LensMeasured,
    LinkVerdict,
)
from controller.inspection.lens_model import BrownLens
from controller.inspection.limits import Limits
from controller.inspection.link_verdicts import judge_link

COMMON_PX = 0.02  # of error at a corner that all matches of a set share: they are interpolated. From simulated sets


def judged(evidence: Evidence, limits: Limits) -> Inspected:
    """The verdicts on a set."""
    compared = compare(evidence, limits)
    links = [judge_link(evidence, compared, pair, limits) for pair in evidence.pairs]
    known = poses(evidence)
    frames = [judge_frame(evidence, compared, number, known[number], limits) for number in range(len(evidence.frames))]
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
