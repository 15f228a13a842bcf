"""The sphere unrolled from the pictures of a set: each pixel from one picture, nothing blended.

A pixel comes from the frame whose picture's middle is nearest among the frames that show it, by the measured rotations
and lens. Which frame that is needs no picture, so pictures are read one after the other and only one is in memory.
"""

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from controller.errors import InputError
from controller.inspection.expected import circle_px
from controller.inspection.inspected import FrameFault, Inspected, InspectedFrame
from controller.inspection.lens_model import Array
from controller.inspection.linking import COARSER
from controller.inspection.overlap import FrameView
from controller.inspection.pixel_places import PixelPlaces
from controller.inspection.sphere_grid import SphereGrid, angles_deg, directions_of, whole_sphere, window
from controller.picture_file import PHOTOGRAPH, Coloured, read_upright
from controller.reading import refuse

NOTHING = -1
"""In `Nearest.owner`: no frame shows this pixel."""

WIDTH = 2048
BAND_PX = 200_000  # pixels looked at together
SAMPLES = 64  # points each way on a picture, to find how far it reaches
REACH_SLACK = 1.1  # of the farthest of these points from the picture's middle
NO_TURN_DEG = 350.0  # windows wider than this are drawn as a whole turn
BLUR_ABOVE = 1.3  # a picture that is finer than the grid by more than this is reduced first, to prevent aliasing
MARGIN_DEG = 0.2  # around a window

Colours = NDArray[np.uint8]
ReadFrame = Callable[[InspectedFrame, float], Coloured]
"""Reads the picture of a frame, upright, at least as large as the share of its full size. Raises InputError."""


@dataclass(frozen=True, slots=True, eq=False)
class DrawnSphere:
    """The unrolled sphere: `colours` (rows, columns, 3), and `owner` (rows, columns), the number in `frames` of the frame
    that each pixel comes from, or NOTHING. Pixels of a picture that could not be read have no owner.
    """

    grid: SphereGrid
    frames: Sequence[InspectedFrame]
    colours: Colours
    owner: NDArray[np.int32]


def reader_of(folder: Path, orientation: int | None = None) -> ReadFrame:
    """Read frames from the folder that their files are in. `orientation` is that of `Inspected`."""

    def read(frame: InspectedFrame, share: float) -> Coloured:
        path = folder / (frame.file or "")
        read = read_upright(path, max(1, round(min(frame.size_px) * share * COARSER)), orientation)
        found = [side / read.share for side in read.picture.size]
        if any(abs(side - due) >= 1 / read.share for side, due in zip(found, frame.size_px, strict=True)):
            wide, high = frame.size_px
            refuse(path, PHOTOGRAPH, f"is not {wide} x {high} pixels large, as it was when the set was inspected")
        return read

    return read


def views_of(inspected: Inspected, frames: Sequence[InspectedFrame]) -> list[FrameView]:
    """The frames as measured. World axes are those of `poses`."""
    kit, places = inspected.plan.kit, PixelPlaces(inspected.lens.lens)
    circles = {size: circle_px(kit, size) for size in {frame.size_px for frame in frames}}
    return [FrameView(frame.rotation.T, places, frame.size_px, 0.0, circles[frame.size_px]) for frame in frames]


def has_picture(frame: InspectedFrame) -> bool:
    """Whether a frame has a picture that can be read."""
    absent = {FrameFault.NO_PICTURE, FrameFault.UNREADABLE}
    return frame.file is not None and not any(blemish.fault in absent for blemish in frame.blemishes)


def first_passes(inspected: Inspected, passes: Mapping[int, int] | None = None) -> list[InspectedFrame]:
    """One frame for each pose: of the pass that `passes` names for it, or of its first pass with a picture.

    `passes` has pass numbers by the id of the frame in the first pass.
    """
    chosen: dict[int, InspectedFrame] = {}
    for frame in sorted(inspected.frames, key=lambda one: one.pass_number):
        wanted, known = (passes or {}).get(frame.first_id), chosen.get(frame.first_id)
        if known is None or frame.pass_number == wanted or (not has_picture(known) and known.pass_number != wanted):
            chosen[frame.first_id] = frame
    return [chosen[number] for number in sorted(chosen)]


def least_different_passes(inspected: Inspected) -> dict[int, int]:
    """The passes that differ least from their neighbours, for `first_passes`."""
    return {
        frame.first_id: frame.pass_number for frame in inspected.frames if frame.least_different and has_picture(frame)
    }


