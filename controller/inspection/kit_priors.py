"""What a kit and its calibration records say of lens and head before the pictures are seen."""

import math
from collections.abc import Sequence

import numpy as np

from controller.calibration.known_lens import U_FOCAL_SHARE
from controller.calibration.lens_terms import ASIDE_SHARE, CORNER_SHARES
from controller.calibration.records import AxisName, CalibrationKind, Record, axis_of, newest_valid
from controller.calibration.wave import prior_sd
from controller.inspection.lens_model import BrownLens
from controller.inspection.poses import HEAD_PRIOR, HEAD_TERMS
from controller.inspection.problem import Priors
from controller.kit.kit import Kit

# Belts creep and screws are touched between a calibration and a set. Our own choice, no source.
LEAST_SCALE = 0.001
LEAST_PLAY_DEG = 0.05
LEAST_GEAR_RAD = 1e-6  # a prior must leave some room


def lens_prior(lens: BrownLens, size_px: tuple[int, int], u_focal_share: float = U_FOCAL_SHARE) -> tuple[float, ...]:
    """The standard uncertainties of `lens_model.TERMS`, lengths as shares of the focal length.

    Lenses distort by some per cent at the corner, whatever their focal length: for a long lens, whose corner is at a
    small angle, k1 to k3 may be large numbers.
    """
    corner = math.hypot(*size_px) / 2 / lens.focal_px
    bends = [share / corner ** (2 * power) for power, share in enumerate(CORNER_SHARES, 1)]
    aside = ASIDE_SHARE * max(size_px) / lens.focal_px
    return u_focal_share, bends[0], aside, aside, *bends[1:]


def head_prior(kit: Kit, records: Sequence[Record]) -> tuple[float, ...]:
    """The standard uncertainties of `poses.HEAD_TERMS` for angles computed with the kit's newest valid records."""
    sizes = dict(zip(HEAD_TERMS, HEAD_PRIOR.tolist(), strict=True))
    for axis in AxisName:
        own = axis_of(kit, axis)
        assert own is not None
        gear = max(float(np.radians(prior_sd(own.eccentricity_deg))), LEAST_GEAR_RAD)
        sizes[f"{axis.value}_sine"] = sizes[f"{axis.value}_cosine"] = gear
        steps = newest_valid(records, CalibrationKind.STEPS, axis, kit)
        if steps is not None and "u_steps_per_degree" in steps.uncertainties:
            share = steps.uncertainties["u_steps_per_degree"] / steps.values["steps_per_degree"]
            sizes[f"{axis.value}_scale"] = min(math.hypot(share, LEAST_SCALE), sizes[f"{axis.value}_scale"])
        play = newest_valid(records, CalibrationKind.BACKLASH, axis, kit)
        if play is not None:
            within = float(np.radians(max(play.values["play_deg"], LEAST_PLAY_DEG)))
            sizes[f"{axis.value}_play"] = min(within, sizes[f"{axis.value}_play"])
    return tuple(sizes.values())


def priors_of(
    kit: Kit, records: Sequence[Record], lens: BrownLens, size_px: tuple[int, int], u_focal_share: float = U_FOCAL_SHARE
) -> Priors:
    """What the kit says of `lens`, as assumed for upright pictures of `size_px`, and of its head.

    Values measured with these are means of the records and the pictures. For new records, which must not count the old
    ones twice, leave out the records.
    """
    return Priors(lens_prior(lens, size_px, u_focal_share), head_prior(kit, records))
