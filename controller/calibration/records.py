"""The calibration file beside the kit: dated records, none ever deleted.

`NAME.calibration.json` is beside `NAME.toml`. A record is valid until it is undone or the part of the kit that it depends
on changes (`kit_digest`). Of several valid ones, the newest is used.
"""

import hashlib
import json
import math
import os
from collections.abc import Sequence
from datetime import UTC, datetime
from enum import StrEnum
from itertools import pairwise
from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import AwareDatetime, Field, ValidationError, model_validator

from controller.bounds import BOUNDS
from controller.errors import InputError
from controller.files import write_whole
from controller.kit.kit import Axis, Kit, Table, within
from controller.kit.load import mistakes
from controller.reading import CALIBRATION, holds, read_json
from controller.shown import shown

OLDEST_VERSION, FORMAT_VERSION = 1, 2
MOST_PITCHES = 37
Name = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]*$", max_length=60)]


class CalibrationKind(StrEnum):
    """What was calibrated."""

    STEPS = "steps"
    BACKLASH = "backlash"
    LEVEL = "level"
    PARALLAX = "parallax"
    SETTLE = "settle"
    VERIFY = "verify"


class AxisName(StrEnum):
    """The axis that a record is about, if it is about one."""

    PAN = "pan"
    TILT = "tilt"

    @property
    def number(self) -> int:
        """Its place where pan and tilt stand side by side: 0 or 1."""
        return list(AxisName).index(self)


OF_ONE_AXIS = frozenset({CalibrationKind.STEPS, CalibrationKind.BACKLASH})
OF_EITHER = frozenset({CalibrationKind.SETTLE})
"""About one axis, or about the head as a whole."""
# The values that each kind of record must have, and their bounds.
NEEDED = {
    CalibrationKind.STEPS: {"steps_per_degree": BOUNDS["measured_steps_per_degree"]},
    CalibrationKind.BACKLASH: {"play_deg": BOUNDS["backlash_deg"]},
    CalibrationKind.LEVEL: {"lean_deg": BOUNDS["lean_deg"], "toward_deg": BOUNDS["lean_toward_deg"]},
    CalibrationKind.SETTLE: {"ring_hz": BOUNDS["ring_hz"], "ring_damping": BOUNDS["ring_damping"]},
}


class RingRow(Table):
    """How fast the camera swings after a stop of the axis at one pitch, and the standard uncertainty of that."""

    pitch_deg: Annotated[float, within("pitch_deg")]
    ring_hz: Annotated[float, within("ring_hz")]
    u_ring_hz: Annotated[float, Field(ge=0)]


class Record(Table):
    """One measurement. Names of values end in their unit; `uncertainties` has the standard uncertainty `u_<name>`.

    `degrees_of_freedom` belongs to the first value and is None if not limited. The values that others use:

    - steps: steps_per_degree
    - backlash: play_deg (what the planner must take up; 0 if none was found), reversal_deg, repeatability_deg
    - level: lean_deg, toward_deg (the yaw toward which the pan axis leans)
    - parallax: offset_mm (the lens's no-parallax point ahead of the axis), rail_mm (the reading of the rail's scale to
      set)
    - settle: ring_hz, ring_damping; ring_hz_within and ring_damping_within (half of the 95 % interval as a share of the
      value). `over_pitch` has a row for each pitch, in order, if it was measured at several. Of one axis, or of both.
    - verify: repeatability_deg, needed_deg, passed (1 or 0)
    """

    id: Annotated[int, Field(ge=0)] = 0
    made_at: AwareDatetime
    kind: CalibrationKind
    axis: AxisName | None = None
    values: Annotated[dict[Name, float], Field(min_length=1)]
    uncertainties: dict[Name, float] = Field(default_factory=dict)
    degrees_of_freedom: Annotated[float, Field(gt=0)] | None = None
    how: str
    with_what: str = ""
    residuals: dict[Name, tuple[float, ...]] = Field(default_factory=dict)
    over_pitch: Annotated[tuple[RingRow, ...], Field(max_length=MOST_PITCHES)] = ()
    lens: str | None = None
    focal_length_mm: Annotated[float, within("focal_length_mm")] | None = None
    undone: bool = False
    kit_digest: str

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        if self.kind not in OF_EITHER and (self.kind in OF_ONE_AXIS) != (self.axis is not None):
            raise ValueError(f"a record of {self.kind} {'needs' if self.axis is None else 'has no'} axis")
        for name, bound in NEEDED.get(self.kind, {}).items():
            if not bound.holds(self.values.get(name, math.nan)):
                raise ValueError(f"a record of {self.kind} needs {name} between {bound.least:g} and {bound.most:g}")
        pitches = [row.pitch_deg for row in self.over_pitch]
        if pitches and (self.kind not in OF_EITHER or self.axis is None):
            raise ValueError("over_pitch belongs to a record of settle of one axis")
        if any(after <= before for before, after in pairwise(pitches)):
            raise ValueError("over_pitch: the pitches must grow from row to row")
        for name, value in self.uncertainties.items():
            if name.removeprefix("u_") not in self.values or not name.startswith("u_"):
                raise ValueError(f"the uncertainty {name} belongs to no value")
            if value < 0:
                raise ValueError(f"the uncertainty {name} = {value:g} is negative")
        return self


