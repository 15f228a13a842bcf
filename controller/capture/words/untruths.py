"""Sentences for the operator on reports of a board that cannot be true. `capture/belief.py` detects them."""

from enum import Enum, unique

CURE = "check the board's firmware with `fullturn board check`, then go on."
CUT_POWER = "support the camera, cut the motor power, then"


@unique
class Untruth(Enum):
    """What cannot be true. The value is the beginning of its sentence, with placeholders; `CURE` ends it."""

    OUTCOME = "The board says that {what} ended with {outcome}, which cannot be its end;"
    ELSEWHERE = (
        "The board says that it ended {what} at {there}, but it should be at {here}: steps were not made, or not counted;"
    )
    TOO_SOON = "The board says that it ended {what} after {took:.3f} s, which takes {least:.3f} s at least;"
    TOO_SOON_BY_ITS_CLOCK = "The board's own clock gives {took:.3f} s for {what}, which takes {least:.3f} s at least;"
    NO_CONTACT = "The board says that the camera's sync contact {said}, but that it has no such contact;"
    HAS_CONTACT = "The board says that it has a sync contact, and then that it exposed without one;"
    CLOCK = "The board's clock ran backward, from {before} to {after} ms;"
    ARMED = "The board says that it is {state} and that it is {armed}, which cannot be;"
    RUNNING = "The board says that it is {state} and carries out {running}, which cannot be;"
    LOST = "The board accepted {what}, and now it neither carries it out nor says how it ended;"
    OTHER = (
        "The board carries out command {running}, which this program did not give it; does another program talk to it? "
        "If not,"
    )
    WRONG_STATE = "The board carries out {what} and says that it is {state};"
    MOVED = "The board says that the head is at {there}, but it stood at {here} and was not told to move;"
    FORGOT = "The board no longer knows where {axes} points, and does not say why;"
    GOES_ON = f"The board accepted a stop and goes on ({{state}}); {CUT_POWER}"
    BRAKES = f"The board says that it is still stopping, longer than it can take; {CUT_POWER}"
    EDGES_BACK = "The board counts the changes of the {axis} switch backward, from {before} to {after};"
    NO_SWITCH = "The board tells of changes of the {axis} switch, but that it has no such switch;"
    BUFFER = "The board says that it can receive {bytes} bytes at a time, and a frame may have 43;"
    RATE = "The board says that it can make no steps at all (its highest step rate is 0);"
    REFUSED = f"The board refuses {{request}} ({{reason}}), which it must always obey; {CUT_POWER}"
    UNREADABLE = (
        "The board answers {request} with what this program cannot read (kind {kind:02X}, bytes {payload}): it is of "
        "another version, or its firmware is wrong;"
    )

    @property
    def template(self) -> str:
        """The whole sentence, with its placeholders."""
        return f"{self.value} {CURE}"


OF_PLACE = frozenset({Untruth.ELSEWHERE, Untruth.MOVED, Untruth.FORGOT, Untruth.GOES_ON})
"""Those that cast doubt on where the head has pointed."""
