"""The effect of the records on a kit: the calibrated kit, and how far it may still be trusted."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Any

from controller.calibration.measured_rings import measured_rings, ring_record
from controller.calibration.records import OF_EITHER, OF_ONE_AXIS, AxisName, CalibrationKind, Record, newest_valid
from controller.capture.preflight import Check
from controller.kit.kit import Axis, Kit
from controller.kit.provenance import Source, Sources

# Days after which a record is stale. Our own choice, no source: belts and lenses change over months; the level of the
# head is valid until somebody moves the tripod.
STALE_DAYS: dict[CalibrationKind, float] = {
    CalibrationKind.STEPS: 180,
    CalibrationKind.BACKLASH: 180,
    CalibrationKind.LEVEL: 0.5,
    CalibrationKind.PARALLAX: 730,
    CalibrationKind.SETTLE: 180,
    CalibrationKind.VERIFY: 90,
}


def calibrated(kit: Kit, records: Sequence[Record], now: datetime | None = None) -> Kit:
    """The kit with the newest valid records applied: steps per degree, the gears' backlash, how the head rings.

    Give `now` when the head is in place for the set: then its lean applies too, unless that record is stale. Values from
    a record are marked as measured.
    """
    measured: Sources = {}
    rings = measured_rings(kit, records)

    def axis(name: AxisName, plain: Axis) -> Axis:
        changes: dict[str, Any] = dict(rings.axes[name])
        if (steps := newest_valid(records, CalibrationKind.STEPS, name, kit)) is not None:
            changes["measured_steps_per_degree"] = steps.values["steps_per_degree"]
        if (backlash := newest_valid(records, CalibrationKind.BACKLASH, name, kit)) is not None:
            changes["backlash_deg"] = backlash.values["play_deg"]
        measured.update(dict.fromkeys((f"head.{name.value}.{key}" for key in changes), Source.MEASURED))
        return plain.model_copy(update=changes)

    changes: dict[str, Any] = {
        "pan": axis(AxisName.PAN, kit.head.pan),
        "tilt": axis(AxisName.TILT, kit.head.tilt),
    }
    changes |= rings.head
    level = newest_valid(records, CalibrationKind.LEVEL, None, kit)
    if level is not None and now is not None and not is_stale(level, now):
        changes |= {"lean_deg": level.values["lean_deg"], "lean_toward_deg": level.values["toward_deg"]}
    measured |= {f"head.{key}": Source.MEASURED for key in changes if key not in {"pan", "tilt"}}
    head = kit.head.model_copy(update=changes)
    return kit.model_copy(update={"head": head, "sources": kit.sources | measured})


def is_stale(record: Record, now: datetime, days: float | None = None) -> bool:
    """Whether a record is older than `days` at `now` (with its time zone); without `days`, the limit is that of
    STALE_DAYS.
    """
    limit = STALE_DAYS[record.kind] if days is None else days
    return (now - record.made_at).total_seconds() > limit * 86400


class State(StrEnum):
    """The state of one kind of calibration."""

    PRESENT = "present"
    STALE = "stale"
    MISSING = "missing"


@dataclass(frozen=True, slots=True)
class CalibrationStanding:
    """The state of one kind of calibration, with a sentence for the operator."""

    kind: CalibrationKind
    axis: AxisName | None
    state: State
    sentence: str


def fresh(
    kit: Kit, records: Sequence[Record], now: datetime, days: Mapping[CalibrationKind, float] | float | None = None
) -> list[CalibrationStanding]:
    """The state of each kind of calibration at `now`; `days` for all kinds or for some, the others as in STALE_DAYS."""
    standings = []
    for kind in CalibrationKind:
        limit = days.get(kind) if isinstance(days, Mapping) else days
        axes = tuple(AxisName) if kind in OF_ONE_AXIS else (None,)
        standings += [_standing(kit, records, now, limit, kind, axis) for axis in axes]
    return standings


def state_sentences(kit: Kit, records: Sequence[Record], now: datetime) -> tuple[str, ...]:
    """A sentence for each kind that a plan uses and that was ever calibrated."""
    relied_on = (CalibrationKind.STEPS, CalibrationKind.BACKLASH, CalibrationKind.SETTLE)
    standings = fresh(kit, records, now)
    return tuple(s.sentence for s in standings if s.kind in relied_on and ever(records, s.kind, s.axis))


def ever(records: Sequence[Record], kind: CalibrationKind, axis: AxisName | None) -> bool:
    """Whether this was ever calibrated, with this kit or another, and not undone."""
    return any(r.kind is kind and (r.axis is axis or kind in OF_EITHER) and not r.undone for r in records)


def _standing(
    kit: Kit, records: Sequence[Record], now: datetime, days: float | None, kind: CalibrationKind, axis: AxisName | None
) -> CalibrationStanding:
    name = kind.value if axis is None else f"{kind.value} of the {axis.value} axis"
    used = used_records(records, kind, axis, kit)
    record = min((each for each in used if each is not None), key=lambda each: each.made_at, default=None)
    if record is None:
        another = ever(records, kind, axis)
        why = "calibrated before the kit was changed" if another else "not calibrated"
        return CalibrationStanding(kind, axis, State.MISSING, f"{name}: {why}; the kit's figures are used.")
    age = (now - record.made_at).total_seconds() / 86400
    only = "" if None not in used else f" of the {(record.axis or AxisName.PAN).value} axis alone"
    text = f"{name}{only}: calibrated {max(age, 0.0):.1f} days ago (record {record.id})"
    if is_stale(record, now, days):
        return CalibrationStanding(
            kind, axis, State.STALE, f"{text}, which is too long ago; run `fullturn calibrate {kind.value}`."
        )
    return CalibrationStanding(kind, axis, State.PRESENT, f"{text}.")


def used_records(
    records: Sequence[Record], kind: CalibrationKind, axis: AxisName | None, kit: Kit
) -> list[Record | None]:
    """The records that are used; None for one that is missing. Of settle there is one for each axis, or one for both."""
    if kind is CalibrationKind.SETTLE:
        return [ring_record(records, name, kit) for name in (AxisName if axis is None else (axis,))]
    return [newest_valid(records, kind, axis, kit)]


RELIED_ON = (CalibrationKind.STEPS, CalibrationKind.BACKLASH, CalibrationKind.LEVEL)


def calibration_checks(kit: Kit, records: Sequence[Record], now: datetime) -> list[Check]:
    """How the calibration stands. One that was made for another gearing is no calibration of this head."""
    found = []
    for standing in fresh(kit, records, now):
        if standing.kind not in RELIED_ON:
            continue
        outdated = standing.state is State.MISSING and ever(records, standing.kind, standing.axis)
        present = standing.state is State.PRESENT
        found.append(Check("calibration", standing.sentence.removesuffix("."), good=not outdated, looked=present))
    return found
