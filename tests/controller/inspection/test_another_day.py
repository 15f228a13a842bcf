"""A photograph of another day against the pictures of a set, both rendered: what it says, and the plan for it.

The truth is the simulator's: where the camera pointed in the earlier set, and where today's head would point it. Pixels
are those of a full-size picture of 24 megapixels.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest

from controller.commands.match import match_command
from controller.commands.pictures import BEGIN
from controller.errors import InputError
from controller.inspection.inspecting import AdjustedSet, adjust_set
from controller.inspection.lens_model import Array
from controller.inspection.poses import turn_of
from controller.inspection.same_spot import ZeroDifference, zero_difference
from controller.inspection.shifted import Unshifted
from controller.inspection.spot_of_today import ToMove, base_of, leftover, must_be_upright, shot_at, to_move
from controller.inspection.taken import SharedFacts
from controller.inspection.todays import PlacedToday, place_today, read_today
from controller.optics.projection import Projection
from controller.planning.aligned import HeadBase, aligned_plan
from controller.program.kinematics import axes_for
from sim.scene.photograph import CameraName, ExposureMoment, save_photograph
from tests.sets.another_day import SAME_DAY, OtherDay, TrueBase, photograph_of
from tests.sets.making import SetMaker
from tests.sets.spec import ORDINARY, SetSpec
from tests.sets.truth import MadeSet

SEED = 3
BAND = SetSpec(band_deg=(-20, 25), hidden=replace(ORDINARY, pan_scale=0.003))
LANDSCAPE = SetSpec(20.0, mounted="landscape", long_px=720, band_deg=(-20, 25), window_deg=(-50, 60), hidden=ORDINARY)
LEANING = replace(LANDSCAPE, lean_deg=(2.0, 40.0))
FISHEYE = SetSpec(15.0, Projection.EQUISOLID, long_px=720, hidden=ORDINARY)
ROUND = SetSpec(8.0, Projection.EQUIDISTANT, circle_mm=23.0, long_px=720, hidden=ORDINARY)
FULL_PX = 6000  # on the long side


@pytest.fixture(scope="module")
def earlier(set_maker: SetMaker) -> Callable[[SetSpec], tuple[MadeSet, AdjustedSet]]:
    @lru_cache(maxsize=2)
    def adjusted(spec: SetSpec) -> tuple[MadeSet, AdjustedSet]:
        made = set_maker.make(spec, SEED)
        return made, adjust_set(match_command(made.session, made.folder), made.folder, quietly)

    return adjusted


def quietly(_: int) -> Callable[[], None]:
    return lambda: None


def compared(
    made: MadeSet, whole: AdjustedSet, photograph: Path, yaw: float = 0.0, pitch: float = 0.0
) -> tuple[PlacedToday, ZeroDifference]:
    """What the photograph says, shot at this pose of today's head."""
    found = place_today(whole, photograph, pitch, quietly)
    today = shot_at(made.plan.kit.head, yaw, pitch, whole.frames)
    return found, zero_difference(whole.frames, whole.adjusted, today, found.placed)


def off_px(made: MadeSet, base: HeadBase, true: TrueBase) -> Array:
    """How far each frame of the aligned plan is from where it was, if today's head shoots it: (n, 3), about its axes."""
    plan = aligned_plan(made.plan, base)
    earlier = {shot.frame: shot.rotation for shot in made.shots}
    turns = [
        earlier[frame.id].T @ true.rotation(made.spec, *axes_for(plan.kit.head, frame.yaw_deg, frame.pitch_deg))
        for frame in plan.frames
    ]
    return turn_of(np.array(turns)) * made.lens.focal_px * FULL_PX / made.spec.long_px


DAYS = {
    "turned": (BAND, TrueBase(148.0), (0.0, 0.0), OtherDay(brighter_ev=-1.0)),
    "turned and leaning": (BAND, TrueBase(-141.3, 0.6, 75.0), (0.0, 0.0), SAME_DAY),
    "landscape": (LANDSCAPE, TrueBase(20.0, 0.4, -30.0), (-10.0, 5.0), SAME_DAY),
}
MORE = {
    "as it was": (BAND, TrueBase(), (0.0, 0.0), SAME_DAY),
    "another sky, people and cars": (BAND, TrueBase(12.0), (30.0, -4.0), OtherDay(1.0, sky=9, passers=(6, 3))),
    "a head that leant": (LEANING, TrueBase(-15.0, 1.0, -60.0), (0.0, 0.0), SAME_DAY),
    "fisheye": (FISHEYE, TrueBase(77.0, 0.4, 20.0), (0.0, 10.0), OtherDay(brighter_ev=1.0)),
    "round fisheye": (ROUND, TrueBase(-120.0, 0.3, 100.0), (0.0, 0.0), SAME_DAY),
}


