"""The head measured from an adjusted set: steps per degree of both axes, and play, each with a 95 % interval.

The head's terms were adjusted together with the rotations and the lens, so their covariance already contains everything
that the photographs leave open: this is generalised least squares with the joint covariance. Intervals as in the GUM
(JCGM 100:2008, 6.3.3), with a coverage factor of 1.96, because a set has thousands of points.

The lean of the pan axis cannot be had from matching points. A lean turns all frames alike, and nothing between two
photographs shows it: they contain no plumb line that these matches know.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from controller.inspection.adjustment import Adjusted
from controller.inspection.poses import HEAD_TERMS, HeadFrame

COVERAGE = 1.96
MOST_LEFT = 0.25  # share of the uncertainty before the set that may remain after it; more means nothing was measured
LEAST_SPREAD_DEG = 0.5  # axes whose frames are nearer together than this never turned


class Unmeasured(StrEnum):
    """Why a set cannot carry a quantity."""

    NO_LINKS = "no two frames are linked by matching points"
    ONE_PAN = "all linked frames have the same pan angle"
    ONE_TILT = "all linked frames have the same tilt angle: a single row says nothing of tilt"
    ONE_APPROACH = "the axis approached all linked frames from the same side, or the side is unknown"
    TOO_WEAK = "the matching points leave it as uncertain as it was"
    NO_PLUMB_LINE = "a lean turns all frames alike, and matching points contain no plumb line"


@dataclass(frozen=True, slots=True)
class Measured:
    """A value with its standard uncertainty, in the unit of the field that it is in."""

    value: float
    sd: float

    @property
    def interval(self) -> tuple[float, float]:
        """The 95 % interval."""
        return self.value - COVERAGE * self.sd, self.value + COVERAGE * self.sd


@dataclass(frozen=True, slots=True)
class HeadMeasured:
    """The head, or the reasons why a set cannot carry it. Play and lean are in degrees."""

    pan_steps_per_degree: Measured | Unmeasured
    tilt_steps_per_degree: Measured | Unmeasured
    pan_play_deg: Measured | Unmeasured
    tilt_play_deg: Measured | Unmeasured
    lean_deg: Measured | Unmeasured


def measure_head(
    frames: Sequence[HeadFrame], adjusted: Adjusted, pan_steps_per_degree: float, tilt_steps_per_degree: float
) -> HeadMeasured:
    """Measure the head. The steps per degree are those with which the frames' angles were computed from steps."""
    linked = [frame for frame, alone in zip(frames, adjusted.alone, strict=True) if not alone]
    pans, tilts = [frame.pan_deg for frame in linked], [frame.tilt_deg for frame in linked]
    return HeadMeasured(
        _steps(adjusted, "pan_scale", pan_steps_per_degree, _unturned(pans, Unmeasured.ONE_PAN)),
        _steps(adjusted, "tilt_scale", tilt_steps_per_degree, _unturned(tilts, Unmeasured.ONE_TILT)),
        _play(adjusted, "pan_play", {frame.pan_from for frame in linked}),
        _play(adjusted, "tilt_play", {frame.tilt_from for frame in linked}),
        Unmeasured.NO_PLUMB_LINE,
    )


def _unturned(angles_deg: Sequence[float], reason: Unmeasured) -> Unmeasured | None:
    if not angles_deg:
        return Unmeasured.NO_LINKS
    return reason if max(angles_deg) - min(angles_deg) < LEAST_SPREAD_DEG else None


def _steps(adjusted: Adjusted, term: str, assumed: float, reason: Unmeasured | None) -> Measured | Unmeasured:
    """An axis that turns further than commanded has fewer steps per degree."""
    scale = reason or _term(adjusted, term)
    if isinstance(scale, Unmeasured):
        return scale
    return Measured(assumed / (1 + scale.value), assumed * scale.sd / (1 + scale.value) ** 2)


def _play(adjusted: Adjusted, term: str, sides: set[int]) -> Measured | Unmeasured:
    if not sides:
        return Unmeasured.NO_LINKS
    if not {-1, 1} <= sides:
        return Unmeasured.ONE_APPROACH
    found = _term(adjusted, term)
    if isinstance(found, Unmeasured):
        return found
    return Measured(float(np.degrees(found.value)), float(np.degrees(found.sd)))


def _term(adjusted: Adjusted, term: str) -> Measured | Unmeasured:
    place = HEAD_TERMS.index(term)
    sd = float(np.sqrt(adjusted.head_covariance()[place, place]))
    if sd > MOST_LEFT * adjusted.priors.head[place]:
        return Unmeasured.TOO_WEAK
    return Measured(float(adjusted.head[place]), sd)
