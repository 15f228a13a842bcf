"""What was truly exposed: the reference of the tests, which the host never sees."""

import json
from dataclasses import asdict, dataclass
from typing import Any, Self

from protocol.units import NS
from sim.camera import Opening
from sim.head import SimulatedHead

STILL_PX = 0.5


@dataclass(frozen=True, slots=True)
class TrueExposure:
    """One exposure as it happened. `still`: the picture moved less than half a pixel; `motion_px` is an upper bound.

    The bound is less than a hundredth of itself, or of a pixel, too large (`SimulatedHead.motion_px`).
    """

    frame: int
    exposure: int
    yaw_deg: float
    pitch_deg: float
    t_s: float
    shutter_s: float
    still: bool
    motion_px: float
    roll_deg: float = 0.0


class Truth:
    """The record, in the order of opening."""

    def __init__(self) -> None:
        self.exposures: list[TrueExposure] = []

    def record(self, head: SimulatedHead, opening: Opening) -> None:
        """Record an opening of the shutter; the pose is that of the middle of the exposure."""
        begin, end = opening.open_ns, opening.close_ns
        motion_px = head.motion_px(begin, end)
        yaw_deg, pitch_deg = head.pose_deg((begin + end) // 2)
        self.exposures.append(
            TrueExposure(
                frame=opening.label.frame,
                exposure=opening.label.exposure,
                # A millionth of a degree is far below a step; rounding makes the bytes the same on any machine.
                yaw_deg=round(yaw_deg, 6) + 0.0,  # no minus zero
                pitch_deg=round(pitch_deg, 6) + 0.0,
                t_s=round(begin / NS, 6),
                shutter_s=round(opening.shutter_s, 9),
                still=motion_px < STILL_PX,
                motion_px=round(motion_px, 3),
                roll_deg=round(head.roll_deg((begin + end) // 2), 6) + 0.0,
            )
        )

    @classmethod
    def from_json(cls, text: str) -> Self:
        """Read what `to_json` wrote. Raises ValueError, KeyError or TypeError for anything else."""
        truth = cls()
        truth.exposures = [TrueExposure(**row) for row in json.loads(text)["exposures"]]
        return truth

    def to_json(self) -> str:
        """The record as JSON text, one exposure per line."""
        rows: list[dict[str, Any]] = [asdict(exposure) for exposure in self.exposures]
        body = ",\n".join("  " + json.dumps(row, allow_nan=False) for row in rows)
        return '{"exposures": [\n' + body + "\n]}\n"
