"""The shaper of an axis: a few impulses with which the board convolves each ramp, so that it arrives without ringing.

N. C. Singer and W. P. Seering, "Preshaping command inputs to reduce system vibration", J. Dyn. Syst. Meas. Control
112(1):76-82 (1990).
"""

from dataclasses import astuple, dataclass
from itertools import pairwise
from typing import Self

from protocol.errors import WrongUse
from protocol.messages import SetShaper
from protocol.units import AxisId, CommandId

WHOLE = 65_536
"""What the shares of a shaper sum to."""
MOST_IMPULSES = 5
LONGEST_MS = 2_000
CLOSEST_MS = 5
"""Delays are whole milliseconds. Impulses that are nearer than this would be off by a tenth of their distance."""


@dataclass(frozen=True, slots=True)
class Shaper:
    """Impulses as (delay in ms, share of `WHOLE`). Without any the ramp stays as it is."""

    impulses: tuple[tuple[int, int], ...] = ()

    def __post_init__(self) -> None:
        if (wrong := trouble(self.impulses)) is not None:
            raise WrongUse(wrong)

    @property
    def duration_ms(self) -> int:
        """By how much it makes a move longer."""
        return self.impulses[-1][0] if self.impulses else 0

    @property
    def weights(self) -> tuple[tuple[int, float], ...]:
        """Impulses as (delay in ms, share of 1), at least one."""
        return tuple((delay, share / WHOLE) for delay, share in self.impulses) or ((0, 1.0),)

    @classmethod
    def nearest(cls, delays_s: tuple[float, ...], shares: tuple[float, ...]) -> Self:
        """The shaper with these delays (s) and shares, rounded. The largest share takes up what rounding leaves.

        Raises WrongUse for what a board would refuse.
        """
        whole = [round(share * WHOLE) for share in shares]
        whole[whole.index(max(whole))] += WHOLE - sum(whole)
        return cls(tuple(zip((round(delay * 1000) for delay in delays_s), whole, strict=True)))


def trouble(impulses: tuple[tuple[int, int], ...]) -> str | None:
    """Why these impulses are no shaper, or None."""
    if not impulses:
        return None
    delays, shares = zip(*impulses, strict=True)
    if not 2 <= len(impulses) <= MOST_IMPULSES:
        return f"{len(impulses)} impulses: a shaper has 2 to {MOST_IMPULSES}, or none"
    if delays[0] != 0:
        return f"the first impulse comes after {delays[0]} ms; it must come at once"
    if min(after - before for before, after in pairwise(delays)) < CLOSEST_MS:
        return f"delays {', '.join(map(str, delays))} ms: each must be at least {CLOSEST_MS} ms after the one before"
    if delays[-1] > LONGEST_MS:
        return f"a delay of {delays[-1]} ms; at most {LONGEST_MS} ms"
    if min(shares) < 1:
        return f"a share of {min(shares)}; at least 1"
    if sum(shares) != WHOLE:
        return f"the shares sum to {sum(shares)}; they must sum to {WHOLE}"
    return None


PLAIN = Shaper()
"""No impulses: ramps stay as they are."""


def set_shaper(command_id: CommandId, axis: AxisId, shaper: Shaper) -> SetShaper:
    """The command that gives `shaper` to an axis."""
    pairs = (*shaper.impulses, *((0, 0),) * (MOST_IMPULSES - len(shaper.impulses)))
    return SetShaper(command_id, axis, *(number for pair in pairs for number in pair))


def impulses_of(command: SetShaper) -> tuple[tuple[int, int], ...]:
    """The impulses in a command, as they are; `trouble` judges them. An unused one must be all zero and come last."""
    numbers = astuple(command)[2:]
    pairs = list(zip(numbers[::2], numbers[1::2], strict=True))
    while pairs and pairs[-1] == (0, 0):
        pairs.pop()
    return tuple(pairs)
