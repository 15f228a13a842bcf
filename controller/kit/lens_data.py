"""Cameras and lenses by name, from the open lens data inside the lensfunpy package.

The data comes from the lensfun project, licensed CC BY-SA 3.0. It is only queried, never copied. It has one crop factor
for each camera but no sensor size. The size follows from the crop factor (the ratio of the diagonals of a 36 x 24 mm
picture and this sensor) and the shape of the picture in pixels. Only an exact model is accepted, because the library's
own loose search returns similar cameras.
"""

import math
from dataclasses import dataclass
from functools import cache
from typing import Any

from controller.errors import InputError
from controller.extras import importing, is_missing, must_have
from controller.optics.projection import Projection

FULL_FRAME_DIAGONAL_MM = math.hypot(36, 24)


@cache
def _library() -> Any:
    """lensfunpy, an optional part of the program. Raises InputError if it is missing."""
    with importing("lenses", "Looking up a camera or lens by name"):
        import lensfunpy  # noqa: PLC0415
    return lensfunpy


@cache
def _projections() -> dict[Any, Projection]:
    """The projections that can be planned, by the library's type of lens."""
    types = _library().LensType
    return {
        types.RECTILINEAR: Projection.RECTILINEAR,
        types.FISHEYE: Projection.EQUIDISTANT,
        types.FISHEYE_EQUISOLID: Projection.EQUISOLID,
        types.FISHEYE_STEREOGRAPHIC: Projection.STEREOGRAPHIC,
        types.FISHEYE_ORTHOGRAPHIC: Projection.ORTHOGRAPHIC,
    }


@cache
def _database() -> Any:
    return _library().Database()


def sensor_size_mm(crop_factor: float, pixels_wide: int, pixels_high: int) -> tuple[float, float]:
    """Width and height in millimetres of a sensor with square pixels."""
    scale = FULL_FRAME_DIAGONAL_MM / crop_factor / math.hypot(pixels_wide, pixels_high)
    return round(pixels_wide * scale, 3), round(pixels_high * scale, 3)


def filled_in(tables: dict[str, Any]) -> tuple[dict[str, Any], list[str]]:
    """`tables` with sensor size, projection and a prime's focal length added if the kit leaves them out.

    Also returns a sentence for each name that is not in the data. Where the library is missing, a name is only a label
    if the kit states everything that would be looked up.
    """
    mistakes: list[str] = []
    crop_factor = None
    filled = dict(tables)
    for part, fill in (("camera", _fill_camera), ("lens", _fill_lens)):
        table = tables.get(part)
        if not isinstance(table, dict) or not ("make" in table or "model" in table):
            continue
        try:
            make, model = _names(table, part)
            if is_missing("lenses") and _states_all(table, part):
                continue
            must_have("lenses", f'{part}.make = "{make}", {part}.model = "{model}": looking them up')
            filled[part], crop_factor = fill(table, crop_factor)
        except InputError as error:
            mistakes += error.sentences
    return filled, mistakes


def _states_all(table: dict[str, Any], part: str) -> bool:
    """Whether a table has everything that its names stand for."""
    needed = {"sensor_width_mm", "sensor_height_mm"} if part == "camera" else {"focal_length_mm", "projection"}
    if table.get("correct_distortion") is True:
        needed.add("undistorted_share")
    return needed <= table.keys()


def _names(table: dict[str, Any], part: str) -> tuple[str, str]:
    """Make and model. Raises InputError if one is missing or is no text."""
    make, model = table.get("make"), table.get("model")
    if not (isinstance(make, str) and isinstance(model, str)):
        raise InputError(f"{part}: make and model belong together; write both as text, or neither.")
    return make, model


def _fill_camera(table: dict[str, Any], _: float | None) -> tuple[dict[str, Any], float]:
    found = _exact(_database().cameras, table, "camera")
    crop_factor = float(found[0].crop_factor)
    wide, high = table.get("pixels_wide"), table.get("pixels_high")
    given = "sensor_width_mm" in table or "sensor_height_mm" in table
    if given or not (isinstance(wide, int) and isinstance(high, int) and wide > 0 and high > 0):
        return table, crop_factor
    width_mm, height_mm = sensor_size_mm(crop_factor, wide, high)
    return {**table, "sensor_width_mm": width_mm, "sensor_height_mm": height_mm}, crop_factor


