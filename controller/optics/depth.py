"""Depth of field by the thin lens: the nearest and farthest sharp distances. Lengths in millimetres, from the lens.

H = f² / (N c) + f is the textbook's hyperfocal distance. The limits for a lens focused at s are s (H - f) / (H + s - 2 f)
and s (H - f) / (H - s) (S. F. Ray, *Applied Photographic Optics*, 3rd edition 2002, the chapter on depth of field; from
memory). They follow from similar triangles at the aperture, which the tests use.
"""

import math


def hyperfocal_mm(focal_length_mm: float, f_number: float, circle_mm: float) -> float:
    """The nearest focus distance for which infinity is blurred by no more than `circle_mm`."""
    return focal_length_mm**2 / (f_number * circle_mm) + focal_length_mm


def sharp_mm(focus_mm: float, focal_length_mm: float, f_number: float, circle_mm: float) -> tuple[float, float]:
    """The nearest and farthest distance blurred by no more than `circle_mm` with the lens focused at `focus_mm`.

    `focus_mm` must exceed the focal length. From the hyperfocal distance on, the far limit is `math.inf`; there the near
    limit is half that distance. A lens focused at infinity (`math.inf`) is sharp from f²/(N c) on.
    """
    beyond_mm = hyperfocal_mm(focal_length_mm, f_number, circle_mm)
    if math.isinf(focus_mm):
        return beyond_mm - focal_length_mm, math.inf
    near_mm = focus_mm * (beyond_mm - focal_length_mm) / (beyond_mm + focus_mm - 2 * focal_length_mm)
    if focus_mm >= beyond_mm:
        return near_mm, math.inf
    return near_mm, focus_mm * (beyond_mm - focal_length_mm) / (beyond_mm - focus_mm)
