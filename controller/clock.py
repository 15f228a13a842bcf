"""The system's clocks, which only this module reads."""

import time
from collections.abc import Callable
from datetime import UTC, datetime

# Use the clock that also counts while the computer sleeps, if the system has it: a command that ended in the meantime
# took its whole time.
_AWAKE_OR_NOT: int | None = getattr(time, "CLOCK_BOOTTIME", getattr(time, "CLOCK_MONOTONIC", None))
_READ_NS: Callable[[int], int] = getattr(time, "clock_gettime_ns", lambda _: time.monotonic_ns())  # not on Windows


def monotonic_ns() -> int:
    """Nanoseconds since some moment; never goes back, and counts during sleep. For all waiting."""
    return time.monotonic_ns() if _AWAKE_OR_NOT is None else _READ_NS(_AWAKE_OR_NOT)


def monotonic_s() -> float:
    """The same in seconds, for waits that people see."""
    return monotonic_ns() / 1e9


def wait_ns(duration_ns: int) -> None:
    """Wait without a line to wait on."""
    time.sleep(max(0, duration_ns) / 1e9)


def wall_time() -> str:
    """The time of day in UTC as ISO 8601, for records only."""
    return datetime.now(UTC).isoformat(timespec="milliseconds")


def wall_moment() -> datetime:
    """The same as a moment, to say how old a record is."""
    return datetime.fromisoformat(wall_time())


def local_time() -> datetime:
    """The local time of day, for display to the operator."""
    return datetime.now().astimezone()
