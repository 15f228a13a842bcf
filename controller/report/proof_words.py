"""The numbers of an inspected set in words: of a frame and of a link."""

import math
import re
from collections.abc import Collection, Sequence

from controller.amounts import counted
from controller.inspection.head_measured import Measured
from controller.inspection.inspected import Inspected, InspectedFrame, InspectedLink, PoseKnown
from controller.report.proof_signs import LINK_SIGNS

Line = tuple[str, str]
"""A name and a value with its unit."""

FRAMES_IN_TEXT = re.compile(r"\bframes?\s+((?:\d+(?:\s*,\s*(?:and\s+)?|\s+and\s+)?)+)", re.IGNORECASE)


def with_uncertainty(measured: Measured) -> str:
    """An angle in degrees with its standard uncertainty, rounded to two figures of that: 12.34° ± 0.12°."""
    if not (math.isfinite(measured.sd) and measured.sd > 0):
        return f"{measured.value:.7g}°"
    digits = max(0, 1 - math.floor(math.log10(measured.sd)))
    value = round(measured.value, digits) + 0.0  # without minus zero
    return f"{value:.{digits}f}° ± {measured.sd:.{digits}f}°"


def pose_text(pose: PoseKnown) -> str:
    """Yaw, pitch and roll with their standard uncertainties."""
    angles = (("yaw", pose.yaw), ("pitch", pose.pitch), ("roll", pose.roll))
    return ", ".join(f"{name} {with_uncertainty(angle)}" for name, angle in angles)


def link_text(link: InspectedLink) -> str:
    """The verdict of a link with its numbers."""
    parts = [f"{LINK_SIGNS[link.verdict].word}: {counted(link.points, 'point')}"]
    if math.isfinite(link.rms_px):
        parts.append(f"rms {link.rms_px:.2f} px")
    if math.isfinite(link.differs) and link.differs > 0:
        parts.append(f"{percent(link.differs)} of the overlap differs")
    return ", ".join(parts) + "."


def percent(share: float) -> str:
    """A share in per cent, with two figures if it is small."""
    return f"{100 * share:.2g} %" if share < 0.1 else f"{100 * share:.0f} %"


def frame_lines(frame: InspectedFrame, links: Sequence[InspectedLink]) -> list[Line]:
    """The numbers of a frame. `links` are its own."""
    points = sum(link.points for link in links)
    good = [link for link in links if link.points and math.isfinite(link.rms_px)]
    held = sum(link.points for link in good)
    lines = [("file", frame.file or "none"), ("row", str(frame.row))]
    if frame.pass_number > 1:
        lines.append(("pass", str(frame.pass_number)))
    if frame.exposure is not None:
        lines.append(("exposure examined", str(frame.exposure)))
    if frame.file is not None:
        lines.append(("size", f"{frame.size_px[0]} x {frame.size_px[1]} px"))
    lines.append(("commanded pose", pose_text(frame.commanded)))
    lines.append(("measured pose", "the commanded one: no link holds it" if frame.alone else pose_text(frame.measured)))
    lines.append(("points", f"{points} in {counted(len(links), 'link')}"))
    if held:
        rms = math.sqrt(sum(link.points * link.rms_px**2 for link in good) / held)
        lines.append(("rms", f"{rms:.2f} px"))
    if frame.detail is not None:
        lines.append(("sharpness", f"{percent(frame.detail)} of its neighbours'"))
    if frame.brighter_ev is not None:
        lines.append(("brightness", f"{frame.brighter_ev:+.2f} EV against its neighbours"))
    if frame.file is not None:
        lines.append(("clipped", f"{percent(frame.dark)} dark, {percent(frame.bright)} bright"))
    return lines


def frames_named(sentence: str, known: Collection[int]) -> list[int]:
    """The frames that a sentence names after the word "frame" or "frames", each once, if the set has them."""
    found = [int(number) for match in FRAMES_IN_TEXT.finditer(sentence) for number in re.findall(r"\d+", match[1])]
    return [number for number in dict.fromkeys(found) if number in known]


def headline(inspected: Inspected, frames: int) -> str:
    """The whole set in one sentence."""
    again = len(set(inspected.retake))
    if again:
        return f"Shoot {counted(again, 'frame')} again before packing up: {numbers(inspected.retake)}."
    if inspected.todo:
        return f"No frame must be shot again. {counted(len(inspected.todo), 'thing')} to look at."
    return f"All {counted(frames, 'frame')} are there and agree." if frames > 1 else "The frame is there."


def numbers(frames: Collection[int], most: int = 12) -> str:
    """Frames by number, the first `most` of them."""
    known = sorted(set(frames))
    rest = len(known) - most
    return ", ".join(map(str, known[:most])) + (f" and {rest} more" if rest > 0 else "")
