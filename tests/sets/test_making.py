"""Sets are what their truth says: checked against the scenery with the host's lens model, and by pairing the files."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageOps
from scipy import ndimage

from controller.commands.match import match_command
from controller.inspection.lens_model import Array, see
from controller.inspection.poses import HeadFrame as Pose
from controller.inspection.poses import pan_axis, predicted, turn_of, turned
from controller.program.kinematics import axes_for, pose_at
from sim.scene.lens import Distortion
from sim.scene.scenery import points_across
from sim.scene.spoilt import Spoilt
from tests.end_to_end.looking import codes_of_scene, to_code, to_light
from tests.sets.developing import Developing, place_of
from tests.sets.making import SetMaker, exchanged
from tests.sets.shooting import shoot
from tests.sets.spec import KINDS, Hidden, SetSpec
from tests.sets.truth import MadeSet, TrueShot, true_lens

SMALL_PX = 270
# Everything hidden but what changes the light.
PLAIN = {
    name: replace(spec, long_px=SMALL_PX, hidden=replace(spec.hidden, vignetting=None, scatter_deg=0.1))
    for name, spec in KINDS.items()
}
LENSES = ["24 mm sphere", "15 mm fisheye", "leaning head", "distortion of 3 %"]


def off_px(made: MadeSet, shot: TrueShot, rotation: Array) -> tuple[float, float]:
    """How far, in pixels right and down, a photograph is off from the scenery seen through the true lens."""
    assert shot.file is not None
    picture = np.asarray(ImageOps.exif_transpose(Image.open(shot.file)), dtype=np.float64)[..., 1]
    up, across = picture.shape
    down, right = np.mgrid[:up, :across]
    rays = see(made.lens, np.stack([right.ravel(), down.ravel()], axis=1).astype(np.float64)).rays
    x, y, z = rotation @ rays.T
    field = made.spec.kit(true=True).field(0.0)
    place = place_of(made.seed, points_across(float(np.arctan(field.width_mm / across / field.focal_length_mm))))
    scene = codes_of_scene(place)[1]
    height, width = scene.shape[0], scene.shape[1] - 2
    rows = np.clip((0.5 + np.arcsin(np.clip(y, -1, 1)) / np.pi) * height - 0.5, 0, height - 1)
    columns = (np.arctan2(x, z) / (2 * np.pi) + 0.5) * width + 0.5
    light = to_light(ndimage.map_coordinates(scene, [rows, columns], order=1)) * place.brightest
    brightness = shot.shutter_s / made.spec.kit().exposure.shutter_seconds
    due = to_code(light * brightness).reshape(up, across)
    inside = np.zeros(due.shape, dtype=bool)
    inside[3:-3, 3:-3] = True
    slopes = np.stack([-np.gradient(due, axis=1)[inside], -np.gradient(due, axis=0)[inside]], axis=1)
    off = np.linalg.lstsq(slopes, (picture - due)[inside], rcond=None)[0]
    return float(off[0]), float(off[1])


@pytest.mark.parametrize("name", LENSES)
def test_photographs_show_what_pose_and_lens_say(name: str, set_maker: SetMaker) -> None:
    made = set_maker.make(PLAIN[name], 5)
    assert len(made.shots) == len(made.plan.frames)
    for shot in made.shots[::6]:
        assert np.hypot(*off_px(made, shot, shot.rotation)) < 0.06


def test_the_check_above_would_see_a_tenth_of_a_degree(set_maker: SetMaker) -> None:
    made = set_maker.make(PLAIN["24 mm sphere"], 5)
    shot = made.shots[10]
    turn = np.radians(0.1)
    aside = np.array([[np.cos(turn), 0, np.sin(turn)], [0, 1, 0], [-np.sin(turn), 0, np.cos(turn)]])
    right, down = off_px(made, shot, aside @ shot.rotation)
    assert right == pytest.approx(made.lens.focal_px * turn * np.cos(np.radians(shot.pose.pitch_deg)), abs=0.15)
    assert abs(down) < 0.2


def contents(made: MadeSet) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted(made.folder.iterdir())}


def test_a_spoilt_set_differs_from_the_sound_one_in_its_spoilt_frames_alone(set_maker: SetMaker) -> None:
    spec = PLAIN["bracket of 3"]
    sound = set_maker.make(spec, 5)
    table = {
        4: Spoilt(soft_px=4.0),
        7: Spoilt(brighter_ev=-1.0, exposure=1),
        9: Spoilt(turned_deg=(0.0, 0.5, 0.0)),
        11: Spoilt(moved_deg=(0.0, 1.0, 0.0)),
        13: Spoilt(elsewhere=99),
        15: Spoilt(lost=True),
        **exchanged(20, 21),
    }
    spoilt = set_maker.make(spec, 5, table)
    before, after = contents(sound), contents(spoilt)
    for one, other in zip(sound.shots, spoilt.shots, strict=True):
        assert one.file is not None
        hit = one.frame in table and table[one.frame].exposure in {None, one.exposure}
        assert (before[one.file.name] != after.get(one.file.name)) == hit
        assert np.array_equal(one.rotation, other.rotation) != (one.frame in {9, 20, 21})
    assert len(before) - len(after) == 3
    for frame in (9, 20, 21):  # the truth follows the photograph
        shot = next(shot for shot in spoilt.shots if (shot.frame, shot.exposure) == (frame, 1))
        assert np.hypot(*off_px(spoilt, shot, shot.rotation)) < 0.06


def test_the_same_seed_makes_the_same_set(set_maker: SetMaker, tmp_path: Path) -> None:
    table = {3: Spoilt(moved_deg=(0.3, 0.0, 0.2))}
    one, other = (maker.make(PLAIN["8 mm fisheye"], 5, table) for maker in (set_maker, SetMaker(tmp_path)))
    assert contents(one) == contents(other)
    assert contents(one) != contents(set_maker.make(PLAIN["8 mm fisheye"], 6, table))


@pytest.mark.parametrize("name", ["bracket of 3", "incomplete", "leaning head"])
def test_every_file_is_paired_with_its_exposure(name: str, set_maker: SetMaker) -> None:
    made = set_maker.make(PLAIN[name], 5)
    lines = match_command(made.session, made.folder).lines
    found = {line.file: (line.frame, line.exposure) for line in lines if line.file is not None}
    assert found == {shot.file.name: (shot.frame, shot.exposure) for shot in made.shots if shot.file is not None}
    assert len(made.shots) == (made.spec.made or len(made.plan.exposures))


def test_the_true_lens_is_in_pixels_of_the_picture() -> None:
    spec = SetSpec(long_px=600, hidden=replace(PLAIN["24 mm sphere"].hidden, centre_mm=(0.9, -0.6), focal_share=1.01))
    lens = true_lens(replace(spec, hidden=replace(spec.hidden, distortion=Distortion(0.01, 0.002))))
    assert lens.focal_px == pytest.approx(24 * 1.01 * 600 / 36)
    assert (lens.centre_x_px, lens.centre_y_px) == pytest.approx((199.5 - 0.9 * 600 / 36, 299.5 - 0.6 * 600 / 36))
    assert (lens.k1, lens.k2) == (0.01, 0.002)


def test_a_third_of_the_frames_of_the_bare_place_show_little(set_maker: SetMaker) -> None:
    made = set_maker.make(PLAIN["sky, water and wall"], 5)
    bare = 0
    for shot in made.shots:
        assert shot.file is not None
        grey = np.asarray(Image.open(shot.file).convert("L").reduce(3), dtype=np.float64)
        steps = np.abs(np.diff(grey, axis=0))[:, :-1] + np.abs(np.diff(grey, axis=1))[:-1]
        bare += bool((steps > 8).mean() < 0.08)
    assert 8 <= bare <= 13


@pytest.mark.parametrize("name", ["leaning head", "24 mm sphere"])
def test_the_truth_about_the_head_is_in_the_terms_of_the_host(name: str, tmp_path: Path) -> None:
    """Two angles are free: the scales count from the middle of the set, and the head from its switches."""
    hidden = replace(KINDS[name].hidden, scatter_deg=0.0, pan_scale=0.003, tilt_scale=-0.002)
    spec = replace(KINDS[name], hidden=hidden)
    plan, views = shoot(spec, 5, tmp_path / "session.sqlite")
    developing = Developing(spec, 5, views)
    shots = [developing.true_shot(number) for number in range(len(views))]
    planned = {frame.id: frame for frame in plan.frames}
    head, frames = plan.kit.head, []
    for shot in shots:
        pan_deg, tilt_deg = axes_for(head, planned[shot.frame].yaw_deg, planned[shot.frame].pitch_deg)
        pose = pose_at(head, pan_deg, tilt_deg)
        frames.append(Pose(pose.yaw_deg, pose.pitch_deg, pose.roll_deg, 1.0, 1.0, 1.0, pan_deg, tilt_deg))
    axis = pan_axis(head.lean_deg, head.lean_toward_deg)
    terms = np.array([hidden.pan_scale, hidden.tilt_scale, *np.radians(hidden.mount_deg), *[0.0] * 6])
    due, _ = predicted(frames, axis, terms)
    true = np.stack([shot.rotation for shot in shots])
    off = np.degrees(turn_of(due.transpose(0, 2, 1) @ true))
    mount = turned(terms[None, 2:5])[0]
    about = np.stack([true.transpose(0, 2, 1) @ axis, np.tile(mount[0], (len(true), 1))], axis=2)
    free = np.linalg.lstsq(about.reshape(-1, 2), off.ravel(), rcond=None)[0]
    left = off - about @ free
    assert np.abs(off).max() < 1.5
    assert np.abs(left).max() < 0.1 * np.degrees(plan.kit.field(0.0).pixel_rad)  # some swing is left


def test_play_shows_in_where_frames_point(tmp_path: Path) -> None:
    """Rows are shot to and fro, so a pan with play is off to the one side, then to the other."""
    spec = replace(KINDS["50 mm window"], hidden=Hidden(play_deg=(0.06, 0.0)))
    plan, views = shoot(spec, 2, tmp_path / "session.sqlite")
    planned = {frame.id: frame for frame in plan.frames}
    off = np.array([(view.angles_deg[:, 0].mean() - planned[view.frame].yaw_deg + 180) % 360 - 180 for view in views])
    rows = np.array([planned[view.frame].row for view in views])
    one, other = off[rows == rows[0]][1:], off[rows == rows[-1]][1:]
    assert max(np.ptp(one), np.ptp(other)) < 0.01
    assert abs(one.mean() - other.mean()) == pytest.approx(0.06, abs=0.006)
