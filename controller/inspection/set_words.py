"""What to do about a set, worst first, and what else there is to say of it."""

from collections.abc import Iterator, Sequence

import numpy as np

from controller.amounts import counted
from controller.inspection.evidence import SetEvidence
from controller.inspection.inspected import Blemish, FrameFault, InspectedFrame, InspectedLink, LinkVerdict
from controller.inspection.limits import Limits
from controller.planning.cores import cores_at
from controller.planning.coverage import prove_coverage

MOST_NAMED = 30  # frames that a sentence names
MISSING = frozenset({FrameFault.NO_PICTURE, FrameFault.UNREADABLE, FrameFault.ANOTHER_PLACE})


def todo_of(frames: Sequence[InspectedFrame], links: Sequence[InspectedLink], limits: Limits) -> list[str]:
    """What to do or to look at, worst first: faults of frames, weak links, then what moved."""
    order = list(FrameFault)
    found = [(order.index(each.fault), -abs(each.size), one.frame, each) for one in frames for each in one.blemishes]
    said = [_about(frame, each) for _, _, frame, each in sorted(found, key=lambda one: one[:3])]
    weak = [link for link in links if link.verdict is LinkVerdict.WEAK]
    moving = [link for link in links if link.verdict is LinkVerdict.LINKED and link.differs > limits.differs]
    said += [f"Frames {link.first} and {link.second}: {_lowered(link.sentence)}" for link in weak]
    said += [
        f"Frames {link.first} and {link.second} differ in {link.differs:.0%} of their overlap: people, cars or leaves?"
        for link in sorted(moving, key=lambda link: -link.differs)
    ]
    return list(dict.fromkeys(said))


def _about(frame: int, blemish: Blemish) -> str:
    named = blemish.sentence.startswith("Frame") or blemish.fault in {FrameFault.UNREADABLE, FrameFault.SWAPPED}
    return blemish.sentence if named else f"Frame {frame}: {blemish.sentence}"


def _lowered(sentence: str) -> str:
    return sentence[0].lower() + sentence[1:]


def notes_of(evidence: SetEvidence, frames: Sequence[InspectedFrame]) -> list[str]:
    """What else there is to say."""
    return [*_coverage(evidence, frames), *_unheld(evidence), *_turned(evidence.turned_files), *_passes(frames)]


def _turned(files: Sequence[str]) -> Iterator[str]:
    """What was done about pictures that the camera would show turned otherwise than most."""
    if len(files) > MOST_NAMED:
        yield f"{len(files)} files have another orientation than the others. All were turned alike."
    elif files:
        yield f"{', '.join(files)}: the camera noted another orientation. All pictures were turned alike."


def _coverage(evidence: SetEvidence, frames: Sequence[InspectedFrame]) -> Iterator[str]:
    """Whether the pictures leave a hole, by their measured poses."""
    there = [
        frame for frame in frames if frame.file is not None and not MISSING & {each.fault for each in frame.blemishes}
    ]
    if not there:
        return
    poses = [np.array([getattr(frame.measured, name).value for frame in there]) for name in ("yaw", "pitch", "roll")]
    proof = prove_coverage(cores_at(evidence.plan.kit.field(0.0), *poses), evidence.plan.region.bounds())
    if proof.covered:
        yield "By their measured poses, the pictures cover the whole region."
    else:
        yield (
            f"By their measured poses, the pictures leave a hole at yaw {proof.worst_yaw_deg:.0f}°, pitch "
            f"{proof.worst_pitch_deg:.0f}°."
        )


def _unheld(evidence: SetEvidence) -> Iterator[str]:
    alone = [
        evidence.id_of(number)
        for number, unheld in enumerate(evidence.adjusted.alone)
        if unheld and evidence.taken[number].path is not None
    ]
    if alone:
        yield f"No link holds {_named(alone)}, so the commanded pose counts."


def _passes(frames: Sequence[InspectedFrame]) -> Iterator[str]:
    for number in sorted({frame.pass_number for frame in frames} - {1}):
        here = [frame for frame in frames if frame.pass_number == number and frame.least_different]
        better = [frame.repeats for frame in here if frame.repeats is not None]
        if better:
            yield f"Pass {number} differs least from its neighbours for {_named(better)}."


def _named(frames: Sequence[int]) -> str:
    if len(frames) > MOST_NAMED:
        return counted(len(frames), "frame")
    return f"frame{'s' if len(frames) > 1 else ''} {', '.join(map(str, frames))}"
