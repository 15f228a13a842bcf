"""Points that two photographs have in common, found by OpenCV (the extra `pictures`).

Features and their descriptions: D. Lowe, Int. J. Computer Vision 60:91, 2004 (SIFT), with the ratio test of its
section 7.1.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from controller.extras import importing
from controller.optics.outline import Array

MOST_FEATURES = 3000
CONTRAST = 0.02  # half the usual value: sky and meadows have little contrast
# Only small features are used. Toward the edge a lens stretches large ones unevenly, which shifts their middle outward.
LARGEST_PX = 10.0
FEATURE_PX = 4.0  # about the radius of the features that are used
RATIO = 0.75  # the best match must be this much better than the second best


@dataclass(frozen=True, slots=True, eq=False)
class Features:
    """Places (n, 2) in pixels, column and row, and their descriptions (n, 128)."""

    places_px: Array
    descriptions: NDArray[np.float32]


def common_px(focal_px: float) -> float:
    """Standard uncertainty, in pixels, of feature positions that is common to all pairs of a set.

    Toward the edge a lens shows a feature of radius r stretched unevenly. Its middle is then too far out by about r^2 / f
    times the tangent of the angle. In rings of simulated photographs it was a fifth of r^2 / f for lenses of 20 to 50 mm
    and all of it for 12 mm (on 36 mm).
    """
    return FEATURE_PX**2 / focal_px


def opencv() -> Any:
    """The library. Raises InputError if it is not installed."""
    with importing("pictures", "Registering photographs"):
        import cv2  # noqa: PLC0415
    return cv2


def features_of(picture: NDArray[np.uint8]) -> Features:
    """The features of a grey picture (rows, columns). Raises InputError without the library."""
    finder = opencv().SIFT_create(nfeatures=MOST_FEATURES, contrastThreshold=CONTRAST, enable_precise_upscale=True)
    keypoints, descriptions = finder.detectAndCompute(picture, None)
    small = [number for number, keypoint in enumerate(keypoints) if keypoint.size < LARGEST_PX]
    if not small:
        return Features(np.empty((0, 2)), np.empty((0, 128), dtype=np.float32))
    # Several descriptions may belong to one place, one for each apparent direction; one is enough.
    places = np.array([keypoints[number].pt for number in small], dtype=np.float64)
    _, first = np.unique(places.round(3), axis=0, return_index=True)
    return Features(places[first], np.asarray(descriptions)[small][first])


def matched(first: Features, second: Features) -> tuple[Array, Array]:
    """Places in both pictures that seem to show the same feature, each (n, 2); some are wrong. Raises InputError."""
    if len(first.places_px) < 2 or len(second.places_px) < 2:
        return np.empty((0, 2)), np.empty((0, 2))
    pairs = opencv().BFMatcher().knnMatch(first.descriptions, second.descriptions, k=2)
    good = [best for best, next_best in pairs if best.distance < RATIO * next_best.distance]
    ones, others = [match.queryIdx for match in good], [match.trainIdx for match in good]
    return first.places_px[ones], second.places_px[others]
