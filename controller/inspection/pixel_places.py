"""Where a measured lens shows rays, for millions of them: as `lens_model.project`, without its derivatives."""

from dataclasses import dataclass

import numpy as np

from controller.inspection.lens_model import CURVES, Array, BrownLens, see

NO_FOLD = np.inf


@dataclass(frozen=True, slots=True)
class PixelPlaces:
    """The pixels and rays of a lens. Both are NaN where the lens shows nothing.

    Strong distortion folds the picture back: beyond that radius the formula would put rays from far outside into the
    picture, but the lens shows none of them there.
    """

    lens: BrownLens

    def rays(self, points_px: Array) -> Array:
        """Unit vectors (n, 3) right, down, along the lens, of pixels (n, 2)."""
        return see(self.lens, points_px).rays

    def pixels(self, rays: Array) -> Array:
        """Pixels (n, 2), column and row, of unit vectors (n, 3)."""
        lens, curve = self.lens, CURVES[self.lens.projection]
        across = np.hypot(rays[:, 0], rays[:, 1])
        angle = np.arctan2(across, rays[:, 2])
        with np.errstate(invalid="ignore", over="ignore"):
            rho = curve.radius(np.where(angle < curve.widest_rad, angle, np.nan))
            rho[rho >= fold_radius(lens)] = np.nan
            square = rho**2
            bent = lens.focal_px * (1 + square * (lens.k1 + square * (lens.k2 + square * lens.k3)))
            # Near the axis radius over sine tends to 1 for all five laws.
            scale = np.where(across > 1e-9, rho * bent / np.where(across > 1e-9, across, 1.0), bent)
        return np.asarray(rays[:, :2] * scale[:, np.newaxis] + (lens.centre_x_px, lens.centre_y_px))


def fold_radius(lens: BrownLens) -> float:
    """The radius, for a focal length of 1, from which on the distorted radius no longer grows; infinite if it always
    does.
    """
    # In 1 / rho^2, so that the polynomial keeps its degree whichever terms are zero.
    roots = np.roots([1.0, 3 * lens.k1, 5 * lens.k2, 7 * lens.k3])
    real = roots.real[(np.abs(roots.imag) <= 1e-9 * np.abs(roots)) & (roots.real > 0)]
    return float(1 / np.sqrt(real.max())) if real.size else NO_FOLD