def middle_of(view: FrameView) -> Array:
    """The direction of a picture's middle, as a unit vector; that of the lens's axis if the lens shows nothing there."""
    middle = (np.array([view.size_px], dtype=np.float64) - 1) / 2
    there = view.directions(middle)[0]
    return np.asarray(there if np.isfinite(there).all() else view.axes[2])


def shown_by(view: FrameView) -> Array:
    """Directions (n, 3) evenly over what a picture shows."""
    columns, rows = (np.linspace(0, side - 1, SAMPLES) for side in view.size_px)
    points = np.stack(np.meshgrid(columns, rows), axis=-1).reshape(-1, 2)
    there = view.directions(points[view.shows(points)])
    return np.asarray(there[np.isfinite(there).all(axis=1)])


def nearest(grid: SphereGrid, views: Sequence[FrameView]) -> NDArray[np.int32]:
    """The number of the view nearest to each pixel of the grid among those that show it, (rows, columns), or NOTHING."""
    owner = np.full(grid.rows * grid.columns, NOTHING, dtype=np.int32)
    best = np.full(owner.shape, -2.0, dtype=np.float32)  # the cosine of the distance to the owner's middle
    yaws, pitches = grid.yaws_rad(), grid.pitches_rad()
    sines, cosines = np.sin(yaws), np.cos(yaws)
    for number, view in enumerate(views):
        middle, shown = middle_of(view), shown_by(view)
        if not len(shown):
            continue
        reach = REACH_SLACK * math.acos(np.clip((shown @ middle).min(), -1, 1)) + 2 / grid.pixels_per_rad
        near = math.cos(reach) if reach < math.pi else -1.0
        pitch = math.asin(np.clip(-middle[1], -1, 1))
        for rows in _bands(np.flatnonzero(np.abs(pitches - pitch) <= reach), grid.columns):
            toward = np.cos(pitches[rows])[:, None] * (middle[0] * sines + middle[2] * cosines)
            toward = (toward - (np.sin(pitches[rows]) * middle[1])[:, None]).astype(np.float32).ravel()
            begin = rows[0] * grid.columns
            closer = begin + np.flatnonzero((toward > best[begin : begin + toward.size]) & (toward >= near))
            held = closer[view.sees(grid.directions(closer))]
            owner[held], best[held] = number, toward[held - begin]
    return owner.reshape(grid.rows, grid.columns)


