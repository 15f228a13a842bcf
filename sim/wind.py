"""Gusts that shake the head: for each moment a closed form, so that the past can be asked for as well."""

import math
from dataclasses import dataclass
from random import Random

from protocol.units import NS

SHAKE_HZ = 3.0  # how fast a gust shakes a head on its tripod (our own choice, no source)


@dataclass(frozen=True, slots=True)
class Gust:
    """A shaking that swells and dies down over `length_s`, at most `peak_deg` to either side."""

    begin_ns: int
    length_s: float
    peak_deg: float

    def strength_deg(self, now_ns: int) -> float:
        """How far it swings to either side by now."""
        t = (now_ns - self.begin_ns) / NS
        return self.peak_deg * math.sin(math.pi * t / self.length_s) ** 2 if 0 < t < self.length_s else 0.0

    def offset_deg(self, now_ns: int) -> tuple[float, float]:
        """What it adds to yaw and pitch."""
        t = (now_ns - self.begin_ns) / NS
        swing = self.strength_deg(now_ns)
        if not swing:
            return 0.0, 0.0
        phase = math.tau * SHAKE_HZ * t
        return swing * math.sin(phase), 0.5 * swing * math.sin(1.3 * phase)


class Wind:
    """All gusts of a run, in order: those that were asked for, and those that a seed draws ahead of time as needed."""

    def __init__(self, seed: int, every_s: float = 0.0, peak_deg: float = 0.0) -> None:
        """`every_s` is the mean time between gusts (0: none come by themselves)."""
        self._random, self._every_s, self._peak_deg = Random(seed), every_s, peak_deg
        self._gusts: list[Gust] = []
        self._drawn_ns = 0

    def add(self, gust: Gust) -> None:
        """Let a gust come."""
        self._gusts.append(gust)

    @property
    def blows(self) -> bool:
        """Whether there is any wind at all."""
        return bool(self._gusts) or self._every_s > 0

    def strength_deg(self, now_ns: int) -> float:
        """How far all gusts together swing it to either side."""
        self._draw(now_ns)
        return sum(gust.strength_deg(now_ns) for gust in self._gusts)

    def offset_deg(self, now_ns: int) -> tuple[float, float]:
        """What the wind adds to yaw and pitch."""
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
