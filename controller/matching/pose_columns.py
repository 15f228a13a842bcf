"""Columns that describe a file's frame and pose, by name: what `match` knows of them, and their digits.

`inspection/pose_table.py` has all columns; sidecars use the same names.
"""

from typing import Any

from controller.matching.table import MatchLine
from controller.planning.plan import Frame
from controller.reading import as_text

DIGITS = {"deg": 5, "px": 3, "mm": 5, "s": 6}
OTHER_DIGITS = 9
"""Digits after the point by the unit at the end of a name, and of numbers without a unit."""


def plain_value(name: str, value: Any) -> Any:
    """A value with the digits that its unit deserves, without minus zero."""
    if not isinstance(value, float):
        return value
    return round(value, DIGITS.get(name.rsplit("_", 1)[-1], OTHER_DIGITS)) + 0.0


def group_of(line: MatchLine) -> str:
    """The name of a file's bracket: its frame, and which attempt at it."""
    return f"{line.frame}-{line.attempt}"


def commanded_values(line: MatchLine, frame: Frame) -> dict[str, Any]:
    """The columns that are known without the pictures. The pose is the one reached, or as planned if none is known."""
    reached = line.yaw_deg is not None and line.pitch_deg is not None
    values = {
        "file": None if line.file is None else as_text(line.file),
        "frame": frame.id,
        "row": frame.row,
        "pass_number": frame.pass_number,
        "repeats": frame.repeats,
        "exposure": line.exposure,
        "bracket_group": group_of(line),
        "shutter_s": line.shutter_s or line.planned_shutter_s,
        "commanded_yaw_deg": line.yaw_deg if reached else frame.yaw_deg,
        "commanded_pitch_deg": line.pitch_deg if reached else frame.pitch_deg,
        "commanded_roll_deg": line.roll_deg if reached else None,
    }
    return {name: plain_value(name, value) for name, value in values.items()}
