"""The system's clocks, read here and nowhere else."""

import time
from datetime import UTC, datetime


def monotonic_ns() -> int:
    """Nanoseconds that only grow, from some moment; for everything that is waited for."""
    return time.monotonic_ns()


def wait_ns(duration_ns: int) -> None:
    """Let time pass, where there is no line to wait at."""
    time.sleep(max(0, duration_ns) / 1e9)


def wall_time() -> str:
    """The time of day in UTC as ISO 8601, for records only."""
    return datetime.now(UTC).isoformat(timespec="milliseconds")


def local_time() -> datetime:
    """The time of day here, for the operator's eyes."""
    return datetime.now().astimezone()