@pytest.mark.parametrize("kind", [*DAYS, *(pytest.param(kind, marks=pytest.mark.long) for kind in MORE)])
def test_the_aligned_set_lies_on_the_earlier_one(
    kind: str, earlier: Callable[[SetSpec], tuple[MadeSet, AdjustedSet]], tmp_path: Path
) -> None:
    """The series property: today's head, sent by the new plan, looks where the earlier one looked, to a few pixels.

    The pan turns 0.3 % further than commanded in some of these, which is half a degree over the way from the old zero.
    """
    spec, true, axes, day = (DAYS | MORE)[kind]
    made, whole = earlier(spec)
    head = made.plan.kit.head
    # The photograph is shot at a pose of today's head, whose kit has the lean of the earlier day.
    photograph = photograph_of(spec, SEED, tmp_path / "today.jpg", true, axes_for(head, *axes), day)
    found, difference = compared(made, whole, photograph, *axes)
    base = base_of(difference, head, whole.adjusted.pan_scale)
    off = off_px(made, base, true)
    # Steeper frames miss their direction by up to the lean, as on any head that leans (`levelled`).
    level = np.array([abs(frame.pitch_deg) <= 60 for frame in made.plan.frames])
    assert np.hypot(off[:, 0], off[:, 1])[level].max() < 5.0
    left = leftover(made.plan, aligned_plan(made.plan, base), base)
    corner = np.hypot(2, 3) / 6 * FULL_PX / (made.lens.focal_px * FULL_PX / spec.long_px)
    assert np.abs(off[:, 2]).max() * corner < left.corner_px * FULL_PX / spec.long_px + 8.0
    assert found.placed.shift is Unshifted.NOTHING_OFF
    assert found.points >= 40


def test_yaw_and_lean_are_within_what_is_stated(
    earlier: Callable[[SetSpec], tuple[MadeSet, AdjustedSet]], tmp_path: Path
) -> None:
    made, whole = earlier(LANDSCAPE)
    lean, toward = 0.8, -30.0
    true = TrueBase(20.0, lean, toward)
    _, found = compared(made, whole, photograph_of(LANDSCAPE, SEED, tmp_path / "today.jpg", true))
    # The head's own axis leans toward 20 - 30 degrees of the earlier yaw.
    along, across = lean * np.cos(np.radians(20 + toward)), lean * np.sin(np.radians(20 + toward))
    for one, due in ((found.yaw, 20.0), (found.lean_to_0, along), (found.lean_to_90, across)):
        assert abs(one.value - due) < 3 * one.sd + 0.01
        assert one.sd < 0.2  # one row says nothing of the tilt's scale, and the kit's head is a rough one


def test_with_yaw_only_the_kits_lean_is_kept(
    earlier: Callable[[SetSpec], tuple[MadeSet, AdjustedSet]], tmp_path: Path
) -> None:
    """A camera that was put back with a roll of 0.7 degrees is no head that leans."""
    made, whole = earlier(LANDSCAPE)
    day = OtherDay(turned_deg=(0.0, 0.0, 0.7))
    _, found = compared(made, whole, photograph_of(LANDSCAPE, SEED, tmp_path / "today.jpg", TrueBase(9.0), day=day))
    head = made.plan.kit.head
    assert base_of(found, head, 0.0).lean_deg == pytest.approx(0.7, abs=0.05)
    kept = base_of(found, head, whole.adjusted.pan_scale, yaw_only=True)
    assert kept.lean_deg == 0
    assert np.abs(off_px(made, kept, TrueBase(9.0))).max() < 5.0


@pytest.mark.parametrize("moved_mm", [(0.0, 60.0), (50.0, 50.0)])
def test_a_camera_that_was_elsewhere_is_sent_back(
    moved_mm: tuple[float, float], earlier: Callable[[SetSpec], tuple[MadeSet, AdjustedSet]], tmp_path: Path
) -> None:
    """The way back as the photograph sees it. Near things are some metres away; far ones still lie on each other."""
    made, whole = earlier(BAND)
    true = TrueBase(100.0)
    photograph = photograph_of(BAND, SEED, tmp_path / "today.jpg", true, (0.0, -4.0), OtherDay(moved_mm=moved_mm))
    found, difference = compared(made, whole, photograph, 0.0, -4.0)
    way = to_move(found.placed)
    assert isinstance(way, ToMove)
    ahead, right = (0.0 if one is None else one.value for one in (way.ahead, way.right))
    aside = np.degrees(np.arctan2(right, ahead) - np.arctan2(-moved_mm[1], -moved_mm[0]))
    assert abs((aside + 180) % 360 - 180) < 12
    assert 0.01 < np.hypot(ahead, right) < 0.06  # 45 to 71 mm of some metres
    base = base_of(difference, made.plan.kit.head, whole.adjusted.pan_scale)
    off = off_px(made, base, true)
    assert np.hypot(off[:, 0], off[:, 1]).max() < 6.0