def _fill_lens(table: dict[str, Any], crop_factor: float | None) -> tuple[dict[str, Any], float | None]:
    candidates = _exact(_database().lenses, table, "lens")
    if crop_factor is not None:  # the same lens may be measured on several sensor sizes
        candidates.sort(key=lambda lens: abs(lens.crop_factor - crop_factor))
    lens = candidates[0]
    projection = _projections().get(lens.type)
    if projection is None:
        raise InputError(f'lens.model = "{table["model"]}": its projection is not one that can be planned.')
    low, high = round(lens.min_focal, 2), round(lens.max_focal, 2)
    filled = {"projection": str(projection), **table}
    if low == high:
        filled.setdefault("focal_length_mm", low)
    focal = filled.get("focal_length_mm")
    if filled.get("correct_distortion") is True and isinstance(focal, int | float) and focal > 0:
        filled.setdefault("undistorted_share", undistorted_share(lens, crop_factor or float(lens.crop_factor), focal))
    if isinstance(focal, int | float) and not low * 0.98 <= focal <= high * 1.02:
        raise InputError(f'lens.focal_length_mm = {focal:g}: the lens "{table["model"]}" has {low:g} to {high:g} mm.')
    return filled, crop_factor


def undistorted_share(lens: Any, crop_factor: float, focal_length_mm: float) -> float:
    """The largest share of a picture's width and height that is filled after its distortion is corrected.

    1 if the correction leaves corners over (barrel distortion): that gain is not counted. The measured polynomials of the
    lens data are applied as the library does, at f/8 and a distance of a kilometre.
    """
    wide, high = 601, 401
    library = _library()
    modifier = library.Modifier(lens, crop_factor, wide, high)
    modifier.initialize(focal_length_mm, 8.0, 1000.0, scale=1.0, flags=library.ModifyFlags.DISTORTION)
    source = modifier.apply_geometry_distortion()  # for each corrected pixel, its position in the picture as shot
    if source is None:  # this lens's distortion is unknown
        return 1.0
    x, y = source[..., 0], source[..., 1]
    slack = 0.05  # of a pixel: the library's own rounding
    filled = (x >= -slack) & (x <= wide - 1 + slack) & (y >= -slack) & (y <= high - 1 + slack)
    for cut in range(150):
        across, down = cut, round(cut * (high - 1) / (wide - 1))
        if filled[down : high - down, across : wide - across].all():
            return round(1 - 2 * cut / (wide - 1), 4)
    return 0.5


def _exact(entries: list[Any], table: dict[str, Any], part: str) -> list[Any]:
    make, model = _names(table, part)
    found = [e for e in entries if _folded(e.model) == _folded(model) and _folded(e.maker) == _folded(make)]
    if not found:
        instead = "sensor size" if part == "camera" else "focal length and projection"
        raise InputError(
            f'{part}.make = "{make}", {part}.model = "{model}": the open lens data has no entry of exactly that name. '
            f"Write the {instead} instead."
        )
    return found


def _folded(text: str) -> str:
    return " ".join(text.strip("\0 ").casefold().split())


@dataclass(frozen=True, slots=True)
class Entry:
    """A camera or lens of the data. Focal lengths (mm) and projection are None for a camera.

    A lens made for several sensor sizes has an entry for each.
    """

    kind: str
    maker: str
    model: str
    crop_factor: float
    min_focal_mm: float | None = None
    max_focal_mm: float | None = None
    projection: str | None = None

    @property
    def name(self) -> str:
        """Maker and model, without repeating the maker."""
        return self.model if self.model.casefold().startswith(self.maker.casefold()) else f"{self.maker} {self.model}"


@cache
def entries() -> tuple[Entry, ...]:
    """All cameras and lenses of the open lens data."""
    projections = _projections()
    cameras = [
        Entry("camera", _clean(camera.maker), _clean(camera.model), round(float(camera.crop_factor), 4))
        for camera in _database().cameras
    ]
    lenses = [
        Entry(
            "lens",
            _clean(lens.maker),
            _clean(lens.model),
            round(float(lens.crop_factor), 4),
            round(float(lens.min_focal), 2),
            round(float(lens.max_focal), 2),
            str(projections[lens.type]) if lens.type in projections else None,
        )
        for lens in _database().lenses
    ]
    return tuple(cameras + lenses)


def _clean(text: str) -> str:
    return " ".join(text.replace("\0", " ").split())
