"""Integers with a unit: one type for each unit that crosses a module boundary."""

from __future__ import annotations

from enum import IntEnum
from typing import Final, NewType

NS: Final = 1_000_000_000
"""Nanoseconds in a second."""

MS: Final = 1_000_000
"""Nanoseconds in a millisecond."""

Nanos = NewType("Nanos", int)
"""A time of a monotonic clock, in nanoseconds."""

Steps = NewType("Steps", int)
"""An absolute position of one axis in motor steps, counted from the reference switch; 32 bits, signed."""

CommandId = NewType("CommandId", int)
"""The number of a command, 32 bits; each is the `next_id` of the one before, and 0 means none."""

BootId = NewType("BootId", int)
"""The number that a board draws at each start, 32 bits."""

Seq = NewType("Seq", int)
"""The number that links a reply to its request, 8 bits, counted modulo 256."""

NO_COMMAND: Final = CommandId(0)

ID_SPAN: Final = 1 << 32
"""Command ids count modulo this."""


def next_id(command_id: CommandId) -> CommandId:
    """Return the id that follows: one more, modulo 2^32, and never 0."""
    return CommandId((command_id + 1) % ID_SPAN or 1)


def is_after(a: CommandId, b: CommandId) -> bool:
    """Return whether id `a` was assigned later than `b`, as serial numbers compare.

    That is so if `a` is ahead of `b` by less than half of all ids (RFC 1982, section 3.2, with 32 bits). Two ids exactly
    half of them apart have no order there; here neither is after the other. Every id is after 0, which means none.
    """
    if b == NO_COMMAND:
        return a != NO_COMMAND
    return a != NO_COMMAND and 0 < (a - b) % ID_SPAN < ID_SPAN // 2


class AxisId(IntEnum):
    """The two axes of the head."""

    PAN = 0
    TILT = 1
