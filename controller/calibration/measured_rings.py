"""How a kit's head rings by its records of settle, and how well that is known.

A record of both axes gives figures of the head, a record of one axis those of that axis. Of the two the newer is used.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from controller.bounds import BOUNDS
from controller.calibration.finding import coverage_factor
from controller.calibration.records import AxisName, CalibrationKind, Record, valid
from controller.kit.kit import Kit

DAY_TO_DAY = {"ring_hz": 0.02, "ring_damping": 0.10}
"""How far a head differs from itself on another day, as a share: feet, clamps, cables and warmth change. Common practice,
no source."""


@dataclass(frozen=True, slots=True)
class MeasuredRings:
    """Keys of the kit with their measured values: those of [head], and those of each axis."""

    head: Mapping[str, Any]
    axes: Mapping[AxisName, Mapping[str, Any]]


def ring_record(records: Sequence[Record], axis: AxisName, kit: Kit) -> Record | None:
    """The record that is used for an axis: the newest valid one of that axis or of both. None if there is none."""
    either = [record for about in (axis, None) for record in valid(records, CalibrationKind.SETTLE, about, kit)]
    return max(either, key=lambda record: (record.made_at, record.id), default=None)


def measured_rings(kit: Kit, records: Sequence[Record]) -> MeasuredRings:
    """The figures that the records of settle put in the place of the kit's.

    How well they are known is a figure of the head: that of the axis that is known less well, or the kit's own for an
    axis that was not measured, and for a second vibration.
    """
    used = {axis: ring_record(records, axis, kit) for axis in AxisName}
    whole = next((record for record in used.values() if record is not None and record.axis is None), None)
    head: dict[str, Any] = {} if whole is None else _figures(whole)
    axes = {axis: {} if used[axis] in (None, whole) else _of_axis(used[axis]) for axis in AxisName}
    if any(used.values()):
        kept = list(used.values()) if kit.head.second_ring_hz is None else [*used.values(), None]
        for name in DAY_TO_DAY:
            stated = getattr(kit.head, f"{name}_within")
            shares = [None if each is None else known_within(each, name) for each in kept]
            known = max(stated if share is None else share for share in shares)
            if known != stated:
                head[f"{name}_within"] = known
    return MeasuredRings(head, axes)


def known_within(record: Record, name: str) -> float | None:
    """How well ring_hz or ring_damping is known by a record, as a share: its 95 % interval, and the change from day to
    day. None if the record has no uncertainty.
    """
    share = record.values.get(f"{name}_within")
    if share is None:  # of the first version: the interval of a single vibration
        if f"u_{name}" not in record.uncertainties:
            return None
        half = coverage_factor(record.degrees_of_freedom) * record.uncertainties[f"u_{name}"]
        share = half / record.values[name]
    bound = BOUNDS[f"{name}_within"]
    return min(float((share**2 + DAY_TO_DAY[name] ** 2) ** 0.5), bound.most)


def _figures(record: Record) -> dict[str, Any]:
    return {name: record.values[name] for name in DAY_TO_DAY}


def _of_axis(record: Record | None) -> dict[str, Any]:
    if record is None:
        return {}
    return _figures(record) | {"ring_over_pitch": tuple((row.pitch_deg, row.ring_hz) for row in record.over_pitch)}