class CalibrationFile(Table):
    """The file as a whole."""

    format: Literal["fullturn-calibration"] = "fullturn-calibration"
    format_version: Literal[1, 2] = 2  # only keys with a default have come since the first
    records: tuple[Record, ...] = ()

    @model_validator(mode="after")
    def _ids_differ(self) -> Self:
        if len({record.id for record in self.records}) != len(self.records):
            raise ValueError("two records have the same id")
        return self


def calibration_path(kit_path: Path) -> Path:
    """The calibration file that belongs to the kit at `kit_path`."""
    return kit_path.with_name(kit_path.name.removesuffix(".toml") + ".calibration.json")


def kit_digest(kit: Kit, kind: CalibrationKind, axis: AxisName | None = None) -> str:
    """A hash of the part of the kit that a record of `kind` depends on; never of values that calibration measures."""
    part = json.dumps(_depends_on(kit, kind, axis), sort_keys=True, allow_nan=False)
    return hashlib.sha256(part.encode()).hexdigest()[:16]


def _depends_on(kit: Kit, kind: CalibrationKind, axis: AxisName | None) -> Any:
    gearing = {"full_steps_per_turn", "microsteps", "gear_ratio"}
    lens = kit.lens.model_dump(mode="json", include={"make", "model", "projection", "focal_length_mm"})
    if kind in OF_ONE_AXIS:
        return (kit.head.pan if axis is AxisName.PAN else kit.head.tilt).model_dump(include=gearing)
    axes = {name: gearing | {"max_speed_deg_s", "max_accel_deg_s2"} for name in ("pan", "tilt")}
    match kind:
        case CalibrationKind.SETTLE:
            return [kit.head.model_dump(include=axes), lens]
        case CalibrationKind.PARALLAX:  # a zoom keeps its records: its no-parallax point is interpolated between them
            return lens if kit.lens.model is None else {"make": kit.lens.make, "model": kit.lens.model}
        case CalibrationKind.VERIFY:
            return kit.head.model_dump(include=axes)
        case _:  # the lean of the head does not depend on the kit
            return None


def new_record(
    kit: Kit,
    kind: CalibrationKind,
    axis: AxisName | None,
    made_at: str,
    *,
    values: dict[str, float],
    uncertainties: dict[str, float],
    how: str,
    **more: Any,
) -> Record:
    """A record that depends on `kit`, not stored yet; `made_at` as ISO 8601 with its offset, `more` as in Record."""
    return Record(
        made_at=datetime.fromisoformat(made_at).astimezone(UTC),
        kind=kind,
        axis=axis,
        values=values,
        uncertainties=uncertainties,
        how=how,
        kit_digest=kit_digest(kit, kind, axis),
        **more,
    )


