"""The place of the entrance pupil against the axes, adjusted together with the frames of a set.

With the pupil at q from the point about which the head turns (in the camera's axes: right, 0, ahead), a thing P is seen
from frame i along R_i' P - q. Only q over the distance shows in photographs: every length in them may be twice as large.
So the offset comes as a share of the distance to the nearest things, and in millimetres only with a known length: how
far away the nearest things are, or how high the axes are above a level ground that the lower frames show.

The principle: R. Littlefield, "Theory of the No-Parallax Point in Panorama Photography", 2006. Signs and distances are
those of `calibration/parallax.py`: ahead is positive, distances are from the axis.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from controller.inspection.adjustment import GATE, Adjusted, adjust, rms_of
from controller.inspection.ground import first_offset, joint_fit, nearness_of_ground
from controller.inspection.head_measured import Measured
from controller.inspection.lens_model import Array, BrownLens
from controller.inspection.links import Flags, Link, Points, misses, points_of
from controller.inspection.near_points import NoPupil, OffsetFit, parallax_of
from controller.inspection.near_things import lengths_with_parallax, may_be_near, nearest_offset
from controller.inspection.poses import HeadFrame
from controller.inspection.problem import NOTHING_KNOWN, Priors

PASSES_NEAR, PASSES_ON_GROUND = 4, 8
STILL = 0.2  # standard deviations of the offset, between passes
UNEVEN_SHARE = 0.03  # of the height: grass, slopes and things that stand about. Common practice, no source
MOST_UNSURE = 0.1  # share of the length: an offset known no better says nothing


@dataclass(frozen=True, slots=True)
class NearestThings:
    """The distance from the axis of the nearest things that frames share, with its standard uncertainty, in mm."""

    distance: Measured


@dataclass(frozen=True, slots=True)
class LevelGround:
    """The height of the tilt axis above a level ground, with its standard uncertainty, in mm."""

    height: Measured


@dataclass(frozen=True, slots=True)
class PupilFound:
    """Where the entrance pupil is: ahead of the axis and to the right, as shares of a length, and in mm if it is known.

    The length is the distance of the nearest things from the axis, or the height of the axis above the ground.
    """

    ahead_share: Measured
    right_share: Measured
    ahead_mm: Measured | None
    right_mm: Measured | None
    points: int

    @property
    def slide(self) -> str:
        """The way to slide the camera along its rail: "back" or "forward"."""
        return "back" if self.ahead_share.value >= 0 else "forward"


def adjust_with_pupil(
    frames: Sequence[HeadFrame],
    links: Sequence[Link],
    lens: BrownLens,
    axis: Array,
    known: NearestThings | LevelGround | None = None,
    priors: Priors = NOTHING_KNOWN,
    *,
    before: Adjusted | None = None,
) -> tuple[Adjusted, PupilFound | NoPupil]:
    """Adjust a set of a lens that may not turn about its pupil, and find the pupil.

    If it cannot be found, the adjustment is that of `adjust`; `before` is as there. Raises ValueError without frames.
    """
    plain = adjust(frames, links, lens, axis, priors, before=before)
    if isinstance(known, LevelGround):
        return _on_ground(plain, frames, links, known, priors)
    return _near_things(plain, frames, links, known, priors)


def _near_things(
    plain: Adjusted, frames: Sequence[HeadFrame], links: Sequence[Link], known: NearestThings | None, priors: Priors
) -> tuple[Adjusted, PupilFound | NoPupil]:
    points, adjusted = points_of(links), plain
    found = nearest_offset(points, adjusted)
    for _ in range(PASSES_NEAR):
        if isinstance(found, NoPupil):
            return plain, found
        before = found
        far = _without(links, may_be_near(points, adjusted, found.offset))
        adjusted = adjust(frames, far, adjusted.lens, plain.axis, priors, before=adjusted)
        found = nearest_offset(points, adjusted)
        if isinstance(found, OffsetFit) and found.near(before, STILL):
            break
    if isinstance(found, NoPupil):
        return plain, found
    stated = _stated(found, None if known is None else known.distance)
    if isinstance(stated, NoPupil):
        return adjusted, stated
    return _with_near(points, adjusted, found.offset), stated


def _with_near(points: Points, adjusted: Adjusted, offset: Array) -> Adjusted:
    """The set with near points counted as good, although they did not take part in the fit: a parallax explains them."""
    length = lengths_with_parallax(points, adjusted, offset)
    bounds = points.bounds[1:-1]
    good = [far | near for far, near in zip(adjusted.good, np.split(length < GATE, bounds), strict=True)]
    off_px = np.split(length * points.sigma_px * adjusted.noise, bounds)
    return replace(
        adjusted, good=good, rms_px=np.array([rms_of(off[held]) for off, held in zip(off_px, good, strict=True)])
    )


def _on_ground(
    plain: Adjusted, frames: Sequence[HeadFrame], links: Sequence[Link], known: LevelGround, priors: Priors
) -> tuple[Adjusted, PupilFound | NoPupil]:
    """Points below the horizon are taken to be on the ground; those on things that stand there count as wild."""
    points, adjusted = points_of(links), plain
    offset: Array | None = first_offset(points, plain)
    for _ in range(PASSES_ON_GROUND):
        if offset is None:
            break
        missed = misses(points, adjusted.lens, adjusted.rotations)
        moved = parallax_of(points, adjusted, missed, nearness_of_ground(points, adjusted, offset), offset).moved_px
        adjusted = adjust(frames, _shifted(links, moved), adjusted.lens, plain.axis, priors, before=adjusted)
        found = joint_fit(points, adjusted, offset)
        if found is None:
            break
        if found.near(OffsetFit(offset, found.covariance, found.points), STILL):
            uneven = UNEVEN_SHARE**2 / 3 * np.outer(found.offset, found.offset)  # a rectangle, common to all points
            return adjusted, _stated(OffsetFit(found.offset, found.covariance + uneven, found.points), known.height)
        offset = found.offset
    return plain, NoPupil.NO_GROUND


def _times(share: Measured, known: Measured) -> Measured:
    return Measured(share.value * known.value, float(np.hypot(share.sd * known.value, share.value * known.sd)))


def _stated(found: OffsetFit, known: Measured | None) -> PupilFound | NoPupil:
    sds = np.sqrt(found.covariance.diagonal())
    right, ahead = (Measured(float(value), float(sd)) for value, sd in zip(found.offset, sds, strict=True))
    if ahead.sd > MOST_UNSURE:
        return NoPupil.TOO_WEAK
    ahead_mm, right_mm = (None if known is None else _times(share, known) for share in (ahead, right))
    return PupilFound(ahead, right, ahead_mm, right_mm, found.points)


def _parts(links: Sequence[Link], values: Array | Flags) -> list[Array]:
    """Values of points, link by link."""
    return np.split(values, np.cumsum([len(link.first_px) for link in links])[:-1]) if links else []


def _shifted(links: Sequence[Link], moved_px: Array) -> list[Link]:
    """The links as a pupil on the axis would have shown them."""
    parts = _parts(links, moved_px)
    return [replace(link, second_px=link.second_px - part) for link, part in zip(links, parts, strict=True)]


def _without(links: Sequence[Link], left_out: Flags) -> list[Link]:
    """The links with some points that no lens sees, so that the others keep their places."""
    parts = _parts(links, left_out)
    return [
        replace(link, second_px=np.where(part[:, None], np.nan, link.second_px))
        for link, part in zip(links, parts, strict=True)
    ]
