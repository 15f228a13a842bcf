"""The camera's numbers that other programs need to place its pictures: a part of report.json."""

from pydantic import BaseModel, ConfigDict

from controller.kit.kit import Kit
from controller.optics.projection import Projection


class CameraNumbers(BaseModel):
    """How a pixel becomes a direction, for the picture upright as the camera was mounted.

    A picture of `width_px` by `height_px` shows `width_mm` by `height_mm` of the sensor; a file of another size shows the
    same, scaled. The lens's axis meets it at `principal_x_px` from the left edge and `principal_y_px` from the top edge.
    These are edges, not centres of pixels. `projection` and `focal_length_mm` give the distance from this point at which
    an angle off the axis appears. `focal_length_px` is the same in pixels. Beyond `image_circle_mm`, a diameter, the
    picture is dark.

    With `distortion_corrected` the numbers apply after the distortion of `lens_model` was corrected and the picture
    cropped to `undistorted_share` of its width and height. Otherwise they apply to the picture as shot.
    """

    model_config = ConfigDict(frozen=True, allow_inf_nan=False)

    projection: Projection
    focal_length_mm: float
    focal_length_px: float
    width_mm: float
    height_mm: float
    width_px: int
    height_px: int
    principal_x_px: float
    principal_y_px: float
    image_circle_mm: float | None
    distortion_corrected: bool
    undistorted_share: float
    lens_make: str | None
    lens_model: str | None


def camera_numbers(kit: Kit) -> CameraNumbers:
    """The numbers of the kit's camera and lens. Raises InputError (see `Kit.field`)."""
    field, camera, lens = kit.field(0.0), kit.camera, kit.lens
    px_per_mm = field.pixels_across / field.width_mm, field.pixels_up / field.height_mm
    # The picture's middle is right of and above the axis by the offset, so the axis is left of and below it.
    return CameraNumbers(
        projection=field.projection,
        focal_length_mm=field.focal_length_mm,
        focal_length_px=round(field.focal_length_mm * px_per_mm[0], 3),
        width_mm=round(field.width_mm, 6),
        height_mm=round(field.height_mm, 6),
        width_px=field.pixels_across,
        height_px=field.pixels_up,
        principal_x_px=round(field.pixels_across / 2 - camera.offset_right_mm * px_per_mm[0], 3),
        principal_y_px=round(field.pixels_up / 2 + camera.offset_up_mm * px_per_mm[1], 3),
        image_circle_mm=lens.image_circle_mm,
        distortion_corrected=lens.correct_distortion,
        undistorted_share=lens.undistorted_share,
        lens_make=lens.make,
        lens_model=lens.model,
    )
