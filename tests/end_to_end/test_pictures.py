"""Photographs of whole rehearsals, put back on the sphere by the poses in the session.

With a perfect rig the difference is noise; with a faulty one it appears where the truth says.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image, ImageOps

from controller.commands import pictures as pictures_module
from controller.commands.pictures import Darkroom
from controller.kit.kit import Kit
from controller.planning.plan import Frame
from controller.session.rows import ShotRow
from sim.scene.film import View
from sim.scene.place import make_place
from sim.scene.scenery import Scenery, points_across
from sim.truth import TrueExposure
from tests.end_to_end.looking import Watcher
from tests.end_to_end.whole_runs import World, kit_of, run, world_of

SEED = 4
FRAMES = tuple(
    Frame(id=number, row=0, yaw_deg=yaw, pitch_deg=pitch)
    for number, (yaw, pitch) in enumerate([(15.0, 5.0), (120.0, -15.5), (200.0, 30.25), (301.5, -50.0)])
)
Pictures = list[NDArray[np.uint8]]
# The sensor's noise is 1.4 codes at a fifth of its range. JPEG smooths it and adds its own, more in areas of rich detail.
NOISE_CODES = 2.3


@lru_cache
def place(seed: int, width: int) -> Scenery:
    return make_place(seed, width)


@pytest.fixture(autouse=True)
def _painted_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pictures_module, "make_place", place)


def shot(
    kit: Kit,
    folder: Path,
    *,
    change: Callable[[World], None] = lambda _: None,
    pupil_mm: tuple[float, float] = (0.0, 0.0),
    spoil: Callable[[Darkroom], None] = lambda _: None,
) -> tuple[Pictures, list[ShotRow], list[TrueExposure], Watcher]:
    """Rehearse FRAMES and develop the film: upright pictures, what the session reports, what was true."""
    folder.mkdir(exist_ok=True)
    world = world_of(kit, FRAMES, SEED)
    change(world)
    darkroom = Darkroom(folder / "pictures", 0.1, None, pupil_mm)
    darkroom.load(kit, folder, 1)
    world.rig.truth = darkroom.film
    done = run(world, folder)
    spoil(darkroom)
    assert darkroom.make(SEED, lambda _: lambda: None) == len(done.shots) == len(FRAMES) * len(kit.exposure.bracket_ev)
    files = sorted((folder / "pictures").iterdir())
    pictures = [np.asarray(ImageOps.exif_transpose(Image.open(file))) for file in files]
    up, across = pictures[0].shape[:2]
    pixel_rad = np.arctan(kit.field(0.0).width_mm / across / kit.lens.focal_length_mm)
    watcher = Watcher.of(kit, place(SEED, points_across(float(pixel_rad))), across, up)
    return pictures, done.shots, world.truth, watcher


def angles_of(row: ShotRow) -> tuple[float, float]:
    assert row.intent.pan_deg is not None
    assert row.intent.tilt_deg is not None
    return row.intent.pan_deg, row.intent.tilt_deg


def test_a_perfect_rigs_pictures_fit_the_scene(tmp_path: Path) -> None:
    kit = kit_of(24.0, exposure={"bracket_ev": [-1, 0, 1]}, camera={"offset_right_mm": 1.0, "offset_up_mm": -2.0})
    pictures, shots, truth, watcher = shot(kit, tmp_path)
    for picture, row, true in zip(pictures, shots, truth, strict=True):
        assert true.still
        pose = angles_of(row)
        brightness = row.intent.shutter_s / kit.exposure.shutter_seconds
        difference = watcher.difference(picture, *pose, brightness)
        assert np.count_nonzero(difference) > 2000
        assert watcher.rms(picture, *pose, brightness) < NOISE_CODES
        assert abs(difference[difference != 0].mean()) < 0.2
        if brightness == 1:  # a twentieth of a pixel
            assert np.hypot(*watcher.found_off_deg(picture, *pose, brightness, 0.15)) < 0.007


@pytest.mark.parametrize("mounted", ["portrait", "landscape"])
@pytest.mark.parametrize("projection", ["equidistant", "stereographic"])
def test_whatever_the_lens(projection: str, mounted: str, tmp_path: Path) -> None:
    kit = kit_of(15.0, lens={"projection": projection}, camera={"mounted": mounted})
    pictures, shots, _, watcher = shot(kit, tmp_path)
    for picture, row in zip(pictures, shots, strict=True):
        assert watcher.rms(picture, *angles_of(row), 1.0) < NOISE_CODES


@pytest.mark.parametrize("wrong", [1, 2])
def test_one_frame_that_points_wrong_is_found(wrong: int, tmp_path: Path) -> None:
    def turn_one(darkroom: Darkroom) -> None:
        views = darkroom.film.views
        views[wrong] = replace(views[wrong], angles_deg=views[wrong].angles_deg + np.array([0.3, 0.0]))

    pictures, shots, _, watcher = shot(kit_of(24.0), tmp_path, spoil=turn_one)
    poses = [angles_of(row) for row in shots]
    misfits = [watcher.rms(picture, *pose, 1.0) for picture, pose in zip(pictures, poses, strict=True)]
    fair = [value for number, value in enumerate(misfits) if number != wrong]
    assert max(fair) < NOISE_CODES
    assert misfits[wrong] > 1.6 * max(fair)
    assert watcher.found_off_deg(pictures[wrong], *poses[wrong], 1.0) == pytest.approx((0.3, 0.0), abs=0.01)


def test_steps_of_the_wrong_size_are_seen_where_the_truth_says(tmp_path: Path) -> None:
    def wrong_gear(world: World) -> None:
        world.rig.head.pan.steps_per_degree *= 1.0015
        world.rig.head.tilt.steps_per_degree *= 0.99

    pictures, shots, truth, watcher = shot(kit_of(24.0), tmp_path, change=wrong_gear)
    for picture, row, true in zip(pictures, shots, truth, strict=True):
        said = np.array(angles_of(row))
        off = (np.array([true.yaw_deg, true.pitch_deg]) - said + 180) % 360 - 180
        assert np.hypot(*off) > 0.02
        assert watcher.found_off_deg(picture, float(said[0]), float(said[1]), 1.0) == pytest.approx(tuple(off), abs=0.01)


def test_a_lens_off_its_no_parallax_point_shifts_near_things_alone(tmp_path: Path) -> None:
    (true, *_), shots, _, watcher = shot(kit_of(24.0), tmp_path)
    (shifted, *_), _, _, _ = shot(kit_of(24.0), tmp_path / "off", pupil_mm=(60.0, 0.0))
    pose = angles_of(shots[0])
    wrong = np.abs(watcher.difference(shifted, *pose, 1.0)).max(axis=1) > 25
    right = np.abs(watcher.difference(true, *pose, 1.0)).max(axis=1) > 25
    assert right.mean() < 1e-3
    assert wrong.mean() > 0.003  # at the outlines of stones and posts
    # Far things stay in place: sky and hills, which begin above the horizon.
    above = watcher.expected(*pose, 1.0)
    assert above.shape == (len(wrong), 3)
    assert not wrong[watcher.rows < 0.3 * true.shape[0]].any()


def test_motion_while_the_shutter_is_open_blurs(tmp_path: Path) -> None:
    """A head that rings for long and a camera that does not wait: moving exposures are blurred, and the truth says so."""
    kit = kit_of(24.0, head={"settle_ms": 0, "ring_hz": 1.5, "ring_damping": 0.05}, exposure={"shutter_seconds": 0.5})
    views: list[View] = []
    pictures, _, truth, _ = shot(kit, tmp_path, spoil=lambda darkroom: views.extend(darkroom.film.views))
    sharp, *_ = shot(kit_of(24.0), tmp_path / "sharp")
    pixel_deg = math.degrees(kit.field(0.0).pixel_rad) * 10
    blurred = 0
    for picture, still, true, view in zip(pictures, sharp, truth, views, strict=True):
        if np.hypot(*np.ptp(view.angles_deg, axis=0)) > 5 * pixel_deg:
            blurred += 1
            assert not true.still
            assert detail(picture) < 0.85 * detail(still)
    assert blurred


def detail(picture: NDArray[np.uint8]) -> float:
    """How much neighbouring pixels differ, in codes, with the noise of single pixels averaged out."""
    calm = picture[: picture.shape[0] // 2 * 2, : picture.shape[1] // 2 * 2, 1].astype(float)
    calm = (calm[::2, ::2] + calm[1::2, ::2] + calm[::2, 1::2] + calm[1::2, 1::2]) / 4
    return float(np.abs(np.diff(calm, axis=1)).mean() + np.abs(np.diff(calm, axis=0)).mean())
