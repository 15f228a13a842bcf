"""What is wrong with each frame, and how large it is."""

import math

import numpy as np

from controller.inspection.evidence import Compared, SetEvidence
from controller.inspection.head_measured import Measured
from controller.inspection.inspected import (
    Blemish,
    FrameFault,
    InspectedFrame,
    PoseKnown,
)
from controller.inspection.lens_model import Array
from controller.inspection.limits import Limits
from controller.inspection.pose_checks import commanded_known, poses_within
from controller.inspection.poses import angles_of, commanded

# Ways of a motion, each 45 degrees further clockwise from the picture's right than the one before, by the direction
# across it: that in which most detail is left.
WAYS = ("up or down", "diagonally", "sideways", "diagonally")


def poses(evidence: SetEvidence) -> list[tuple[PoseKnown, PoseKnown]]:
    """The commanded and the measured pose of each frame."""
    adjusted = evidence.adjusted
    measured = zip(angles_of(adjusted.rotations), poses_within(adjusted), strict=True)
    told = zip(angles_of(commanded(evidence.frames)), commanded_known(evidence.frames), strict=True)
    return [(_known(*one), _known(*other)) for one, other in zip(told, measured, strict=True)]


def _known(angles_deg: Array, sds_deg: Array) -> PoseKnown:
    yaw, pitch, roll = (Measured(float(angle), float(sd)) for angle, sd in zip(angles_deg, sds_deg, strict=True))
    return PoseKnown(yaw, pitch, roll)


def judge_frame(
    evidence: SetEvidence, compared: Compared, number: int, known: tuple[PoseKnown, PoseKnown], limits: Limits
) -> InspectedFrame:
    """The verdict on a frame."""
    frame, taken = evidence.plan.frames[number], evidence.taken[number]
    detail = None if np.isnan(compared.detail[number]) else math.exp(compared.detail[number])
    brighter = [values[number] for values in compared.brighter.values() if not np.isnan(values[number])]
    light = _light_blemishes(evidence, compared, number, limits)
    blemishes = [
        *_picture_blemishes(evidence, number),
        *_pose_blemishes(evidence, compared, number, limits),
        # An exposure that is off has other noise, which looks like lost detail. The frame is to be shot again anyway.
        *(
            []
            if any(each.fault is FrameFault.BRIGHTNESS for each in light)
            else _blur_blemishes(compared, number, limits)
        ),
        *light,
    ]
    return InspectedFrame(
        frame=frame.id,
        row=frame.row,
        pass_number=frame.pass_number,
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
        repeats=frame.repeats,
        least_different=compared.least_different[number],
    )


def _picture_blemishes(evidence: SetEvidence, number: int) -> list[Blemish]:
    taken, frame = evidence.taken[number], evidence.id_of(number)
    found = [Blemish(FrameFault.UNREADABLE, 0, trouble) for trouble in taken.troubles.values()]
    if taken.path is None and not found:
        found.append(Blemish(FrameFault.NO_PICTURE, 0, f"Frame {frame} has no picture."))
    if number in evidence.explained.elsewhere:
        found.append(Blemish(FrameFault.ANOTHER_PLACE, 0, f"Frame {frame} shows something other than its neighbours."))
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


def _pose_blemishes(evidence: SetEvidence, compared: Compared, number: int, limits: Limits) -> list[Blemish]:
    turned = float(np.linalg.norm(compared.turned[number]))
    if not turned > limits.turned_deg or evidence.adjusted.alone[number]:
        return []
    sentence = f"Frame {evidence.id_of(number)} is turned {turned:.2f}° away from its pose."
    return [Blemish(FrameFault.TURNED, turned, sentence, retake=turned > evidence.plan.proof.worst_margin_deg)]


def _blur_blemishes(compared: Compared, number: int, limits: Limits) -> list[Blemish]:
    overall, direction = compared.detail[number], float(np.linalg.norm(compared.direction[number]))
    if not math.exp(overall) < limits.detail:
        return []
    share = direction / -overall
    if share <= limits.moved:
        return [Blemish(FrameFault.SOFT, math.exp(overall), f"shows {math.exp(overall):.0%} of its neighbours' detail.")]
    most = math.atan2(compared.direction[number, 1], compared.direction[number, 0]) / 2
    way = WAYS[round(math.degrees(most) / 45) % len(WAYS)]
    left = math.exp(overall - direction)
    return [
        Blemish(FrameFault.MOVED, share, f"moved {way} during the exposure: {left:.0%} of the detail is left that way.")
    ]


def _light_blemishes(evidence: SetEvidence, compared: Compared, number: int, limits: Limits) -> list[Blemish]:
    found = []
    for exposure, values in sorted(compared.brighter.items()):
        if abs(values[number]) > limits.brighter_ev:
            word = "brighter" if values[number] > 0 else "darker"
            sentence = f"exposure {exposure} is {abs(values[number]):.1f} EV {word} than its neighbours."
            found.append(Blemish(FrameFault.BRIGHTNESS, float(values[number]), sentence))
    taken, planned = evidence.taken[number], evidence.plan.kit.exposure.bracket_ev
    for (darker, brighter), step in taken.steps_ev.items():
        wanted = planned[brighter] - planned[darker]
        if abs(step - wanted) > max(limits.step_ev, abs(wanted) / 2):
            sentence = f"exposure {brighter} is {step:+.1f} EV from exposure {darker}, planned {wanted:+.1f} EV."
            found.append(Blemish(FrameFault.BRACKET, step - wanted, sentence))
    if max(taken.lost) > limits.clipped and taken.chosen is not None:
        dark, bright = taken.lost
        sentence = f"{bright:.0%} is clipped and {dark:.0%} is black even in exposure {taken.chosen}, which shows most."
        found.append(Blemish(FrameFault.CLIPPED, max(taken.lost), sentence, retake=False))
    return found
