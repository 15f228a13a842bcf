"""The turn of the camera between two photographs, and why it may not be found."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import numpy as np

from controller.calibration.lens_terms import Points, PupilPlace
from controller.calibration.pair import PairSolution, fit_pair
from controller.calibration.photographs import Photograph
from controller.calibration.readings import ReadingsRefused
from controller.calibration.registration import features_of, matched
from controller.calibration.turning import NoOverlap, PictureGeometry, PictureTurn, turn_between
from controller.errors import InputError

LARGEST_MISFIT_PX = 3.0


def matched_pairs(taken: Sequence[Photograph], *, closed: bool) -> list[Points]:
    """Points of each photograph with the next, and of the last with the first if `closed`. Raises InputError."""
    features = [features_of(photograph.grey) for photograph in taken]
    following = [*features[1:], features[0]] if closed else features[1:]
    return [matched(one, other) for one, other in zip(features, following, strict=False)]


def registered(
    first: Photograph, second: Photograph, camera: PictureGeometry, without: tuple[float, float, float] | None = None
) -> tuple[PictureTurn, Points]:
    """The turn between two photographs, and the points from which it was found.

    The part of the first photograph around `without` (column, row, and half the width and height) is left out, because it
    is near. Raises InputError, ReadingsRefused.
    """
    points = matched(features_of(first.grey), features_of(second.grey))
    if without is not None:
        far = np.abs(points[0] - without[:2]).max(axis=1) > without[2]
        points = points[0][far], points[1][far]
    with finding_turn(first, second):
        return turn_between(*points, camera), points


@contextmanager
def finding_turn(first: Photograph, second: Photograph) -> Iterator[None]:
    """Raise InputError if the work inside cannot find a turn between two photographs."""
    try:
        yield
    except NoOverlap:
        raise no_overlap(first, second) from None
    except ValueError as error:  # LinAlgError is one
        raise InputError(f"{first.path}: {error}; check the lens's projection and focal length.") from None


def fitted(
    first: Photograph,
    second: Photograph,
    camera: PictureGeometry,
    u_focal_share: float,
    standing: PupilPlace,
    without: tuple[float, float, float] | None = None,
) -> PairSolution:
    """The turn between two photographs and the lens, as `fit_pair` finds them. Raises InputError, ReadingsRefused."""
    turn, points = registered(first, second, camera, without)
    with finding_turn(first, second):
        pair = fit_pair((points[0][turn.kept], points[1][turn.kept]), camera, u_focal_share, standing)
    must_fit(pair, first)
    return pair


def must_fit(pair: PairSolution, first: Photograph) -> None:
    """Raise ReadingsRefused if the points fit no turn well."""
    if pair.turn.rms_px > LARGEST_MISFIT_PX:
        raise ReadingsRefused(misfit_sentence(first.path, pair.turn.rms_px))


def no_overlap(first: Photograph, second: Photograph) -> InputError:
    """The refusal of two photographs that have too little in common."""
    return InputError(
        f"{second.path}: shows too little of what {first.path.name} shows. Shoot neighbours that share a third of the "
        "picture, sharp, of something with detail."
    )


def misfit_sentence(path: Path, rms_px: float) -> str:
    """Why a turn is not believed."""
    return (
        f"{path}: its points fit no turn of the camera better than {rms_px:.1f} px. Check that it turns about its "
        "no-parallax point, and the lens's distortion."
    )
