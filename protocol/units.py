"""Integers with a meaning: one type for each unit that crosses a module boundary."""

from __future__ import annotations

from enum import IntEnum
from typing import Final, NewType

NS: Final = 1_000_000_000
"""Nanoseconds in a second."""

MS: Final = 1_000_000
"""Nanoseconds in a millisecond."""

Nanos = NewType("Nanos", int)
"""A moment of a monotonic clock, in nanoseconds."""

Steps = NewType("Steps", int)
"""An absolute position of one axis in motor steps, counted from the reference switch; 32 bits, signed."""

CommandId = NewType("CommandId", int)
"""The number of a command, 32 bits; it only grows, and 0 means none."""

BootId = NewType("BootId", int)
"""The number a board draws each time it starts, 32 bits."""

Seq = NewType("Seq", int)
"""The number that ties a reply to its request, 8 bits, counted modulo 256."""

NO_COMMAND: Final = CommandId(0)


class Axis(IntEnum):
    """The two axes of the head."""

    PAN = 0
    TILT = 1
