"""Today's photograph: read as the pictures of the earlier set were, and placed among them."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import NoReturn

import numpy as np
from numpy.typing import NDArray
from PIL.ExifTags import Base

from controller import exif
from controller.calibration.photographs import SAME_FOCAL
from controller.calibration.registration import opencv
from controller.errors import InputError
from controller.inspection.detail import detail_of
from controller.inspection.inspecting import AdjustedSet
from controller.inspection.lens_model import Array
from controller.inspection.linking import Sized, find_all
from controller.inspection.links import link_of
from controller.inspection.overlap import FrameView
from controller.inspection.picture_source import reduced
from controller.inspection.pixel_places import PixelPlaces
from controller.inspection.recognised import features_at, recognise, share_of
from controller.inspection.same_spot import NotPlaced, SpotFound, place
from controller.inspection.spot_of_today import MOST_LEAN_DEG
from controller.inspection.suspects import AGREEING
from controller.inspection.taken import TURNED_SIDES, SharedFacts
from controller.optics.projection import LAWS
from controller.picture_file import read_facts, read_grey
from controller.progress import Begin

U_ROUGH_RAD, U_FRAME_RAD = 0.004, 0.0005  # of a recognised photograph, and of an adjusted frame
SOFT_SHARE = 0.4  # of the detail of the earlier pictures. A photograph with less is soft, whatever the weather
SMALL_PX, COMPARED = 480, 8  # long side of pictures whose detail is compared, and about how many
DETAIL_PERCENT = 90.0  # the detail of a picture is that of its best places
OTHER_FOCAL = 0.015  # a focal length further off than this is another lens or another zoom. Our own choice, no source
MOST_UNSURE_PX = 3.0
# From the host's axes (right, down, ahead at yaw 0) to those of `planning.directions` (ahead, right, up).
PLANNING_FROM_HOST = np.array([[0.0, 0.0, 1.0], [1.0, 0.0, 0.0], [0.0, -1.0, 0.0]])


@dataclass(frozen=True, slots=True, eq=False)
class PlacedToday:
    """Where today's photograph was placed, and the earlier frames by id that share points with it."""

    placed: SpotFound
    frames: tuple[int, ...]
    points: int


def read_today(path: Path, shared: SharedFacts) -> NDArray[np.uint8]:
    """Today's photograph in grey, upright as the earlier pictures are.

    Raises InputError if it cannot be read, or if it is of another size or focal length than they.
    """
    facts = read_facts(path)
    stored = shared.size_px[::-1] if shared.orientation in TURNED_SIDES else shared.size_px
    # Another program may have turned the pixels themselves. The camera is fixed to the head, so otherwise all are alike.
    turn = shared.orientation if facts.size_px == stored else None
    own = exif.whole(facts.tags.get(Base.Orientation)) or 1
    upright = facts.size_px[::-1] if (own if turn is None else turn) in TURNED_SIDES else facts.size_px
    if upright != shared.size_px:
        sizes = (f"{side[0]} x {side[1]} pixels" for side in (upright, shared.size_px))
        raise InputError(
            "{}: is {}, and the pictures of the earlier set are {}. Use the same camera, mounted in the same way, and "
            "give its picture uncropped.".format(path, *sizes)
        )
    focal = exif.positive(facts.details.get(Base.FocalLength))
    if focal and shared.focal_mm and abs(focal / shared.focal_mm - 1) > SAME_FOCAL:
        raise InputError(
            f"{path}: was shot at {focal:g} mm, and the earlier set at {shared.focal_mm:g} mm. Use the same focal length."
        )
    return np.asarray(read_grey(path, None, turn).picture, dtype=np.uint8)


def place_today(earlier: AdjustedSet, path: Path, pitch_deg: float, begin: Begin) -> PlacedToday:
    """Find where today's photograph, shot at this pitch and any yaw, looks in the world of an adjusted set.

    `begin` is told the number of pieces of work and returns what to call after each. Raises InputError as `read_today`
    does, or if the photograph fits nowhere, is of another lens, or is not sharp enough.
    """
    grey = read_today(path, earlier.shared)
    there = _perhaps_in_view(earlier, pitch_deg)
    advance = begin(3 * len(there))
    source = _Source(earlier, grey, len(earlier.taken), advance)
    rotation = _recognised(earlier, source, there, path)
    placed, frames = _placed(earlier, source, there, rotation, path)
    _must_be_precise(earlier, placed, path)
    return PlacedToday(placed, frames, int(placed.good.sum()))


def _perhaps_in_view(earlier: AdjustedSet, pitch_deg: float) -> list[int]:
    """The frames, by number, that a photograph at this pitch may share something with: linked ones, if any are."""
    kit = earlier.plan.kit
    law, corner = LAWS[kit.lens.projection], math.hypot(*kit.camera.used_mm) / 2 / kit.lens.focal_length_mm
    across = law.angle(min(corner, law.largest_radius))
    reach = 2 * math.degrees(across) + MOST_LEAN_DEG
    near = [
        number
        for number, (one, frame) in enumerate(zip(earlier.taken, earlier.frames, strict=True))
        if one.path is not None and abs(frame.pitch_deg - pitch_deg) < reach
    ]
    return [number for number in near if not earlier.adjusted.alone[number]] or near


