"""A board's verdict on a command before it acts: values first, then state, in the order of the SPEC."""

from collections.abc import Mapping
from dataclasses import dataclass

from protocol.messages import Arm, BoardState, Command, Expose, Move, Reason, Reference, SetAxis, SetShaper
from protocol.shaper import impulses_of, trouble
from protocol.units import NO_COMMAND, AxisId, BootId


@dataclass(frozen=True, slots=True)
class JudgingState:
    """The state of the board when it judges."""

    state: BoardState
    armed: bool
    known: bool
    boot_id: BootId
    settings: Mapping[AxisId, SetAxis]
    max_step_rate: int


def is_invalid(command: Command, standing: JudgingState) -> bool:
    """Whether the values are invalid by themselves or against the axes' settings."""
    if command.command_id == NO_COMMAND:
        return True
    if isinstance(command, SetAxis):
        in_range = 0 < command.speed_steps_s <= standing.max_step_rate and command.accel_steps_s2 > 0
        return not in_range or command.min_steps >= command.max_steps
    if isinstance(command, SetShaper):
        return trouble(impulses_of(command)) is not None
    if isinstance(command, Arm):
        return command.silence_ms == 0
    if isinstance(command, Expose):
        return command.press_ms == 0
    if isinstance(command, Reference):
        searches = {AxisId.PAN: command.pan_search_steps_s, AxisId.TILT: command.tilt_search_steps_s}
        fastest = {name: setting.speed_steps_s for name, setting in standing.settings.items()}
        too_fast = any(speed > fastest.get(name, standing.max_step_rate) for name, speed in searches.items())
        return too_fast or command.creep_divisor == 0 or 0 in searches.values()
    return False


def refusal(command: Command, standing: JudgingState) -> Reason | None:
    """Why the board refuses, None if it does not. The caller has already checked the command id."""
    if is_invalid(command, standing):
        return Reason.BAD_VALUE
    if isinstance(command, SetAxis):
        return None if standing.state is BoardState.DISARMED else Reason.BUSY
    if isinstance(command, SetShaper):
        return _refused_shaper(command, standing)
    if isinstance(command, Arm):
        if standing.state not in {BoardState.DISARMED, BoardState.READY}:
            return Reason.BUSY
        if command.boot_id != standing.boot_id:
            return Reason.WRONG_BOOT
        return None if len(standing.settings) == len(AxisId) else Reason.NOT_CONFIGURED
    if not standing.armed:
        return Reason.NOT_ARMED
    if standing.state is not BoardState.READY:
        return Reason.BUSY
    if isinstance(command, Move):
        return _refused_move(command, standing)
    return None


def _refused_shaper(command: SetShaper, standing: JudgingState) -> Reason | None:
    if standing.state not in {BoardState.DISARMED, BoardState.READY}:
        return Reason.BUSY
    return None if command.axis in standing.settings else Reason.NOT_CONFIGURED


def _refused_move(command: Move, standing: JudgingState) -> Reason | None:
    if not standing.known:
        return Reason.UNKNOWN_POSITION
    targets = {AxisId.PAN: command.pan_steps, AxisId.TILT: command.tilt_steps}
    limits = standing.settings
    beyond = any(not limits[name].min_steps <= steps <= limits[name].max_steps for name, steps in targets.items())
    return Reason.OUT_OF_LIMITS if beyond else None
