"""`fullturn inspect`: what the pictures of a session say about the set, the lens and the head."""

import json
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

from controller.commands.match import match_command, must_be_free_for
from controller.files import write_new
from controller.folders import appearing_folder
from controller.inspection.inspected import Inspected, InspectedFrame, InspectedLink
from controller.inspection.inspecting import inspect_set
from controller.inspection.limits import Limits
from controller.inspection.measured_words import measured_values
from controller.inspection.pose_table import pose_rows, poses_csv, poses_json
from controller.matching.matched import Matched

Begin = Callable[[int], Callable[[], None]]


def inspect_command(session: Path, folder: Path, limits: Limits, begin: Begin) -> tuple[Matched, Inspected]:
    """Pair the files in the folder with the session, and inspect them as a set; writes nothing. Raises InputError."""
    found = match_command(session, folder)
    return found, inspect_set(found, folder, limits, begin)


def write_inspection(found: Matched, inspected: Inspected, folder: Path, out: Path) -> None:
    """Write the tables to the new folder `out`, which appears when everything is written. Raises StorageFailed."""
    must_be_free_for(out, folder)
    rows = pose_rows(inspected, found.lines)
    with appearing_folder(out) as hidden:
        write_new(hidden / "poses.csv", poses_csv(rows))
        write_new(hidden / "poses.json", json.dumps(poses_json(rows), indent=1, allow_nan=False) + "\n")
        text = json.dumps(inspection_values(inspected), indent=1, allow_nan=False)
        write_new(hidden / "inspection.json", text + "\n")


def inspection_values(inspected: Inspected) -> dict[str, Any]:
    """The verdicts for other programs."""
    return {
        "frames": [_frame(one) for one in inspected.frames],
        "links": [_link(one) for one in inspected.links],
        "measured": measured_values(inspected),
        "retake": inspected.retake,
        "todo": inspected.todo,
        "notes": inspected.notes,
    }


def _frame(one: InspectedFrame) -> dict[str, Any]:
    return {
        "frame": one.frame,
        "row": one.row,
        "pass": one.pass_number,
        "file": one.file,
        "exposure": one.exposure,
        "held": not one.alone,
        "detail": one.detail,
        "brighter_ev": one.brighter_ev,
        "dark": one.dark,
        "bright": one.bright,
        "faults": [
            {
                "fault": each.fault.value,
                "size": each.size,
                "sentence": each.sentence,
                "retake": each.retake,
                "other": each.other,
            }
            for each in one.blemishes
        ],
    }


def _link(one: InspectedLink) -> dict[str, Any]:
    return {
        "first": one.first,
        "second": one.second,
        "verdict": one.verdict.value,
        "points": one.points,
        "rms_px": None if math.isnan(one.rms_px) else one.rms_px,
        "differs": one.differs,
        "sentence": one.sentence,
    }