class _Source:
    """The earlier pictures by number, and today's after the last of them."""

    def __init__(self, earlier: AdjustedSet, grey: NDArray[np.uint8], today: int, advance: Callable[[], None]) -> None:
        self.grey, self.today, self.advance = grey, today, advance
        self._earlier = earlier

    def __call__(self, frame: int, share: float) -> Sized:
        return reduced(self.grey, share) if frame == self.today else self._earlier.source(frame, share)


def _view(earlier: AdjustedSet, rotation: Array, u_aim_rad: float) -> FrameView:
    axes = (PLANNING_FROM_HOST @ rotation).T
    return FrameView(axes, PixelPlaces(earlier.adjusted.lens), earlier.shared.size_px, u_aim_rad, earlier.circle_px)


def _recognised(earlier: AdjustedSet, source: _Source, there: list[int], path: Path) -> Array:
    """The rough rotation (3, 3) of today's photograph. Raises InputError."""
    share, anywhere = share_of(earlier.shared.size_px), _view(earlier, np.eye(3), U_ROUGH_RAD)
    features = {}
    for number in there:
        features[number] = features_at(source(number, share), anywhere)
        source.advance()
    lens = earlier.adjusted.lens
    own = features_at(source(source.today, share), anywhere)
    found = recognise((own, lens), features, earlier.adjusted.rotations, lens, source.advance)
    if found is None:
        _refuse(source, there, path)
    return found.rotation


def _placed(
    earlier: AdjustedSet, source: _Source, there: list[int], rotation: Array, path: Path
) -> tuple[SpotFound, tuple[int, ...]]:
    """Today's photograph placed by points, and the frames that share them. Raises InputError."""
    views = [_view(earlier, each, U_FRAME_RAD) for each in earlier.adjusted.rotations]
    views.append(_view(earlier, rotation, U_ROUGH_RAD))
    links = []
    for (frame, _), finding in find_all(views, [(frame, source.today) for frame in there], source):
        source.advance()
        if finding.reason in AGREEING:
            links.append(link_of(frame, source.today, finding.matches))
    placed = place(earlier.adjusted, links)
    if isinstance(placed, NotPlaced):
        _refuse(source, there, path)
    return placed, tuple(earlier.taken[link.first].frame.id for link in links)


def _refuse(source: _Source, there: list[int], path: Path) -> NoReturn:
    """Say why the photograph fits nowhere. Raises InputError."""
    share = _detail_share(source, there)
    if share < SOFT_SHARE:
        raise InputError(
            f"{path}: shows {100 * share:.0f} % of the detail of the earlier pictures, too little to place it. Focus as "
            "then, keep the head still, and shoot it again."
        )
    raise InputError(
        f"{path}: does not fit any picture of the earlier set. Shoot a photograph of something that the set shows and "
        "that has not changed, with the same camera and lens."
    )


def _detail_share(source: _Source, there: list[int]) -> float:
    """The detail of today's photograph as a share of the median of some earlier ones, as lengths of slopes.

    All are drawn small: what a blurred picture has in its finest structure is noise.
    """
    usual = float(np.median([_detail(source(number, 1.0).grey) for number in there[:: max(1, len(there) // COMPARED)]]))
    return _detail(source.grey) / usual if usual > 0 else 1.0


def _detail(grey: NDArray[np.uint8]) -> float:
    """The detail of the best places of a picture."""
    factor = max(1, max(grey.shape) // SMALL_PX)
    rows, columns = (side // factor for side in grey.shape)
    small = opencv().resize(grey, (columns, rows), interpolation=opencv().INTER_AREA)
    found = detail_of(np.asarray(small, dtype=np.uint8))
    total = (found.tensor[..., 0] + found.tensor[..., 1]) / found.light**2
    return float(np.sqrt(np.percentile(total, DETAIL_PERCENT)))


def _must_be_precise(earlier: AdjustedSet, placed: SpotFound, path: Path) -> None:
    focal_px = earlier.adjusted.lens.focal_px
    off = placed.focal_px.value / focal_px - 1
    if abs(off) > OTHER_FOCAL:
        raise InputError(
            f"{path}: its focal length is {100 * abs(off):.1f} % {'longer' if off > 0 else 'shorter'} than that of the "
            "earlier set. Use the same lens at the same zoom."
        )
    unsure_px = float(np.sqrt(np.linalg.eigvalsh(placed.covariance)[-1])) * focal_px
    if unsure_px > MOST_UNSURE_PX:
        raise InputError(
            f"{path}: can be placed only to ± {unsure_px:.0f} pixels. Focus as then, and shoot something with more "
            "detail that has not changed."
        )
