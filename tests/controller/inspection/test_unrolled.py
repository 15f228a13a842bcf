"""The unrolled sphere against smooth light whose colour in every direction is known."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image
from PIL.ExifTags import Base

from controller.errors import InputError
from controller.inspection.inspected import FrameFault, Inspected, InspectedFrame
from controller.inspection.lens_model import BrownLens
from controller.inspection.overlap import FrameView
from controller.inspection.pixel_places import PixelPlaces
from controller.inspection.sphere_grid import whole_sphere, window
from controller.inspection.unrolled import (
    NOTHING,
    DrawnSphere,
    first_passes,
    least_different_passes,
    middle_of,
    nearest,
    reader_of,
    sampled,
    unrolled,
    views_of,
    wanted,
)
from controller.optics.projection import Projection
from controller.picture_file import Coloured
from controller.planning.request import RegionKind, Request
from tests.controller.inspection.inspected_sets import blemished, inspected_of, pictures, plan_of, smooth

WINDOW = Request(region=RegionKind.WINDOW, pitch_from_deg=-20, pitch_to_deg=30, yaw_from_deg=150, yaw_to_deg=250)
FISHEYE = {"focal_length_mm": 10.0, "projection": "equisolid", "image_circle_mm": 26.0}


@pytest.fixture(scope="module")
def sphere() -> Inspected:
    return inspected_of(plan_of(14.0), 160, rolls=(0.0, 4.0, -7.0), k1=-0.03, k2=0.004)


def errors(drawn: DrawnSphere) -> np.ndarray:
    """By how much the drawn pixels are off, (n, 3) in codes."""
    held = np.flatnonzero(drawn.owner.ravel() != NOTHING)
    expected = smooth(drawn.grid.directions(held))
    return np.asarray(drawn.colours.reshape(-1, 3)[held] - expected)


def test_every_pixel_of_a_sphere_has_the_light_of_its_direction(sphere: Inspected) -> None:
    """Distorted, rolled, through both poles; half a code of rounding in the picture, half in the drawing."""
    drawn = unrolled(sphere, pictures(sphere), 720)
    assert drawn.colours.shape == (360, 720, 3)
    assert drawn.colours.dtype == np.uint8
    assert (drawn.owner != NOTHING).all()
    assert np.abs(errors(drawn)).max() < 1.5
    # The same with a lens believed to be straight is off: the comparison can fail.
    lens = replace(sphere.lens, lens=replace(sphere.lens.lens, k1=0.0, k2=0.0))
    assert np.abs(errors(unrolled(replace(sphere, lens=lens), pictures(sphere), 720))).max() > 3


@pytest.mark.parametrize(("request_", "tables"), [(WINDOW, {}), (Request(), {"lens": FISHEYE})])
def test_windows_and_fisheyes_are_drawn_alike(request_: Request, tables: dict[str, dict[str, object]]) -> None:
    inspected = inspected_of(plan_of(10.0 if tables else 24.0, request_, **tables), 200)
    drawn = unrolled(inspected, pictures(inspected), 400)
    assert np.abs(errors(drawn)).max() < 6  # reduced before it is sampled, so a little smoother
    assert np.abs(errors(drawn)).mean() < 0.8
    region = wanted(drawn.grid, inspected)
    assert (drawn.owner[region] != NOTHING).all()  # the plan covers its region
    assert region.any()


def test_a_window_holds_what_the_pictures_show_and_is_no_whole_sphere() -> None:
    inspected = inspected_of(plan_of(24.0, WINDOW), 150)
    drawn = unrolled(inspected, pictures(inspected), 300)
    assert drawn.grid.columns <= 300
    assert drawn.grid.turn_px > 600
    outside = (drawn.owner[0], drawn.owner[-1], drawn.owner[:, 0], drawn.owner[:, -1])
    inside = (drawn.owner[4], drawn.owner[-5], drawn.owner[:, 4], drawn.owner[:, -5])
    assert all((line == NOTHING).mean() > 0.7 for line in outside)
    assert all((line != NOTHING).any() for line in inside)


def views(count: int, seed: int, lens: BrownLens, circle_px: float | None) -> list[FrameView]:
    rng = np.random.default_rng(seed)
    turns = np.linalg.qr(rng.normal(size=(count, 3, 3)))[0]
    turns *= np.linalg.det(turns)[:, None, None]
    return [FrameView(turn, PixelPlaces(lens), (90, 60), 0.0, circle_px) for turn in turns]


@settings(deadline=None, max_examples=40)
@given(
    st.integers(1, 9),
    st.integers(0, 10**6),
    st.sampled_from(list(Projection)),
    st.floats(18, 120),
    st.sampled_from([None, 25.0, 40.0]),
    st.floats(-0.15, 0.1),
)
def test_the_owner_is_the_nearest_of_the_frames_that_show_the_pixel(
    count: int, seed: int, projection: Projection, focal_px: float, circle_px: float | None, k1: float
) -> None:
    all_views = views(count, seed, BrownLens(projection, focal_px, 44.0, 30.5, k1=k1), circle_px)
    for grid in (whole_sphere(72), window((20.0, 110.0), (-60.0, 90.0), 60, 100.0)):
        owner = nearest(grid, all_views).ravel()
        directions = grid.directions(np.arange(owner.size))
        near = np.stack([np.where(view.sees(directions), directions @ middle_of(view), -9) for view in all_views])
        best = near.max(axis=0)
        assert np.array_equal(owner == NOTHING, best < -2)
        held = owner != NOTHING
        assert np.allclose(near[owner[held], np.flatnonzero(held)], best[held], atol=1e-6)


@given(st.integers(1, 30), st.integers(1, 30), st.tuples(*[st.floats(-3, 3)] * 3))
def test_between_pixels_it_is_linear_and_beyond_the_edge_it_is_the_edge(
    columns: int, rows: int, slopes: tuple[float, float, float]
) -> None:
    across, down = np.meshgrid(np.arange(columns), np.arange(rows))
    codes = np.clip(128 + slopes[0] * across + slopes[1] * down + slopes[2], 0, 255)
    exact = np.repeat(np.rint(codes)[..., None], 3, axis=2).astype(np.uint8)
    places = np.random.default_rng(1).uniform(-2, (columns + 1, rows + 1), (60, 2))
    held = np.clip(places, 0, (columns - 1, rows - 1))
    expected = 128 + held @ np.array(slopes[:2]) + slopes[2]
    fair = (expected >= 0) & (expected <= 255)
    found = sampled(exact, places)[:, 0]
    assert np.abs(found[fair] - expected[fair]).max(initial=0) <= 1.01
    grid = np.stack([across, down], axis=-1).reshape(-1, 2).astype(np.float64)
    assert np.array_equal(sampled(exact, grid), exact.reshape(-1, 3))


@settings(deadline=None, max_examples=8)
@given(st.sets(st.integers(0, 9), min_size=1), st.sampled_from([FrameFault.NO_PICTURE, FrameFault.UNREADABLE]))
def test_a_frame_without_a_picture_owns_nothing_and_the_rest_fills_in(
    sphere: Inspected, lost: set[int], fault: FrameFault
) -> None:
    whole = inspected_of(sphere.plan, 60)
    short = blemished(whole, dict.fromkeys(lost, fault))
    drawn = unrolled(short, pictures(short), 180)
    assert not {drawn.frames[number].frame for number in np.unique(drawn.owner[drawn.owner >= 0])} & {
        whole.frames[place].frame for place in lost
    }
    directions = drawn.grid.directions(np.arange(drawn.owner.size))
    shown = np.zeros(drawn.owner.size, dtype=bool)
    for place, view in enumerate(views_of(short, short.frames)):
        shown |= view.sees(directions) & (place not in lost)
    assert np.array_equal(shown, (drawn.owner != NOTHING).ravel())
    assert np.abs(errors(drawn)).max() < 3
    assert (drawn.colours[drawn.owner == NOTHING] == 0).all()


def test_a_picture_that_turns_out_unreadable_leaves_its_place_empty(sphere: Inspected) -> None:
    """Only when it is read does it show; the others are drawn."""

    def refusing(read: Callable[[InspectedFrame, float], Coloured]) -> Callable[[InspectedFrame, float], Coloured]:
        def wrapped(frame: InspectedFrame, share: float) -> Coloured:
            if frame.frame == sphere.frames[2].frame:
                raise InputError("gone")
            return read(frame, share)

        return wrapped

    drawn = unrolled(sphere, refusing(pictures(sphere)), 180)
    full = unrolled(sphere, pictures(sphere), 180)
    assert np.array_equal(drawn.owner == NOTHING, full.owner == 2)
    assert np.abs(errors(drawn)).max() < 6  # reduced to pixels of 2 degrees


def test_one_picture_at_a_time_and_each_once(sphere: Inspected) -> None:
    asked: list[int] = []

    def read(frame: InspectedFrame, share: float) -> Coloured:
        asked.append(frame.frame)
        assert 0 < share <= 1
        return pictures(sphere)(frame, share)

    unrolled(sphere, read, 180)
    assert asked == [frame.frame for frame in sphere.frames]


def test_the_first_pass_with_a_picture_counts_unless_another_is_chosen(sphere: Inspected) -> None:
    ids = [frame.frame for frame in sphere.frames]
    second = [
        replace(frame, frame=100 + frame.frame, repeats=frame.frame, pass_number=2, least_different=place == 3)
        for place, frame in enumerate(sphere.frames[:4])
    ]
    first = [replace(sphere.frames[0], file=None), *sphere.frames[1:3]]
    first += [replace(sphere.frames[3], least_different=False), *sphere.frames[4:]]
    both = replace(sphere, frames=[*second, *first])
    least = [frame.frame for frame in first_passes(both, least_different_passes(both))]
    assert least == [100 + ids[0], ids[1], ids[2], 100 + ids[3], *ids[4:]]
    assert [frame.frame for frame in first_passes(both)] == [100 + ids[0], *ids[1:]]
    chosen = first_passes(both, {ids[2]: 2, ids[9]: 5})
    assert [frame.frame for frame in chosen] == [100 + ids[0], ids[1], 100 + ids[2], *ids[3:]]


@pytest.mark.parametrize("across", [401, 402, 404])
def test_a_file_that_is_decoded_smaller_lands_at_the_same_place(across: int, tmp_path: Path) -> None:
    inspected = inspected_of(plan_of(14.0, WINDOW), across)
    for frame in inspected.frames:
        pictures(inspected)(frame, 1.0).picture.save(tmp_path / str(frame.file), quality=95)
    shares: list[float] = []

    def read(frame: InspectedFrame, share: float) -> Coloured:
        found = reader_of(tmp_path)(frame, share)
        shares.append(found.share)
        return found

    drawn = unrolled(inspected, read, across // 4)
    assert set(shares) <= {0.125, 0.25, 0.5}
    off = errors(drawn)
    assert np.abs(off).mean() < 1
    assert np.abs(off).max() < 6  # a JPEG's own error; a shift by one pixel of the drawing would be as much


def test_a_file_of_another_size_is_refused(tmp_path: Path) -> None:
    inspected = inspected_of(plan_of(24.0, WINDOW), 200)
    frame = inspected.frames[0]
    Image.new("RGB", (frame.size_px[1], frame.size_px[0])).save(tmp_path / str(frame.file), format="JPEG")
    with pytest.raises(InputError, match="pixels large, as it was when the set was inspected"):
        reader_of(tmp_path)(frame, 1.0)
    with pytest.raises(InputError):
        reader_of(tmp_path)(inspected.frames[1], 1.0)  # there is none


@pytest.mark.parametrize("flagged", [1, 3, 6])
def test_the_orientation_of_the_set_counts_and_not_that_of_a_file(flagged: int, tmp_path: Path) -> None:
    """A camera that looks up or down may flag its file wrongly."""
    inspected = inspected_of(plan_of(14.0, WINDOW), 120)
    frame = inspected.frames[0]
    upright = pictures(inspected)(frame, 1.0).picture
    tags = Image.Exif()
    tags[Base.Orientation] = flagged
    upright.transpose(Image.Transpose.ROTATE_90).save(tmp_path / str(frame.file), quality=95, exif=tags)
    read = reader_of(tmp_path, 6)(frame, 1.0)
    assert read.picture.size == frame.size_px
    assert np.abs(np.asarray(read.picture).astype(int) - np.asarray(upright)).mean() < 2
