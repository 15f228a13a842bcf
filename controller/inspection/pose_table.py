"""The table that another program can start from: one row for each file of the set, with its measured pose.

Conventions are in CONVENTIONS, which the JSON file repeats.
"""

from collections.abc import Iterable
from dataclasses import asdict, dataclass, fields
from typing import Any

from scipy.spatial.transform import Rotation

from controller.csv_text import csv_text
from controller.inspection.expected import pixels_per_mm
from controller.inspection.inspected import FrameFault, Inspected, InspectedFrame
from controller.matching.pose_columns import group_of, plain_value
from controller.matching.table import MatchLine
from controller.reading import as_text

CONVENTIONS = {
    "angles": "Degrees. Yaw grows clockwise seen from above, from the session's zero; pitch grows upward; roll is "
    "positive if the right side hangs low. Applied in the order yaw, pitch (about the camera's right), roll (about the "
    "lens).",
    "world": "Right-handed: x to the right of yaw 0, y down, z toward yaw 0.",
    "camera": "Right-handed: x to the picture's right, y down, z along the lens.",
    "quaternion": "w, x, y, z of the rotation from the camera's axes to the world's.",
    "pixels": "Column and row in the upright picture; the middle of the top left pixel is (0, 0).",
    "lens": "A ray at the angle t from the lens's axis falls at the distance focal_px * (r + k1 r^3 + k2 r^5 + k3 r^7) "
    "from (centre_x_px, centre_y_px). Here r is tan t (rectilinear), t (equidistant), 2 sin(t/2) (equisolid), 2 tan(t/2) "
    "(stereographic) or sin t (orthographic).",
    "uncertainties": "Names with _u_ are standard uncertainties.",
}


@dataclass(frozen=True, slots=True)
class PoseRow:
    """One file. Angles are in degrees, lengths in the unit of their names; `held` is false if no link holds the frame."""

    file: str
    frame: int
    row: int
    pass_number: int
    repeats: int | None
    least_different: bool
    exposure: int
    bracket_group: str
    shutter_s: float | None
    yaw_deg: float
    yaw_u_deg: float
    pitch_deg: float
    pitch_u_deg: float
    roll_deg: float
    roll_u_deg: float
    held: bool
    commanded_yaw_deg: float
    commanded_yaw_u_deg: float
    commanded_pitch_deg: float
    commanded_pitch_u_deg: float
    commanded_roll_deg: float
    commanded_roll_u_deg: float
    quaternion_w: float
    quaternion_x: float
    quaternion_y: float
    quaternion_z: float
    width_px: int
    height_px: int
    projection: str
    focal_px: float
    focal_u_px: float | None
    focal_mm: float
    centre_x_px: float
    centre_y_px: float
    k1: float
    k2: float
    k3: float
    faults: str


def pose_rows(inspected: Inspected, lines: Iterable[MatchLine]) -> list[PoseRow]:
    """The rows of all files to stitch from, in the order of frames and exposures."""
    return [_row(inspected, frame, line) for frame, line in _used(inspected, lines)]


def values_by_file(inspected: Inspected, lines: Iterable[MatchLine]) -> dict[str, dict[str, Any]]:
    """The columns of all files to stitch from, by the file's path in the card's folder."""
    return {line.file or "": as_values(_row(inspected, frame, line)) for frame, line in _used(inspected, lines)}


def _used(inspected: Inspected, lines: Iterable[MatchLine]) -> list[tuple[InspectedFrame, MatchLine]]:
    """The lines to stitch from, each with the frame whose place its picture shows: swapped ones have each other's."""
    frames = {one.frame: one for one in inspected.frames}
    swapped = {
        one.frame: each.other for one in inspected.frames for each in one.blemishes if each.fault is FrameFault.SWAPPED
    }
    shows = frames | {frame: frames[other] for frame, other in swapped.items() if other is not None}
    used = [(shows[line.frame], line) for line in lines if line.use and line.frame in shows]
    return sorted(used, key=lambda one: (one[0].frame, one[1].exposure or 0))


def _row(inspected: Inspected, frame: InspectedFrame, line: MatchLine) -> PoseRow:
    lens, told, known = inspected.lens, frame.commanded, frame.measured
    x, y, z, w = Rotation.from_matrix(frame.rotation).as_quat(canonical=True).tolist()
    focal = lens.terms.get("focal_px")
    assert line.file is not None
    assert line.exposure is not None
    return PoseRow(
        file=as_text(line.file),
        frame=frame.frame,
        row=frame.row,
        pass_number=frame.pass_number,
        repeats=frame.repeats,
        least_different=frame.least_different,
        exposure=line.exposure,
        bracket_group=group_of(line),
        shutter_s=line.shutter_s or line.planned_shutter_s,
        yaw_deg=known.yaw.value,
        yaw_u_deg=known.yaw.sd,
        pitch_deg=known.pitch.value,
        pitch_u_deg=known.pitch.sd,
        roll_deg=known.roll.value,
        roll_u_deg=known.roll.sd,
        held=not frame.alone,
        commanded_yaw_deg=told.yaw.value,
        commanded_yaw_u_deg=told.yaw.sd,
        commanded_pitch_deg=told.pitch.value,
        commanded_pitch_u_deg=told.pitch.sd,
        commanded_roll_deg=told.roll.value,
        commanded_roll_u_deg=told.roll.sd,
        quaternion_w=w,
        quaternion_x=x,
        quaternion_y=y,
        quaternion_z=z,
        width_px=frame.size_px[0],
        height_px=frame.size_px[1],
        projection=lens.lens.projection.value,
        focal_px=lens.lens.focal_px,
        focal_u_px=None if focal is None else focal.sd,
        focal_mm=lens.lens.focal_px / pixels_per_mm(inspected.plan.kit, frame.size_px),
        centre_x_px=lens.lens.centre_x_px,
        centre_y_px=lens.lens.centre_y_px,
        k1=lens.lens.k1,
        k2=lens.lens.k2,
        k3=lens.lens.k3,
        faults=", ".join(dict.fromkeys(each.fault.value for each in frame.blemishes)),
    )


def as_values(row: PoseRow) -> dict[str, Any]:
    """A row by its columns."""
    return {name: plain_value(name, value) for name, value in asdict(row).items()}


def poses_csv(rows: Iterable[PoseRow]) -> str:
    """The rows as CSV; unknown values are empty."""
    return csv_text((one.name for one in fields(PoseRow)), (as_values(row).values() for row in rows))


def poses_json(rows: Iterable[PoseRow]) -> dict[str, Any]:
    """The rows with the conventions of their columns."""
    return {"conventions": CONVENTIONS, "files": [as_values(row) for row in rows]}
