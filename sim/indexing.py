"""The board's record of the flags at zero during a Move."""

from collections.abc import Mapping
from dataclasses import dataclass

from protocol.messages import EdgeFlag, Index
from protocol.units import AxisId, Steps
from sim.axis import SimulatedAxis


@dataclass(frozen=True, slots=True)
class Edge:
    """The latest change of a flag, and the number of changes."""

    count: int
    steps: Steps
    how: EdgeFlag


class Indexing:
    """The latest edge of each axis."""

    def __init__(self) -> None:
        self._edges = dict.fromkeys(AxisId, Edge(0, Steps(0), EdgeFlag(0)))

    def note(self, now_ns: int, axes: Mapping[AxisId, SimulatedAxis], origin: Mapping[AxisId, int]) -> None:
        """Note at the end of a move where in it a flag changed, counted from `origin`."""
        for name, axis in axes.items():
            change = axis.flag_change(now_ns)
            if change is not None:
                steps, up, on = change
                how = (EdgeFlag.UPWARD if up else EdgeFlag(0)) | (EdgeFlag.ON if on else EdgeFlag(0))
                self._edges[name] = Edge(self._edges[name].count + 1, Steps(steps - origin[name]), how)

    def reply(self) -> Index:
        """The board's answer to GetIndex."""
        pan, tilt = self._edges[AxisId.PAN], self._edges[AxisId.TILT]
        return Index(pan.count, pan.steps, pan.how, tilt.count, tilt.steps, tilt.how)
