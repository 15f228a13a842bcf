"""`fullturn inspect`: what the pictures of a session say about the set, the lens and the head."""

import json
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

from controller.commands.match import match_command, must_be_free_for
from controller.files import write_new
from controller.folders import appearing_folder, make_inner_folder
from controller.inspection.inspected import Inspected, InspectedFrame, InspectedLink
from controller.inspection.inspecting import inspect_set
from controller.inspection.limits import Limits
from controller.inspection.measured_words import measured_values
from controller.inspection.pose_table import pose_rows, poses_csv, poses_json
from controller.matching.matched import Matched

Begin = Callable[[int], Callable[[], None]]
FOLDER = "inspection"  # within the folder of `match`


def inspect_command(session: Path, folder: Path, limits: Limits, begin: Begin) -> tuple[Matched, Inspected]:
    """Pair the files in the folder with the session, and inspect them as a set; writes nothing. Raises InputError."""
    found = match_command(session, folder)
    return found, inspect_matched(found, folder, limits, begin)


def inspect_matched(found: Matched, folder: Path, limits: Limits, begin: Begin) -> Inspected:
    """Inspect the files that `found` pairs; its lines get notes, and its list of frames to retake grows.

    Raises InputError.
    """
    inspected = inspect_set(found, folder, limits, begin)
    for frame in inspected.frames:
        lines = [line for line in found.lines if line.use and line.frame == frame.frame]
        chosen = [line for line in lines if line.exposure == frame.exposure] or lines
        for line in chosen[:1]:
            line.notes.extend(each.sentence for each in frame.blemishes)
    found.retake[:] = sorted({*found.retake, *inspected.retake})
    return inspected


def write_inspection(found: Matched, inspected: Inspected, folder: Path, out: Path) -> None:
    """Write the tables to the new folder `out`, which appears when everything is written. Raises StorageFailed."""
    must_be_free_for(out, folder)
    with appearing_folder(out) as hidden:
        _write(found, inspected, folder, hidden)


def writer_of(found: Matched, inspected: Inspected, folder: Path) -> Callable[[Path], None]:
    """What writes all this into FOLDER within another command's folder."""

    def write(out: Path) -> None:
        make_inner_folder(out / FOLDER)
        _write(found, inspected, folder, out / FOLDER)

    return write


def _write(found: Matched, inspected: Inspected, folder: Path, out: Path) -> None:
    rows = pose_rows(inspected, found.lines)
    write_new(out / "poses.csv", poses_csv(rows))
    write_new(out / "poses.json", json.dumps(poses_json(rows), indent=1, allow_nan=False) + "\n")
    write_new(out / "inspection.json", json.dumps(inspection_values(inspected), indent=1, allow_nan=False) + "\n")


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
        "pass_number": one.pass_number,
        "repeats": one.repeats,
        "least_different": one.least_different,
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
