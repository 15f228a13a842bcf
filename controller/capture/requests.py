"""The requests that every conversation with a board begins with."""

from collections.abc import Callable

from controller.program.program import Program
from protocol.messages import Arm, Reference, SetAxis
from protocol.units import AxisId, BootId, CommandId, Steps


def arming(program: Program, boot_id: BootId, take_id: Callable[[], CommandId]) -> list[SetAxis | Arm]:
    """Describe both axes to the board of that boot, and arm it."""
    requests: list[SetAxis | Arm] = [
        SetAxis(take_id(), name, Steps(axis.min_steps), Steps(axis.max_steps), axis.speed_steps_s, axis.accel_steps_s2)
        for name, axis in ((AxisId.PAN, program.pan), (AxisId.TILT, program.tilt))
    ]
    return [*requests, Arm(take_id(), boot_id, program.silence_ms)]


def reference(program: Program, command_id: CommandId) -> Reference:
    """Find zero."""
    return Reference(command_id, program.pan_search_steps_s, program.tilt_search_steps_s, program.creep_divisor)
