"""Depth of field by the thin lens: how near and how far a picture is sharp. Lengths in millimetres, from the lens.

H = f² / (N c) + f is the textbook's hyperfocal distance, and s (H - f) / (H + s - 2 f) and s (H - f) / (H - s) are the
limits when the lens is focused at s (S. F. Ray, *Applied Photographic Optics*, 3rd edition 2002, the chapter on depth of
field; from memory). They follow from similar triangles at the aperture, which is how the tests work them out.
"""

import math


def hyperfocal_mm(focal_length_mm: float, f_number: float, circle_mm: float) -> float:
    """The nearest distance to focus at for which infinity is still blurred by no more than `circle_mm`."""
    return focal_length_mm**2 / (f_number * circle_mm) + focal_length_mm


def sharp_mm(focus_mm: float, focal_length_mm: float, f_number: float, circle_mm: float) -> tuple[float, float]:
    """From where to where a lens that is focused at `focus_mm` blurs by no more than `circle_mm`.

    `focus_mm` must be more than the focal length. The far limit is `math.inf` from the hyperfocal distance on, where the
    near limit is half of that distance. A lens focused at infinity (`math.inf`) is sharp from f²/(N c) on.
    """
    beyond_mm = hyperfocal_mm(focal_length_mm, f_number, circle_mm)
    if math.isinf(focus_mm):
        return beyond_mm - focal_length_mm, math.inf
    near_mm = focus_mm * (beyond_mm - focal_length_mm) / (beyond_mm + focus_mm - 2 * focal_length_mm)
    if focus_mm >= beyond_mm:
        return near_mm, math.inf
    return near_mm, focus_mm * (beyond_mm - focal_length_mm) / (beyond_mm - focus_mm)
