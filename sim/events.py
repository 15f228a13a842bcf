"""What makes a camera swing: sudden steps of its plate, and blows."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Times = NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class Events:
    """In order of time: when (n,) in ns, how far the plate stepped, and how much a blow changed the camera's speed."""

    at_ns: Times
    jumps_deg: Array
    kicks_deg_s: Array

    @classmethod
    def of_jumps(cls, at_ns: Times, jumps_deg: Array) -> Self:
        """Steps of the plate, without those of no size."""
        real = np.abs(jumps_deg) > 1e-12
        return cls(at_ns[real], jumps_deg[real], np.zeros(int(real.sum())))

    def in_parts(self, most: int) -> Iterator[Self]:
        """The same in parts of at most so many."""
        for first in range(0, len(self.at_ns), most):
            part = slice(first, first + most)
            yield type(self)(self.at_ns[part], self.jumps_deg[part], self.kicks_deg_s[part])

    def between(self, from_ns: int, to_ns: int) -> Self:
        """Those after `from_ns`, up to `to_ns`."""
        if not len(self.at_ns):
            return self
        first, last = self.at_ns.searchsorted((from_ns, to_ns), side="right").tolist()
        return type(self)(self.at_ns[first:last], self.jumps_deg[first:last], self.kicks_deg_s[first:last])


NOTHING = Events(np.zeros(0, np.int64), np.zeros(0), np.zeros(0))


def together(parts: list[Events]) -> Events:
    """All of these, sorted."""
    parts = [part for part in parts if len(part.at_ns)]
    if len(parts) < 2:
        return parts[0] if parts else NOTHING
    at_ns, jumps, kicks = (
        np.concatenate([getattr(part, name) for part in parts]) for name in ("at_ns", "jumps_deg", "kicks_deg_s")
    )
    order = np.argsort(at_ns, kind="stable")
    return Events(at_ns[order], jumps[order], kicks[order])
