"""The picture of a run as one HTML file that needs no network, with curves to zoom into."""

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from markupsafe import Markup

from controller.files import write_whole
from controller.planning.plan import Plan
from controller.planning.reached_poses import frame_pose
from controller.report.page_template import page_environment

Sample = tuple[float, float, float, float, float, float, float]


def write_run_page(path: Path, plan: Plan, samples: Sequence[Sample], exposures: Sequence[dict[str, Any]]) -> None:
    """Write the page. `samples` are seconds, commanded pan and tilt, true yaw and pitch in degrees, commanded speeds of
    pan and tilt in degrees/s; between two the speed is a line.

    `exposures` are those really made: frame, exposure, t_s, shutter_s, yaw_deg, pitch_deg, motion_px, still. Raises
    StorageFailed.
    """
    planned = {frame.id: frame_pose(plan.kit.head, frame) for frame in plan.frames}
    again = {f.id: {"pass": f.pass_number, "repeats": f.repeats} for f in plan.frames if f.repeats is not None}
    rows = [
        exposure
        | {"planned_yaw_deg": planned[one].yaw_deg, "planned_pitch_deg": planned[one].pitch_deg}
        | again.get(one, {})
        for exposure in exposures
        for one in (exposure["frame"],)
    ]
    environment = page_environment()
    # Markup: numbers and our own names only. They cannot contain "<", but it is escaped anyway.
    data = Markup(
        json.dumps({"samples": samples, "exposures": rows}, separators=(",", ":"), allow_nan=False).replace(
            "<", "\\u003c"
        )
    )
    write_whole(path, environment.get_template("run.html").render(data=data))
