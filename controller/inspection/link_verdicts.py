"""The verdict on each link."""

import math

import numpy as np

from controller.amounts import counted
from controller.inspection.evidence import Compared, SetEvidence
from controller.inspection.inspected import (
    InspectedLink,
    LinkVerdict,
)
from controller.inspection.limits import Limits
from controller.inspection.linking import Pair
from controller.inspection.points import LinkReason
from controller.inspection.suspects import SAME_PEAK, agrees, contradicts


def judge_link(evidence: SetEvidence, compared: Compared, pair: Pair, limits: Limits) -> InspectedLink:
    """The verdict on a pair of neighbours."""
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
    evidence: SetEvidence, compared: Compared, pair: Pair, good: tuple[int, float], limits: Limits
) -> tuple[LinkVerdict, str]:
    finding, (points, rms_px) = evidence.findings[pair], good
    unlike = finding.peak < SAME_PEAK  # else a horizon may explain it, unless one of the frames was found out
    if contradicts(finding) and (unlike or evidence.explained.misplaced & {*pair}):
        return LinkVerdict.CONTRADICTS, "Both show detail where they overlap, but not the same."
    if finding.reason is LinkReason.NOTHING_TO_SEE or (unlike and not agrees(finding)):
        return LinkVerdict.NOTHING_TO_SEE, "Sky, water or a plain wall: no detail to match."
    if finding.reason is LinkReason.REPEATED:
        return LinkVerdict.WEAK, "Several shifts fit: the texture repeats, or it is a line like the horizon."
    turned = [frame for frame in pair if np.linalg.norm(compared.turned[frame]) > limits.turned_deg]
    if turned:
        which = " and ".join(str(evidence.id_of(frame)) for frame in turned)
        return LinkVerdict.CONTRADICTS, f"They agree, but frame {which} is turned away from its pose."
    if points < limits.points:
        return LinkVerdict.WEAK, f"Only {counted(points, 'point')} agree."
    if rms_px > limits.rms_px:
        return LinkVerdict.WEAK, f"The points fit no better than {rms_px:.1f} px."
    return LinkVerdict.LINKED, f"{points} points agree to {rms_px:.2f} px."
