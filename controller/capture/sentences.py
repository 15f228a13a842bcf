"""What the operator reads when the board says no or stops by itself."""

from protocol.messages import Cause, Reason

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
    Cause.STALL: "A motor stalled; check balance, load and cables, then go on.",
    Cause.SUPPLY_LOW: "The board's supply fell too low; charge or change the battery, then go on.",
    Cause.STOP_SWITCH: "The stop switch was pressed; release it when the head is clear, then go on.",
}
