"""What one frame sees: the picture's edges, its angles, and its core for the requested overlap."""

from dataclasses import dataclass, replace

from controller.errors import InputError
from controller.optics.projection import LAWS, Projection, off_axis_angle, picture_radius


@dataclass(frozen=True, slots=True)
class Sides:
    """Distances of the four edges of a picture from the lens's axis; all in one unit, outward positive."""

    right: float
    left: float
    top: float
    bottom: float

    def flipped(self) -> "Sides":
        """The same, upside down."""
        return Sides(self.right, self.left, self.bottom, self.top)


@dataclass(frozen=True, slots=True)
class Field:
    """A frame as mounted: edges as angles off axis in radians, sizes in millimetres and pixels.

    `whole` are the picture's edges and `core` those of its core. `circle_rad` is the angle at which the image circle or
    the projection itself ends the picture (None if the edges are its only limit).
    """

    projection: Projection
    focal_length_mm: float
    width_mm: float
    height_mm: float
    pixels_across: int
    pixels_up: int
    whole: Sides
    core: Sides
    circle_rad: float | None

    @property
    def core_half_width_rad(self) -> float:
        """Half the angle from the core's left edge to its right edge."""
        return (self.core.left + self.core.right) / 2

    @property
    def core_half_height_rad(self) -> float:
        """Half the angle from the core's bottom edge to its top edge."""
        return (self.core.bottom + self.core.top) / 2

    @property
    def pixel_rad(self) -> float:
        """Angle of one pixel at the picture's centre, in radians."""
        return off_axis_angle(self.projection, self.focal_length_mm, self.width_mm / self.pixels_across)

    @property
    def upright_either_way(self) -> bool:
        """Whether the picture is the same with the camera upside down."""
        core, whole = self.core, self.whole
        return core.left == core.right and core.top == core.bottom and whole.left == whole.right

    def flipped(self) -> "Field":
        """The field turned upside down: results for one pole then apply to the other."""
        if self.core == self.core.flipped() and self.whole == self.whole.flipped():
            return self
        return replace(self, whole=self.whole.flipped(), core=self.core.flipped())


def _core_angle(projection: Projection, focal_length_mm: float, edge_mm: float, shared_mm: float) -> float:
    """Angle of the core's edge off axis, in radians, for a picture that ends `edge_mm` from the axis.

    Two frames whose cores just touch there share exactly `shared_mm` of the picture: one picture's edge falls that far
    inside the other's, and the cores meet half-way between the two angles.
    """
    edge = off_axis_angle(projection, focal_length_mm, edge_mm)
    seam = off_axis_angle(projection, focal_length_mm, edge_mm - shared_mm)
    return (edge + seam) / 2


def shared_part(projection: Projection, focal_length_mm: float, edge_mm: float, step_rad: float) -> float:
    """Share of the picture (0 to 1) that two frames side by side, `step_rad` apart, have in common."""
    edge = off_axis_angle(projection, focal_length_mm, edge_mm)
    seen_at = step_rad - edge  # the angle off the other picture's axis at which this edge appears
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
    offset_mm: tuple[float, float] = (0.0, 0.0),
    circle_mm: float | None = None,
) -> Field:
    """The field of a picture of `size_mm` (width, height as mounted) with the core for `overlap` (0 to 0.9).

    `offset_mm` is the position of the picture's centre, right of and above the lens's axis. `circle_mm` is the diameter
    of the image circle. If the projection ends before the picture's edge, the picture is circular. Raises InputError if
    the axis is outside the picture.
    """
    (width_mm, height_mm), (right_mm, up_mm) = size_mm, offset_mm
    limit_mm = min(circle_mm / 2 if circle_mm else float("inf"), LAWS[projection].largest_radius * focal_length_mm)
    edges = Sides(width_mm / 2 + right_mm, width_mm / 2 - right_mm, height_mm / 2 + up_mm, height_mm / 2 - up_mm)
    if min(edges.right, edges.left, edges.top, edges.bottom) <= 0:
        raise InputError("The sensor's offset is so large that the lens's axis falls outside the picture.")
    edges = Sides(*(min(edge, limit_mm) for edge in (edges.right, edges.left, edges.top, edges.bottom)))
    across, up = overlap * (edges.right + edges.left), overlap * (edges.top + edges.bottom)

    def angle(edge_mm: float, shared_mm: float = 0.0) -> float:
        return _core_angle(projection, focal_length_mm, edge_mm, shared_mm)

    return Field(
        projection=projection,
        focal_length_mm=focal_length_mm,
        width_mm=width_mm,
        height_mm=height_mm,
        pixels_across=pixels[0],
        pixels_up=pixels[1],
        whole=Sides(angle(edges.right), angle(edges.left), angle(edges.top), angle(edges.bottom)),
        core=Sides(angle(edges.right, across), angle(edges.left, across), angle(edges.top, up), angle(edges.bottom, up)),
        circle_rad=None if limit_mm == float("inf") else off_axis_angle(projection, focal_length_mm, limit_mm),
    )
