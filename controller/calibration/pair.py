"""The turn between two pictures of a lens that is roughly known, with the lens's uncertainty included.

The terms of `lens_terms` are found from the shape of the overlap as far as it determines them. Beyond that, they are
constrained by usual values and by the uncertainty of the focal length: least squares with a prior for each term.
"""

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from controller.calibration.lens_terms import Points, PupilPlace, changed, from_prior, pairs_at
from controller.calibration.turning import PictureGeometry, PictureTurn, main_direction, turn_between, turn_by
from controller.optics.outline import Array

ROUNDS = 12
CHOOSING = 5  # rounds, after which the kept matches stay as they are
SETTLED = 0.1  # change of each term over its uncertainty


class UncertaintySource(StrEnum):
    """A source of the uncertainty of an angle between two photographs. The values are stored in calibration records."""

    POINTS = "points"
    FOCAL_LENGTH = "focal_length"
    LENS = "lens"
    PUPIL = "pupil"
    REGISTRATION = "registration"
    POSES = "poses"


@dataclass(frozen=True, slots=True, eq=False)
class PairSolution:
    """The camera and the turn that were found. `covariance` (6, 6) is that of the lens's terms, in the order of
    `lens_terms`.

    `parts_deg` are standard uncertainties of the angle: from the points, from the focal length, from the rest of the
    lens together, and from a pupil off the axis.
    """

    camera: PictureGeometry
    turn: PictureTurn
    covariance: Array
    parts_deg: dict[UncertaintySource, float]

    @property
    def angle_deg(self) -> float:
        """The angle by which the camera turned."""
        return math.degrees(float(np.linalg.norm(self.turn.vector_rad)))


def fit_pair(points: Points, expected: PictureGeometry, u_focal_share: float, standing: PupilPlace) -> PairSolution:
    """Fit the turn and the lens's terms to matched points, some of which may be wrong.

    `u_focal_share` is the standard uncertainty of the expected focal length, as a share of it. Raises NoOverlap,
    ValueError.
    """
    camera, turn = expected, turn_between(*points, expected)
    for number in range(ROUNDS):
        about = main_direction([turn]) if np.linalg.norm(turn.vector_rad) > 1e-6 else np.array([0.0, 1.0, 0.0])
        said = pairs_at([points], [turn], camera, about)
        information, below = from_prior(camera, expected)
        information[0], below[0] = 1 / u_focal_share**2, math.log(expected.focal_px / camera.focal_px)
        units = 1 / np.sqrt(np.diag(said.shape) + information)
        normal = (said.shape + np.diag(information)) * np.outer(units, units)
        inverse = np.linalg.inv(normal) * np.outer(units, units)
        change = inverse @ (said.pull + information * below)
        covariance = inverse @ (said.scatter + np.diag(information)) @ inverse
        camera = changed(camera, change)
        turn = turn_between(*points, camera, turn.kept) if number < CHOOSING else turn_by(*points, camera, turn.kept)
        if np.all(np.abs(change) < SETTLED * np.sqrt(np.diag(covariance))):
            break
    slope = said.slopes[0]
    lens = float(slope @ covariance @ slope) + 2 * float(slope @ inverse @ said.along[0])
    focal = abs(slope[0]) * math.sqrt(covariance[0, 0])
    pupil = abs(float(said.shifted[0] - slope @ inverse @ said.pulled)) * standing.u_shift
    parts: dict[UncertaintySource, float] = {
        UncertaintySource.POINTS: float(said.spread[0]),
        UncertaintySource.FOCAL_LENGTH: focal,
        UncertaintySource.LENS: math.sqrt(max(lens - focal**2, 0.0)),
        UncertaintySource.PUPIL: pupil,
    }
    return PairSolution(camera, turn, covariance, parts)
