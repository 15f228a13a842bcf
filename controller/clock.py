"""The system's clocks, read here and nowhere else."""

import time
from datetime import UTC, datetime

# The clock that goes on while the computer sleeps, where the system has a choice of two: a command that ended in the
# meantime took as long as it took.
_AWAKE_OR_NOT: int | None = getattr(time, "CLOCK_BOOTTIME", getattr(time, "CLOCK_MONOTONIC", None))


def monotonic_ns() -> int:
    """Nanoseconds that only grow, from some moment, also while the computer sleeps; for everything that is waited for."""
    return time.monotonic_ns() if _AWAKE_OR_NOT is None else time.clock_gettime_ns(_AWAKE_OR_NOT)


def monotonic_s() -> float:
    """The same in seconds, for what a person waits for."""
    return monotonic_ns() / 1e9


def wait_ns(duration_ns: int) -> None:
    """Let time pass, where there is no line to wait at."""
    time.sleep(max(0, duration_ns) / 1e9)


def wall_time() -> str:
    """The time of day in UTC as ISO 8601, for records only."""
    return datetime.now(UTC).isoformat(timespec="milliseconds")


def wall_moment() -> datetime:
    """The same as a moment, to say how old a record is."""
    return datetime.fromisoformat(wall_time())


def local_time() -> datetime:
    """The time of day here, for the operator's eyes."""
    return datetime.now().astimezone()
