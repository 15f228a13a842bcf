"""How the proof sheet tells frames and links apart: a word, a sign and a line of their own, and only then a colour.

The colours can be told apart by colour-blind eyes (M. Okabe and K. Ito, "Color Universal Design", 2008).
"""

from dataclasses import dataclass
from enum import StrEnum

from controller.inspection.inspected import FrameFault, InspectedFrame, LinkVerdict
from controller.inspection.unrolled import has_picture


class FrameState(StrEnum):
    """What to think of a frame, worst first."""

    MISSING = "missing"
    RETAKE = "retake"
    LOOK = "look"
    ALONE = "alone"
    SOUND = "sound"


@dataclass(frozen=True, slots=True)
class DrawnSign:
    """A sign for a drawing: its word, one character, the dashes of its line (SVG stroke-dasharray), width and colour."""

    word: str
    sign: str
    dashes: str
    width: float
    colour: str
    meaning: str


LINK_SIGNS: dict[LinkVerdict, DrawnSign] = {
    LinkVerdict.CONTRADICTS: DrawnSign(
        "contradicts", "×", "2 3", 4.0, "#ff7a33", "The pictures do not agree with the poses."
    ),
    LinkVerdict.NO_PICTURE: DrawnSign("no picture", "○", "1 6", 3.0, "#e9a3c9", "One of the two has no picture."),
    LinkVerdict.WEAK: DrawnSign("weak", "~", "9 4", 3.0, "#f0e442", "Too few points agree to trust the link."),
    LinkVerdict.NOTHING_TO_SEE: DrawnSign("nothing to see", "–", "1 4", 2.0, "#d0d0d0", "Clear sky or a bare wall."),
    LinkVerdict.LINKED: DrawnSign("linked", "+", "none", 1.5, "#56b4e9", "Matching points hold the two frames."),
}

FRAME_SIGNS: dict[FrameState, DrawnSign] = {
    FrameState.MISSING: DrawnSign("missing", "○", "2 4", 2.5, "#e9a3c9", "There is no picture that can be read."),
    FrameState.RETAKE: DrawnSign("shoot again", "!", "8 3", 3.0, "#ff7a33", "Shoot this frame again."),
    FrameState.LOOK: DrawnSign("look", "?", "12 3 2 3", 2.0, "#f0e442", "Something is not right; look at the picture."),
    FrameState.ALONE: DrawnSign(
        "by its pose", "–", "1 4", 1.5, "#d0d0d0", "No link holds it: it is where the head put it."
    ),
    FrameState.SOUND: DrawnSign("sound", "", "none", 1.0, "#ffffff", "Nothing was found wrong."),
}

FAULT_WORDS: dict[FrameFault, str] = {
    FrameFault.NO_PICTURE: "no picture",
    FrameFault.UNREADABLE: "cannot be read",
    FrameFault.ANOTHER_PLACE: "shows another place",
    FrameFault.SWAPPED: "swapped",
    FrameFault.TURNED: "turned",
    FrameFault.MOVED: "moved while exposed",
    FrameFault.SOFT: "soft",
    FrameFault.BRIGHTNESS: "brightness",
    FrameFault.BRACKET: "bracket",
    FrameFault.CLIPPED: "clipped",
}


def state_of(frame: InspectedFrame) -> FrameState:
    """The state of a frame, by its worst blemish."""
    if not has_picture(frame):
        return FrameState.MISSING
    if any(blemish.retake for blemish in frame.blemishes):
        return FrameState.RETAKE
    if frame.blemishes:
        return FrameState.LOOK
    return FrameState.ALONE if frame.alone else FrameState.SOUND


def severity(state: FrameState | LinkVerdict) -> int:
    """The place of a state or verdict among its kind, 0 for the worst."""
    return list(type(state)).index(state)