def _bands(rows: NDArray[np.intp], columns: int) -> Iterator[NDArray[np.intp]]:
    """Neighbouring rows in parts of about BAND_PX pixels."""
    step = max(1, BAND_PX // columns)
    return (rows[begin : begin + step] for begin in range(0, len(rows), step))


class SphereCanvas:
    """A grid that pictures are painted on, one after the other, each where it is nearest."""

    def __init__(self, grid: SphereGrid, views: Sequence[FrameView]) -> None:
        self.grid, self._views = grid, views
        self.owner = nearest(grid, views)
        self.colours = np.zeros((grid.rows, grid.columns, 3), dtype=np.uint8)
        flat = self.owner.ravel()
        self._order = np.argsort(flat, kind="stable")
        self._begins = np.searchsorted(flat[self._order], np.arange(len(views) + 1))

    def needs(self, number: int) -> bool:
        """Whether any pixel comes from this view."""
        return bool(self._begins[number + 1] > self._begins[number])

    def share(self, number: int) -> float:
        """How large a picture must be for the grid to lose nothing, relative to its full size; 1 at most."""
        focal_px = 1 / _pixel_rad(self._views[number])
        return min(1.0, self.grid.pixels_per_rad / focal_px)

    def paint(self, number: int, picture: Coloured) -> None:
        """Paint the pixels of one view from its picture."""
        pixels = self._order[self._begins[number] : self._begins[number + 1]]
        if not pixels.size:
            return
        view = self._views[number]
        codes, shares = _reduced(picture, self.share(number))
        for begin in range(0, pixels.size, BAND_PX):
            part = pixels[begin : begin + BAND_PX]
            full = view.lens.pixels(self.grid.directions(part) @ view.axes.T)
            self.colours.reshape(-1, 3)[part] = sampled(codes, (full + 0.5) * shares - 0.5)

    def leave_out(self, number: int) -> None:
        """Leave the pixels of a view empty, because its picture cannot be read."""
        self.owner[self.owner == number] = NOTHING


def _pixel_rad(view: FrameView) -> float:
    middle = (np.array(view.size_px) - 1) / 2
    rays = view.lens.rays(np.stack([middle, middle + np.array([1.0, 0.0])]))
    step = float(np.linalg.norm(rays[1] - rays[0]))
    return step if math.isfinite(step) and step > 0 else 1e-3


def _reduced(picture: Coloured, share: float) -> tuple[Colours, Array]:
    """The picture at about `share` of its full size, and its shares of the full width and height."""
    image, shares = picture.picture, np.array([picture.share, picture.share])
    if picture.share > BLUR_ABOVE * share:
        size = [max(1, round(side * share / picture.share)) for side in image.size]
        shares = shares * size / np.array(image.size)
        image = image.resize((size[0], size[1]), Image.Resampling.BOX)
    return np.asarray(image, dtype=np.uint8), shares


def sampled(codes: Colours, places: Array) -> Colours:
    """Colours (n, 3) at places (n, 2), column and row, between the four pixels around each; the edge counts beyond it."""
    most = np.array(codes.shape[1::-1]) - 1
    places = np.clip(places, 0, most)
    corner = np.minimum(places.astype(np.intp), np.maximum(most - 1, 0))
    column, row = corner.T
    right, below = np.minimum(column + 1, most[0]), np.minimum(row + 1, most[1])
    across, down = (places - corner).astype(np.float32).T[:, :, None]
    top = codes[row, column] * (1 - across) + codes[row, right] * across
    bottom = codes[below, column] * (1 - across) + codes[below, right] * across
    return np.asarray(np.rint(top * (1 - down) + bottom * down), dtype=np.uint8)


def grid_of(inspected: Inspected, views: Sequence[FrameView], width: int = WIDTH) -> SphereGrid:
    """The whole sphere, or for a set of a part of it, the window of what was planned and of what the pictures show."""
    region = inspected.plan.region
    if region.solid_angle_is_whole:
        return whole_sphere(width)
    middle = region.yaw_from_deg + region.yaw_width_deg / 2
    yaws, pitches = [-region.yaw_width_deg / 2, region.yaw_width_deg / 2], [region.pitch_from_deg, region.pitch_to_deg]
    poles = directions_of(np.zeros(2), np.array([np.pi / 2, -np.pi / 2]))
    for view in views:
        shown = np.concatenate([shown_by(view), poles[view.sees(poles)]])
        if not len(shown):
            continue
        yaw, pitch = angles_deg(shown)
        pitches += [float(pitch.min()), float(pitch.max())]
        around = (yaw - middle + 180) % 360 - 180
        yaws += [float(around.min()), float(around.max())]
    low, high = max(-90.0, min(pitches) - MARGIN_DEG), min(90.0, max(pitches) + MARGIN_DEG)
    left, right = min(yaws) - MARGIN_DEG, max(yaws) + MARGIN_DEG
    if right - left >= NO_TURN_DEG:
        left, right, middle = -180.0, 180.0, 0.0
    finest = math.radians(max((1 / _pixel_rad(view) for view in views), default=math.degrees(width / 360)))
    return window((middle + left, middle + right), (low, high), width, finest)


def unrolled(
    inspected: Inspected, read: ReadFrame, width: int = WIDTH, passes: Mapping[int, int] | None = None
) -> DrawnSphere:
    """Draw the sphere `width` pixels wide. `passes` chooses the passes, as in `first_passes`.

    A picture that `read` refuses leaves its pixels empty.
    """
    there = [frame for frame in first_passes(inspected, passes) if has_picture(frame)]
    views = views_of(inspected, there)
    canvas = SphereCanvas(grid_of(inspected, views, width), views)
    for number, frame in enumerate(there):
        if not canvas.needs(number):
            continue
        try:
            canvas.paint(number, read(frame, canvas.share(number)))
        except InputError:
            canvas.leave_out(number)
    return DrawnSphere(canvas.grid, there, canvas.colours, canvas.owner)


def wanted(grid: SphereGrid, inspected: Inspected) -> NDArray[np.bool_]:
    """Which pixels (rows, columns) are in the region that the plan covers."""
    region = inspected.plan.region
    pitch, yaw = np.degrees(grid.pitches_rad()), np.degrees(grid.yaws_rad())
    rows = (pitch >= region.pitch_from_deg) & (pitch <= region.pitch_to_deg)
    columns = (yaw - region.yaw_from_deg) % 360 <= region.yaw_width_deg
    return np.asarray(rows[:, None] & columns[None, :])
