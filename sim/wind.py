"""Gusts that shake the head: a closed form of time, so that the past can be evaluated as well."""

import math
from dataclasses import dataclass
from random import Random

from protocol.units import NS

SHAKE_HZ = 3.0  # how fast a gust shakes a head on its tripod (our own choice, no source)
PITCH_SHARE = 1.3  # how much faster it shakes the pitch
FASTEST_HZ = SHAKE_HZ * PITCH_SHARE


@dataclass(frozen=True, slots=True)
class Gust:
    """A shaking that grows and dies down over `length_s`, at most `peak_deg` to either side."""

    begin_ns: int
    length_s: float
    peak_deg: float

    def strength_deg(self, now_ns: int) -> float:
        """Amplitude of the shaking at a time, degrees to either side."""
        t = (now_ns - self.begin_ns) / NS
        return self.peak_deg * math.sin(math.pi * t / self.length_s) ** 2 if 0 < t < self.length_s else 0.0

    def offset_deg(self, now_ns: int) -> tuple[float, float]:
        """Offset of yaw and pitch at a time, degrees."""
        t = (now_ns - self.begin_ns) / NS
        swing = self.strength_deg(now_ns)
        if not swing:
            return 0.0, 0.0
        phase = math.tau * SHAKE_HZ * t
        return swing * math.sin(phase), 0.5 * swing * math.sin(PITCH_SHARE * phase)


class Wind:
    """All gusts of a run, in order: the requested ones, and those drawn ahead of time from a seed as needed."""

    def __init__(self, seed: int, every_s: float = 0.0, peak_deg: float = 0.0) -> None:
        """`every_s` is the mean time between gusts (0: only requested ones)."""
        self._random, self._every_s, self._peak_deg = Random(seed), every_s, peak_deg
        self._gusts: list[Gust] = []
        self._drawn_ns = 0

    def add(self, gust: Gust) -> None:
        """Add a gust."""
        self._gusts.append(gust)

    @property
    def blows(self) -> bool:
        """Whether there is any wind at all."""
        return bool(self._gusts) or self._every_s > 0

    def strength_deg(self, now_ns: int) -> float:
        """Amplitude of all gusts together, degrees to either side."""
        self._draw(now_ns)
        return sum(gust.strength_deg(now_ns) for gust in self._gusts)

    def offset_deg(self, now_ns: int) -> tuple[float, float]:
        """Offset of yaw and pitch from the wind, degrees."""
        self._draw(now_ns)
        yaw_deg = pitch_deg = 0.0
        for gust in self._gusts:
            yaw, pitch = gust.offset_deg(now_ns)
            yaw_deg, pitch_deg = yaw_deg + yaw, pitch_deg + pitch
        return yaw_deg, pitch_deg

    def _draw(self, until_ns: int) -> None:
        while self._every_s > 0 and self._drawn_ns <= until_ns:
            self._drawn_ns += round(self._random.expovariate(1 / self._every_s) * NS)
            length_s = self._random.uniform(1.0, 4.0)
            self._gusts.append(Gust(self._drawn_ns, length_s, self._peak_deg * self._random.uniform(0.3, 1.0)))
