"""The records of a kit as people read them, and whether each counts."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from controller.calibration import records
from controller.calibration.validity import is_stale, used_records
from controller.kit.kit import Kit


@dataclass(frozen=True, slots=True)
class Listed:
    """A record, and why it counts or does not: "counts", "stale", "older", "undone" or "kit changed"."""

    record: records.Record
    standing: str

    def as_json(self) -> dict[str, Any]:
        """For other programs."""
        return self.record.model_dump(mode="json") | {"standing": self.standing}

    def line(self) -> str:
        """One line: when, what, how much with its uncertainty, and whether it counts."""
        record = self.record
        name, value = next(iter(record.values.items()))
        u = record.uncertainties.get(f"u_{name}")
        said = f"{name} {value:.7g}" + ("" if u is None else f" (u {u:.2g})")
        axis = record.axis.value if record.axis is not None else ""
        return f"{record.id:4}  {record.made_at:%Y-%m-%d %H:%M}  {record.kind.value:9}{axis:5}{said}  [{self.standing}]"

    def text(self) -> str:
        """The record with everything in it."""
        record = self.record
        lines = [self.line(), f"      how: {record.how}" + (f"; with: {record.with_what}" if record.with_what else "")]
        if record.lens or record.focal_length_mm:
            focal = f" at {record.focal_length_mm:g} mm" if record.focal_length_mm else ""
            lines.append(f"      lens: {record.lens or 'unnamed'}{focal}")
        for name, value in record.values.items():
            u = record.uncertainties.get(f"u_{name}")
            lines.append(f"      {name} = {value:.7g}" + ("" if u is None else f", standard uncertainty {u:.2g}"))
        for name, values in record.residuals.items():
            lines.append(f"      residuals, {name}: {' '.join(f'{value:.3g}' for value in values)}")
        return "\n".join(lines)


def listed(record: records.Record, kept: Sequence[records.Record], kit: Kit, now: datetime) -> Listed:
    """How a record stands at `now` among all records of a kit."""
    return Listed(record, _standing_of(record, kept, kit, now))


def _standing_of(record: records.Record, kept: Sequence[records.Record], kit: Kit, now: datetime) -> str:
    if record.undone:
        return "undone"
    if record.kit_digest != records.kit_digest(kit, record.kind, record.axis):
        return "kit changed"
    if record not in used_records(kept, record.kind, record.axis, kit):
        return "older"
    return "stale" if is_stale(record, now) else "counts"
