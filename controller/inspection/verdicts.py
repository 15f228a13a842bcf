"""From evidence to verdicts on a whole set."""

import math

import numpy as np

from controller.inspection.evidence import SetEvidence, compare
from controller.inspection.expected import pixels_per_mm
from controller.inspection.frame_verdicts import judge_frame, poses
from controller.inspection.head_measured import Measured, measure_head
from controller.inspection.inspected import (
    Inspected,
    LensMeasured,
)
from controller.inspection.limits import Limits
from controller.inspection.link_verdicts import judge_link
from controller.inspection.near_points import NoPupil
from controller.inspection.set_words import notes_of, todo_of

COMMON_PX = 0.02  # of error at a corner that all matches of a set share: they are interpolated. From simulated sets


def judged(evidence: SetEvidence, limits: Limits) -> Inspected:
    """The verdicts on a set."""
    compared = compare(evidence, limits)
    links = [judge_link(evidence, compared, pair, limits) for pair in evidence.pairs]
    known = poses(evidence)
    frames = [judge_frame(evidence, compared, number, known[number], limits) for number in range(len(evidence.frames))]
    retake = sorted({one.frame for one in frames if any(each.retake for each in one.blemishes)})
    head = evidence.plan.kit.head
    return Inspected(
        evidence.plan,
        frames,
        links,
        _lens(evidence),
        measure_head(evidence.frames, evidence.adjusted, head.pan.steps_per_degree, head.tilt.steps_per_degree),
        retake,
        todo_of(frames, links, limits),
        notes_of(evidence, frames),
        evidence.orientation,
        [frame for frame, alone in zip(evidence.frames, evidence.adjusted.alone, strict=True) if not alone],
    )


def _lens(evidence: SetEvidence) -> LensMeasured:
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
    per_mm = pixels_per_mm(evidence.plan.kit, evidence.size_px)
    focal_mm = None if focal is None else Measured(focal.value / per_mm, focal.sd / per_mm)
    pupil = evidence.pupil
    if isinstance(pupil, NoPupil):
        return LensMeasured(adjusted.lens, terms, focal_mm, pupil_reason=pupil.value)
    return LensMeasured(
        adjusted.lens, terms, focal_mm, pupil.ahead_mm, pupil.right_mm, pupil.ahead_share,
        "" if pupil.ahead_mm is not None else "only a known length turns it into millimetres",
    )  # fmt: skip