REFUSED = {
    "does not fit any picture": OtherDay(place=9),
    "% of the detail of the earlier pictures": OtherDay(soft_px=25.0),
}


@pytest.mark.parametrize("sentence", REFUSED)
def test_a_photograph_that_fits_nowhere_is_refused_with_the_reason(
    sentence: str, earlier: Callable[[SetSpec], tuple[MadeSet, AdjustedSet]], tmp_path: Path
) -> None:
    made, whole = earlier(LANDSCAPE)
    photograph = photograph_of(LANDSCAPE, SEED, tmp_path / "today.jpg", TrueBase(9.0), day=REFUSED[sentence])
    with pytest.raises(InputError, match=sentence) as refused:
        compared(made, whole, photograph)
    assert str(refused.value).startswith(str(photograph))


def test_another_focal_length_is_refused_even_if_the_file_does_not_say_so(
    earlier: Callable[[SetSpec], tuple[MadeSet, AdjustedSet]], tmp_path: Path
) -> None:
    made, whole = earlier(LANDSCAPE)
    longer = replace(LANDSCAPE, hidden=replace(ORDINARY, focal_share=1.035))
    photograph = photograph_of(longer, SEED, tmp_path / "today.jpg", TrueBase(9.0))
    with pytest.raises(InputError, match=r"its focal length is [23]\.\d % longer"):
        compared(made, whole, photograph)


@pytest.mark.parametrize(
    ("size", "focal_mm", "sentence"),
    [
        ((72, 48), 35.0, "was shot at 35 mm, and the earlier set at 20 mm. Use the same focal length"),
        ((60, 40), 20.0, "is 60 x 40 pixels, and the pictures of the earlier set are 72 x 48"),
        ((48, 72), 20.0, "is 48 x 72 pixels"),
    ],
)
def test_another_camera_or_lens_is_refused(size: tuple[int, int], focal_mm: float, sentence: str, tmp_path: Path) -> None:
    file = saved(tmp_path, size, focal_mm, portrait=False)
    with pytest.raises(InputError, match=sentence) as refused:
        read_today(file, SharedFacts((72, 48), 1, 20.0))
    assert str(refused.value).startswith(str(file))


def test_a_photograph_is_upright_as_the_earlier_ones(tmp_path: Path) -> None:
    """A camera on end stores rows of its sensor; another program may have turned the pixels themselves."""
    shared = SharedFacts((48, 72), 8, 20.0)
    as_stored = read_today(saved(tmp_path / "a", (48, 72), 20.0, portrait=True), shared)
    as_turned = read_today(saved(tmp_path / "b", (48, 72), 20.0, portrait=False), shared)
    assert as_stored.shape == as_turned.shape == (72, 48)
    assert np.abs(as_stored.astype(int) - as_turned).max() < 30  # both are JPEGs


def saved(folder: Path, size: tuple[int, int], focal_mm: float, *, portrait: bool) -> Path:
    """A photograph of a slope of light, brighter to the right and below."""
    folder.mkdir(exist_ok=True)
    across, down = np.meshgrid(np.linspace(0, 90, size[0]), np.linspace(0, 160, size[1]))
    picture = np.repeat((across + down)[..., None], 3, axis=2).astype(np.uint8)
    name, moment = CameraName("Anvil", "One", None, None, focal_mm, round(focal_mm)), ExposureMoment(BEGIN, 0.01, 0.0)
    save_photograph(folder / "today.jpg", picture, name, moment, portrait=portrait)
    return folder / "today.jpg"


def test_a_camera_mounted_otherwise_is_refused(
    earlier: Callable[[SetSpec], tuple[MadeSet, AdjustedSet]], tmp_path: Path
) -> None:
    """On its side: the place is recognised, and the camera is not as it was."""
    made, whole = earlier(LANDSCAPE)
    day = OtherDay(turned_deg=(0.0, 0.0, 90.0))
    photograph = photograph_of(LANDSCAPE, SEED, tmp_path / "today.jpg", TrueBase(9.0), day=day)
    _, found = compared(made, whole, photograph)
    with pytest.raises(InputError, match=r"90° off .* mount the camera as it was"):
        must_be_upright(found, str(photograph), 0.0, 0.0)


def test_a_photograph_at_another_pitch_than_stated_is_refused(
    earlier: Callable[[SetSpec], tuple[MadeSet, AdjustedSet]], tmp_path: Path
) -> None:
    made, whole = earlier(LANDSCAPE)
    photograph = photograph_of(LANDSCAPE, SEED, tmp_path / "today.jpg", TrueBase(9.0), (0.0, 14.0))
    _, found = compared(made, whole, photograph)
    with pytest.raises(InputError, match=r"14° off the pose of yaw 0, pitch 0"):
        must_be_upright(found, str(photograph), 0.0, 0.0)
    _, found = compared(made, whole, photograph, pitch=14.0)
    must_be_upright(found, str(photograph), 0.0, 14.0)
