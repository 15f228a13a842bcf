"""The result of a procedure as a value: for the record, for people, for other programs and for the page."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

from controller.calibration import records
from controller.calibration.records import AxisName, CalibrationKind, RingRow
from controller.kit.kit import Kit


class Stated(StrEnum):
    """What an interval is claimed to contain."""

    ALL = "95 %"
    SCATTER = "from the scatter alone"
    """An error of known kind could not be tested for, so no share of cases is stated."""


@dataclass(frozen=True, slots=True)
class PlotSeries:
    """Points of a plot, or a line through them."""

    label: str
    x: Sequence[float]
    y: Sequence[float]
    line: bool = False


@dataclass(frozen=True, slots=True)
class Plot:
    """One plot: what it shows, its axes with their units, its series."""

    heading: str
    caption: str
    x_label: str
    y_label: str
    series: tuple[PlotSeries, ...]


@dataclass(frozen=True, slots=True)
class Finding:
    """The result of one procedure. Names as in `records.Record`; `more` is for other programs only.

    `degrees_of_freedom` applies to all uncertainties; None if not limited. `intervals` contains those that are not the
    value plus or minus a multiple of its uncertainty. `stated` is the claim of all of them.
    """

    kind: CalibrationKind
    axis: AxisName | None
    values: Mapping[str, float]
    uncertainties: Mapping[str, float]
    degrees_of_freedom: float | None
    how: str
    sentences: tuple[str, ...]
    residuals: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
    more: Mapping[str, Any] = field(default_factory=dict)
    plots: tuple[Plot, ...] = ()
    lens: str | None = None
    focal_length_mm: float | None = None
    intervals: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    stated: Stated = Stated.ALL
    over_pitch: tuple[RingRow, ...] = ()

    def interval(self, name: str) -> tuple[float, float]:
        """The interval that contains the true value of `name` in 95 of 100 cases, if `stated` says so."""
        if name in self.intervals:
            return self.intervals[name]
        half = coverage_factor(self.degrees_of_freedom) * self.uncertainties[f"u_{name}"]
        return self.values[name] - half, self.values[name] + half

    def as_json(self) -> dict[str, Any]:
        """For other programs: values, uncertainties, intervals under a name that says what they contain, and `more`."""
        names = [*self.intervals, *(name.removeprefix("u_") for name in self.uncertainties)]
        intervals = {name: self.interval(name) for name in names}
        said = {
            "degrees_of_freedom": self.degrees_of_freedom,
            "stated": self.stated.value,
            "interval_95" if self.stated is Stated.ALL else "interval_from_scatter": intervals,
        }
        return dict(self.values) | dict(self.uncertainties) | said | dict(self.more)


def coverage_factor(degrees_of_freedom: float | None) -> float:
    """Half-width of a 95 % interval in standard uncertainties (Student; GUM, JCGM 100:2008, G.3.2)."""
    return quantile(0.975, degrees_of_freedom)


def quantile(probability: float, degrees_of_freedom: float | None) -> float:
    """Quantile of Student's distribution; of the normal one if the degrees of freedom are None or inf."""
    from scipy.special import ndtri, stdtrit  # noqa: PLC0415  a capture reads records and needs no quantile

    if degrees_of_freedom is None or math.isinf(degrees_of_freedom):
        return float(ndtri(probability))
    return float(stdtrit(degrees_of_freedom, probability))


def record_of(finding: Finding, kit: Kit, with_what: str, made_at: str) -> records.Record:
    """The record of a finding for this kit, made at a time as ISO 8601 has it."""
    return records.new_record(
        kit,
        finding.kind,
        finding.axis,
        made_at,
        values=dict(finding.values),
        uncertainties=dict(finding.uncertainties),
        how=finding.how,
        degrees_of_freedom=finding.degrees_of_freedom,
        with_what=with_what,
        residuals=dict(finding.residuals),
        lens=finding.lens,
        focal_length_mm=finding.focal_length_mm,
        over_pitch=finding.over_pitch,
    )