def read(kit_path: Path) -> tuple[Record, ...]:
    """All records of the kit at `kit_path`, oldest first; none if there is no file.

    Raises InputError, in one sentence, for a damaged file or one of another version.
    """
    path = calibration_path(kit_path)
    if not os.path.lexists(path):
        return ()
    content = read_json(path, CALIBRATION)
    if not isinstance(content, dict) or content.get("format") != "fullturn-calibration":
        raise InputError(f"{path}: is not a calibration file; move it away and calibrate again.")
    version = content.get("format_version")
    if isinstance(version, bool) or version not in range(OLDEST_VERSION, FORMAT_VERSION + 1):
        raise InputError(
            f"{path}: is a calibration file of format version {shown(str(version))}, this program reads versions "
            f"{OLDEST_VERSION} to {FORMAT_VERSION}; use the program that wrote it, or move it away and calibrate again."
        )
    try:
        return CalibrationFile.model_validate_json(json.dumps(content, allow_nan=False)).records
    except ValidationError as error:
        raise InputError(mistakes(error, str(path))[0]) from None


def _write(kit_path: Path, records: Sequence[Record]) -> None:
    text = CalibrationFile(records=tuple(records)).model_dump_json(indent=1)
    write_whole(calibration_path(kit_path), text + "\n", replace=True, ours=is_own_file)


def is_own_file(path: Path) -> bool:
    """Whether a file contains records of this program and version."""
    return holds(path, CALIBRATION, CalibrationFile)


def add(kit_path: Path, record: Record) -> Record:
    """Append `record` to the others and return it with its id. Raises InputError, StorageFailed."""
    records = read(kit_path)
    record = record.model_copy(update={"id": max((other.id for other in records), default=0) + 1})
    _write(kit_path, [*records, record])
    return record


def undo(kit_path: Path, record_id: int | None = None) -> Record:
    """Mark a record as undone, the newest if none is named, and return it.

    It stays in the file. Raises InputError if there is no such record or it is already undone, and StorageFailed.
    """
    records = read(kit_path)
    path = calibration_path(kit_path)
    if record_id is None:
        standing = [record for record in records if not record.undone]
        if not standing:
            raise InputError(f"{path}: has no record to undo.")
        record_id = max(standing, key=_age).id
    found = next((record for record in records if record.id == record_id), None)
    if found is None:
        raise InputError(f"{path}: has no record {record_id}; `fullturn calibrate list` names them.")
    if found.undone:
        raise InputError(f"{path}: record {record_id} is already undone.")
    undone = found.model_copy(update={"undone": True})
    _write(kit_path, [undone if record.id == record_id else record for record in records])
    return undone


def valid(records: Sequence[Record], kind: CalibrationKind, axis: AxisName | None, kit: Kit) -> list[Record]:
    """The records of this kind and axis that are not undone and whose part of the kit is unchanged, newest first."""
    digest = kit_digest(kit, kind, axis)
    kept = [
        record
        for record in records
        if record.kind is kind and record.axis is axis and not record.undone and record.kit_digest == digest
    ]
    return sorted(kept, key=_age, reverse=True)


def newest_valid(records: Sequence[Record], kind: CalibrationKind, axis: AxisName | None, kit: Kit) -> Record | None:
    """The record that is used, or None."""
    return next(iter(valid(records, kind, axis, kit)), None)


def _age(record: Record) -> tuple[datetime, int]:
    return record.made_at, record.id


def axis_of(kit: Kit | None, axis: AxisName) -> Axis | None:
    """That axis of the kit."""
    return None if kit is None else (kit.head.pan if axis is AxisName.PAN else kit.head.tilt)


def nominal_rate(kit: Kit | None, axis: AxisName) -> float | None:
    """Steps per degree by the gearing of that axis of the kit."""
    plain = axis_of(kit, axis)
    return None if plain is None else plain.nominal_steps_per_degree
