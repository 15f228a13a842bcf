"""`fullturn inspect`: what the pictures of a session say about the set, the lens and the head."""

import json
import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from controller.commands.calibrate import Keeping, KeptAll, keep_all
from controller.commands.match import match_command, must_be_free_for
from controller.errors import InputError
from controller.files import write_new
from controller.folders import appearing_folder, make_inner_folder
from controller.inspection.head_measured import Measured
from controller.inspection.inspected import Inspected, InspectedFrame, InspectedLink
from controller.inspection.inspecting import inspect_set
from controller.inspection.inspection_words import inspection_sentences
from controller.inspection.limits import Limits
from controller.inspection.measured_words import measured_values
from controller.inspection.offered import offered
from controller.inspection.pose_table import pose_rows, poses_csv, poses_json, values_by_file
from controller.inspection.pupil import LevelGround, NearestThings
from controller.inspection.unrolled import least_different_passes
from controller.matching.matched import Matched
from controller.matching.sorting import sidecar_of
from controller.progress import Begin
from controller.report.proof_sheet import write_proof_sheet

DEFAULT_LIMITS = Limits()
LENGTH_SHARE = 0.01  # by which a length measured with a tape may be off. Common practice, no source
FOLDER = "inspection"  # within the folder of `match`
SIDECARS = "sidecars"  # within that of `inspect`


@dataclass(frozen=True, slots=True)
class Asked:
    """How to inspect: the limits, and the distance of the nearest things or the height of the tilt axis, in mm."""

    limits: Limits = DEFAULT_LIMITS
    nearest_mm: float | None = None
    axis_height_mm: float | None = None

    def known(self) -> NearestThings | LevelGround | None:
        """The known length. Raises InputError if there are two."""
        if self.nearest_mm is not None and self.axis_height_mm is not None:
            raise InputError("Give --nearest-mm or --axis-height-mm, not both: one length is enough.")
        if self.nearest_mm is not None:
            return NearestThings(Measured(self.nearest_mm, LENGTH_SHARE * self.nearest_mm))
        if self.axis_height_mm is not None:
            return LevelGround(Measured(self.axis_height_mm, LENGTH_SHARE * self.axis_height_mm))
        return None


def inspect_command(session: Path, folder: Path, asked: Asked, begin: Begin) -> tuple[Matched, Inspected]:
    """Pair the files in the folder with the session, and inspect them as a set; writes nothing. Raises InputError."""
    asked.known()
    found = match_command(session, folder)
    return found, inspect_matched(found, folder, asked, begin)


def inspect_matched(found: Matched, folder: Path, asked: Asked, begin: Begin) -> Inspected:
    """Inspect the files that `found` pairs; its lines get notes, and its list of frames to retake grows.

    Raises InputError.
    """
    inspected = inspect_set(found, folder, asked.limits, begin, asked.known())
    for frame in inspected.frames:
        lines = [line for line in found.lines if line.use and line.frame == frame.frame]
        chosen = [line for line in lines if line.exposure == frame.exposure] or lines
        for line in chosen[:1]:
            line.notes.extend(each.sentence for each in frame.blemishes)
    found.retake[:] = sorted({*found.retake, *inspected.retake})
    return inspected


def offer_records(inspected: Inspected, keeping: Keeping) -> tuple[KeptAll, tuple[str, ...]]:
    """Store what the set measured as records of a kit, and say what it does not carry.

    Raises InputError, StorageFailed.
    """
    kit = keeping.kit() or inspected.plan.kit
    found = offered(kit, inspected.linked, inspected.head, inspected.lens.pupil_ahead_mm)
    return keep_all(found.findings, keeping, {}), found.left_out


def write_inspection(
    found: Matched, inspected: Inspected, folder: Path, out: Path, begin: Begin, *, xmp: bool = False
) -> None:
    """Write tables and proof sheet to the new folder `out`, which appears when all is written. Raises StorageFailed.

    With `xmp` also a sidecar for each file of the set.
    """
    must_be_free_for(out, folder)
    with appearing_folder(out) as hidden:
        _write(found, inspected, folder, hidden, begin)
        if xmp:
            _write_sidecars(found, inspected, hidden / SIDECARS)


def writer_of(found: Matched, inspected: Inspected, folder: Path, begin: Begin) -> Callable[[Path], None]:
    """What writes all this into FOLDER within another command's folder."""

    def write(out: Path) -> None:
        make_inner_folder(out / FOLDER)
        _write(found, inspected, folder, out / FOLDER, begin)

    return write


def _write(found: Matched, inspected: Inspected, folder: Path, out: Path, begin: Begin) -> None:
    rows = pose_rows(inspected, found.lines)
    write_new(out / "poses.csv", poses_csv(rows))
    write_new(out / "poses.json", json.dumps(poses_json(rows), indent=1, allow_nan=False) + "\n")
    write_new(out / "inspection.json", json.dumps(inspection_values(inspected), indent=1, allow_nan=False) + "\n")
    write_proof_sheet(inspected, folder, out, begin(len(inspected.frames)), passes=least_different_passes(inspected))


def _write_sidecars(found: Matched, inspected: Inspected, folder: Path) -> None:
    """Write the sidecars, each where its file is on the card."""
    measured = values_by_file(inspected, found.lines)
    for line in found.lines:
        values = measured.get(line.file or "") if line.use else None
        if values is not None:
            beside = (folder / (line.file or "")).with_suffix(".xmp")
            make_inner_folder(beside.parent)
            write_new(beside, sidecar_of(line, found, values))


def inspection_values(inspected: Inspected) -> dict[str, Any]:
    """The verdicts for other programs."""
    return {
        "sentences": inspection_sentences(inspected),
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
