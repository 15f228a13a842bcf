"""Words for a board that refuses or stops by itself."""

from controller.amounts import duration
from controller.capture.events import Event
from protocol.codec import PROTOCOL_VERSION
from protocol.messages import Cause, Reason
from protocol.statistics import Trouble
from protocol.units import NS

REASONS: dict[Reason, str] = {
    Reason.NOT_ARMED: "The board says it is not armed: something stopped it; find out what, then go on.",
    Reason.BUSY: "The board cannot be armed: something else talks to it, its stop switch is open or its supply is low.",
    Reason.OUT_OF_LIMITS: "The board refused a target outside the limits of the kit; check [head] in the kit.",
    Reason.STALE_ID: "The board has already taken a later command; does another program talk to it?",
    Reason.WRONG_BOOT: "The board has restarted between greeting and arming; check its supply, then start again.",
    Reason.UNKNOWN_POSITION: "The board does not know where the head points; a reference run is needed first.",
    Reason.BAD_VALUE: "The board cannot do what the kit asks of it; check speeds and gearing under [head].",
    Reason.UNKNOWN_KIND: "The board does not know this request: its firmware is older than this program.",
    Reason.VERSION: "The board speaks another version of the protocol; update its firmware or this program.",
    Reason.NOT_CONFIGURED: "The board was armed before it knew both axes: a fault of this program.",
}

CAUSES: dict[Cause, str] = {
    Cause.NONE: "The board stopped by itself without saying why; look at the head before going on.",
    Cause.POWER_ON: "The board has only just been switched on; start again.",
    Cause.HOST_STOP: "The board was stopped by another program.",
    Cause.HOST_HALT: "The board was halted by another program; the position of the head is unknown.",
    Cause.HOST_SILENCE: "The board heard nothing from this program for too long and stopped the head; go on.",
    Cause.LIMIT: "The head ran on to a limit switch. Support the camera, cut the motor power, free it, then go on.",
    Cause.STALL: "A motor stalled. Support the camera, cut the motor power, check balance, load and cables, then go on.",
    Cause.SUPPLY_LOW: "The board's supply fell too low; charge or change the battery, then go on.",
    Cause.WATCHDOG: "The board's program hung and was restarted by its watchdog; find the cause before leaving it alone.",
    Cause.ZERO_NOT_FOUND: "A zero switch was not met within the travel; look at the switch and its wire, then go on.",
    Cause.STOP_SWITCH: "The stop switch was pressed; release it when the head is clear, then go on.",
}

# Words for a lost line by what was received on it; None: the port itself is gone.
TROUBLES: dict[Trouble | None, str] = {
    None: "The port is gone, so the board does not answer; plug the cable in again, then go on.",
    Trouble.NOTHING: "The board does not answer: not a byte comes; check the cable and the board's supply, then go on.",
    Trouble.NOISE: "The board does not answer: bytes come, but no whole frames; check baud rate, cable and ground, and "
    "that it is the board that sends, then go on.",
    Trouble.NO_ANSWER: "The board does not answer what it is asked, though whole frames come. Check that this is the "
    "board's port and that nothing else talks to it, and its firmware with `fullturn board check`, then go on.",
}

# The same while the run waits for the line.
LOST: dict[Trouble | None, str] = {
    None: "The port is gone. The run is suspended until it is back.",
    Trouble.NOTHING: "The board does not answer: not a byte comes. The run is suspended until it does.",
    Trouble.NOISE: "Bytes come from the board, but no whole frames. The run is suspended until it answers.",
    Trouble.NO_ANSWER: "Frames come from the board, but not its answer. The run is suspended until it answers.",
}


def refusal(event: Event) -> str:
    """Why a board refused."""
    return event.sentence or REASONS.get(event.reason or Reason.BAD_VALUE, "The board refused without saying why.")


def hold(event: Event) -> str:
    """Why a board stopped by itself."""
    if event.unmet:
        return (
            f"The zero switch of {' or '.join(event.unmet)} was not met in the reference run; check the switch, its "
            "cable and that the axis turns freely, then go on."
        )
    return CAUSES[event.cause]


def other_version(major: int | None) -> str:
    """Words for a board with another major version of the protocol, None if it does not say which."""
    theirs = "another major version" if major is None else f"version {major}.x"
    return f"This board speaks {theirs} of the protocol, this program {PROTOCOL_VERSION.major}.x; update one of them."


def unreadable_refusal(request: str, reason: int) -> str:
    """Words for a refusal for a reason that this version does not know."""
    return (
        f"The board refused {request} for reason {reason}, which this program does not know; "
        "update this program, or check the board's firmware with `fullturn board check`."
    )


def plain_ramps(longer_ns: int) -> str:
    """Words for a board that does not shape its ramps, if the plan counts on it. `longer_ns`: what that costs."""
    return (
        f"this board does not shape them, so the run waits longer after each move, {duration(longer_ns / NS)} in all; "
        "firmware that shapes ramps (protocol 1.2) saves that"
    )


def ramps_lost(longer_ns: int) -> str:
    """The same while a run is under way. `longer_ns`: what the rest takes longer."""
    return (
        "This board does not shape its ramps. The run waits until the camera is still after each move, which takes about "
        f"{duration(longer_ns / NS)} longer in all."
    )
