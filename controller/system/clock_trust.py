"""Whether the computer's time of day can be believed.

A board computer without a battery clock starts in 1970, or where it was switched off. It is right only after a time
server, a phone or a person has set it. Linux tells whether it is synchronised (adjtimex(2)) and whether there is a clock
with a battery (/sys/class/rtc). Other systems run on computers with such a clock.
"""

import ctypes
import sys
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import StrEnum
from pathlib import Path

MADE = datetime(2026, 1, 1, tzinfo=UTC)
"""This program was made after that, so that an earlier time of day is wrong."""
NOT_SYNCHRONISED = 5  # TIME_ERROR of adjtimex(2)
TIMEX_BYTES = 512  # more than the structure has on any system (208 on 64 bits)
BATTERY_CLOCK = Path("/sys/class/rtc/rtc0")
BOOT = Path("/proc/sys/kernel/random/boot_id")
LONGEST_BOOT = 64  # characters


class ClockTrust(StrEnum):
    """How far the time of day can be believed, from least to most."""

    WRONG = "wrong"
    """It is earlier than something that has happened already."""
    UNSURE = "unsure"
    """The computer has no battery clock, and nothing has set its time since it was switched on."""
    KEPT = "kept"
    """A battery clock keeps it, as far as is known."""
    SYNCHRONISED = "synchronised"
    """A time server sets it."""

    @property
    def rank(self) -> int:
        """The greater, the more it can be believed."""
        return list(ClockTrust).index(self)

    @property
    def is_sure(self) -> bool:
        """Whether the time of day can be relied on."""
        return self in {ClockTrust.KEPT, ClockTrust.SYNCHRONISED}


@dataclass(frozen=True, slots=True)
class ClockSigns:
    """What the system says of its clock; None where it does not say."""

    synchronised: bool | None
    battery: bool | None

    @classmethod
    def here(cls) -> "ClockSigns":
        """The signs of this computer."""
        if sys.platform != "linux":
            return cls(None, None)
        return cls(_synchronised(), BATTERY_CLOCK.exists())


def trust_in(signs: ClockSigns, moment: datetime, latest: datetime | None = None) -> ClockTrust:
    """How far a time of day can be believed; `latest` is a moment that is over for certain, None if none is known."""
    if moment < MADE:
        return ClockTrust.WRONG
    if signs.synchronised:
        return ClockTrust.SYNCHRONISED
    if latest is not None and moment < latest:
        return ClockTrust.WRONG
    return ClockTrust.UNSURE if signs.battery is False else ClockTrust.KEPT


def boot_name() -> str:
    """A name that changes whenever the computer starts; empty if the system has none."""
    with suppress(OSError, UnicodeDecodeError):
        return BOOT.read_text(encoding="ascii").strip()[:LONGEST_BOOT]
    return ""


def _synchronised() -> bool | None:
    """Whether the kernel's clock is synchronised; None if it cannot be asked. Changes nothing: no mode is set."""
    with suppress(OSError, AttributeError):
        state: int = ctypes.CDLL(None).adjtimex(ctypes.create_string_buffer(TIMEX_BYTES))
        return None if state < 0 else state != NOT_SYNCHRONISED
    return None
