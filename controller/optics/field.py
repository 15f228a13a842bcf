"""What one frame sees: its size, its angles, and its core for a wanted overlap."""

import math
from dataclasses import dataclass

from controller.errors import InputError
from controller.optics.projection import Projection, off_axis_angle, picture_radius


@dataclass(frozen=True, slots=True)
class Field:
    """A frame as mounted: sizes in millimetres and pixels, half-angles in radians.

    `half_*` reach to the picture's edge through its centre, `core_half_*` to the core's edge.
    """

    projection: Projection
    focal_length_mm: float
    width_mm: float
    height_mm: float
    pixels_across: int
    pixels_up: int
    half_width_rad: float
    half_height_rad: float
    core_half_width_rad: float
    core_half_height_rad: float

    @property
    def pixel_rad(self) -> float:
        """Angle of one pixel at the picture's centre, in radians."""
        return math.atan(self.width_mm / self.pixels_across / self.focal_length_mm)


def core_half_angle(projection: Projection, focal_length_mm: float, edge_mm: float, overlap: float) -> float:
    """Half-angle of the core in radians for a picture that ends `edge_mm` from its centre.

    Two frames whose cores just touch side by side then share exactly `overlap` of the picture: the point
    of one picture's edge falls (1 - 2 overlap) of the way to the edge on the other, and the cores meet
    half-way between the two angles.
    """
    edge = off_axis_angle(projection, focal_length_mm, edge_mm)
    shared = off_axis_angle(projection, focal_length_mm, (1 - 2 * overlap) * edge_mm)
    return (edge + shared) / 2


def shared_part(projection: Projection, focal_length_mm: float, edge_mm: float, step_rad: float) -> float:
    """Share of the picture (0 to 1) that two frames side by side, `step_rad` apart, have in common."""
    edge = off_axis_angle(projection, focal_length_mm, edge_mm)
    seen_at = step_rad - edge  # where one picture's edge lies on the other, as an angle off its axis
    if seen_at >= edge:
        return 0.0
    return (1 - picture_radius(projection, focal_length_mm, seen_at) / edge_mm) / 2


def make_field(
    *,
    projection: Projection,
    focal_length_mm: float,
    size_mm: tuple[float, float],
    pixels: tuple[int, int],
    overlap: float,
) -> Field:
    """The field of a picture of `size_mm` (width, height as mounted) with the core for `overlap` (0 to 0.9).

    Raises InputError where the lens's picture ends inside the sensor.
    """
    width_mm, height_mm = size_mm
    try:
        return Field(
            projection=projection,
            focal_length_mm=focal_length_mm,
            width_mm=width_mm,
            height_mm=height_mm,
            pixels_across=pixels[0],
            pixels_up=pixels[1],
            half_width_rad=off_axis_angle(projection, focal_length_mm, width_mm / 2),
            half_height_rad=off_axis_angle(projection, focal_length_mm, height_mm / 2),
            core_half_width_rad=core_half_angle(projection, focal_length_mm, width_mm / 2, overlap),
            core_half_height_rad=core_half_angle(projection, focal_length_mm, height_mm / 2, overlap),
        )
    except ValueError as error:
        raise InputError(f"lens.focal_length_mm = {focal_length_mm:g}: {error}; the sensor is larger.") from None
