"""What a procedure found, as a value: for the record, for people, for other programs and for the page."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from scipy.stats import norm, t

from controller.calibration.records import AxisName, Kind


@dataclass(frozen=True, slots=True)
class Series:
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
    series: tuple[Series, ...]


@dataclass(frozen=True, slots=True)
class Finding:
    """The result of one procedure. Names as in `records.Record`; `more` is for other programs only.

    `degrees_of_freedom` belongs to all uncertainties, None where they are not limited.
    """

    kind: Kind
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

    def interval(self, name: str) -> tuple[float, float]:
        """The interval that holds the true value of `name` in 95 of 100 cases."""
        half = coverage_factor(self.degrees_of_freedom) * self.uncertainties[f"u_{name}"]
        return self.values[name] - half, self.values[name] + half

    def as_json(self) -> dict[str, Any]:
        """For other programs: values, uncertainties, the 95 % intervals, and `more`."""
        intervals = {name.removeprefix("u_"): self.interval(name.removeprefix("u_")) for name in self.uncertainties}
        freedom = {"degrees_of_freedom": self.degrees_of_freedom}
        return dict(self.values) | dict(self.uncertainties) | freedom | {"interval_95": intervals} | dict(self.more)


def coverage_factor(degrees_of_freedom: float | None) -> float:
    """By how many standard uncertainties a 95 % interval reaches to either side (Student; GUM, JCGM 100:2008, G.3.2)."""
    if degrees_of_freedom is None or math.isinf(degrees_of_freedom):
        return float(norm.ppf(0.975))
    return float(t.ppf(0.975, degrees_of_freedom))
