"""Spoilt sets: each fault is found by its name, and nothing else is."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from controller.commands.match import match_command
from controller.errors import InputError
from controller.inspection.exposures import BLACK_CODE, WHITE_CODE
from controller.inspection.inspected import FrameFault, Inspected, LinkVerdict
from controller.inspection.limits import Limits
from controller.inspection.pose_table import pose_rows
from sim.scene.spoilt import Spoilt
from tests.sets.developing import Spoiling
from tests.sets.inspecting import Inspector, due, pose_error_px, said
from tests.sets.making import SetMaker, exchanged
from tests.sets.spec import KINDS, SetSpec

WINDOW = KINDS["50 mm window"]  # two rows; the head turns to and fro
ROW = replace(WINDOW, band_deg=(-12, 12), window_deg=(-60, 70))
SKY = replace(KINDS["sky, water and wall"], long_px=600)
FISHEYE = KINDS["8 mm fisheye"]
PIXEL_DEG = math.degrees(1 / (960 / 36 * 50))
SOFT, ELSEWHERE, DARK = Spoilt(soft_px=4.0), Spoilt(elsewhere=101), Spoilt(brighter_ev=-1.0)
MOVED = Spoilt(moved_deg=(4.0 * PIXEL_DEG, 4.5 * PIXEL_DEG, 0.0))
TURNED = Spoilt(turned_deg=(0.1, -0.15, 0.1))
FAR = Spoilt(turned_deg=(3.0, 2.5, -1.0))

CASES: dict[str, tuple[SetSpec, Spoiling]] = {
    "sound": (WINDOW, {}),
    "turned by a fifth of a degree": (WINDOW, {4: TURNED}),
    "the first and the last turned by degrees": (WINDOW, {0: FAR, 11: FAR}),
    "two beside each other turned": (WINDOW, {3: FAR, 4: Spoilt(turned_deg=(3.0, 2.4, -1.0))}),
    "soft, and moved beside it": (WINDOW, {7: SOFT, 8: MOVED}),
    "two soft ones beside each other": (WINDOW, {2: SOFT, 3: SOFT}),
    "changed places, and a dark one": (WINDOW, {**exchanged(5, 6), 1: DARK}),
    "another place beside a bright one": (WINDOW, {9: ELSEWHERE, 10: Spoilt(brighter_ev=1.0)}),
    "a single row": (ROW, {2: MOVED, 3: ELSEWHERE}),
    "few frames that changed places": (FISHEYE, exchanged(0, 2)),
}


@pytest.fixture(scope="module")
def inspector() -> Inspector:
    return Inspector()


@pytest.mark.parametrize("name", CASES)
def test_what_was_spoilt_is_found_and_nothing_else(name: str, set_maker: SetMaker, inspector: Inspector) -> None:
    spec, spoiling = CASES[name]
    made = set_maker.make(spec, 4, spoiling)
    inspected = inspector.inspect(made)
    assert said(inspected) == due(made)
    if spec is not ROW:  # a frame of another place breaks a single row: nothing but the head holds its parts together
        assert pose_error_px(made, inspected) < 0.3
    _check_what_follows(inspected)


def _check_what_follows(inspected: Inspected) -> None:
    """Retakes, links and what to do are those of the faults."""
    faults = {one.frame: one.blemishes for one in inspected.frames}
    assert inspected.retake == sorted(frame for frame, each in faults.items() if any(one.retake for one in each))
    for frame, each in faults.items():
        for one in each:
            assert any(one.sentence in sentence for sentence in inspected.todo)
            swapped = one.fault is FrameFault.SWAPPED
            assert not swapped or (one.other is not None and one.other != frame and not one.retake)
    misplaced = {one.frame for one in inspected.frames if one.worst is FrameFault.ANOTHER_PLACE}
    off = misplaced | {one.frame for one in inspected.frames if one.worst is FrameFault.TURNED}
    for link in inspected.links:
        touched = {link.first, link.second} & off
        assert (link.verdict is LinkVerdict.CONTRADICTS) <= bool(touched)
        assert (link.verdict is LinkVerdict.LINKED) <= (not touched)
    for wrong in inspected.frames:
        if wrong.frame in misplaced:
            assert wrong.detail is wrong.brighter_ev is None
            assert wrong.alone


@pytest.fixture(scope="module")
def bare(set_maker: SetMaker, inspector: Inspector) -> Inspected:
    return inspector.inspect(set_maker.make(SKY, 2))


def test_bare_frames_are_blamed_for_nothing(bare: Inspected) -> None:
    """Nor do links of sky contradict anything."""
    assert {frame for frame, _ in said(bare)} == set()
    assert sum(one.alone for one in bare.frames) >= 2
    assert all(link.verdict is not LinkVerdict.CONTRADICTS for link in bare.links)


def test_a_frame_beside_bare_ones_is_found(bare: Inspected, set_maker: SetMaker, inspector: Inspector) -> None:
    alone = {one.frame for one in bare.frames if one.alone}
    linked = [link for link in bare.links if link.verdict is LinkVerdict.LINKED]
    beside = {frame for link in bare.links for frame in (link.first, link.second) if {link.first, link.second} & alone}
    ways = {frame: sum(frame in (link.first, link.second) for link in linked) for frame in beside - alone}
    place = min((frame for frame, count in ways.items() if count >= 2), key=lambda frame: (ways[frame], frame))
    for spoilt in (ELSEWHERE, FAR):
        made = set_maker.make(SKY, 2, {place: spoilt})
        assert said(inspector.inspect(made)) == due(made)


def test_the_table_has_the_poses_that_swapped_files_really_show(set_maker: SetMaker, inspector: Inspector) -> None:
    made = set_maker.make(WINDOW, 4, exchanged(3, 4))
    inspected = inspector.inspect(made)
    assert {fault for _, fault in said(inspected)} == {FrameFault.SWAPPED}
    rows = {row.file: row for row in pose_rows(inspected, match_command(made.session, made.folder).lines)}
    assert len(rows) == len(made.shots)
    for shot in made.shots:
        assert shot.file is not None
        assert abs(math.remainder(rows[shot.file.name].yaw_deg - shot.pose.yaw_deg, 360)) < 0.5
        assert rows[shot.file.name].pitch_deg == pytest.approx(shot.pose.pitch_deg, abs=0.5)


def test_clipped_frames_are_those_whose_files_are_clipped(set_maker: SetMaker, inspector: Inspector) -> None:
    """Counted in the files themselves."""
    made = set_maker.make(WINDOW, 4, {6: Spoilt(brighter_ev=2.5)})
    inspected = inspector.inspect(made, replace(Limits(), clipped=0.1))
    assert (6, FrameFault.BRIGHTNESS) in said(inspected)
    clipped = {one.frame for one in inspected.frames if any(each.fault is FrameFault.CLIPPED for each in one.blemishes)}
    shares = {}
    for shot in made.shots:
        assert shot.file is not None
        grey = np.asarray(Image.open(shot.file).convert("L"))
        shares[shot.frame] = max(float(np.mean(grey >= WHITE_CODE)), float(np.mean(grey <= BLACK_CODE)))
    assert 6 in clipped
    assert {frame for frame, share in shares.items() if share > 0.12} <= clipped
    assert clipped <= {frame for frame, share in shares.items() if share > 0.08}


def test_pictures_of_another_session_are_refused_in_one_sentence(set_maker: SetMaker, inspector: Inspector) -> None:
    frames = range(len(set_maker.make(FISHEYE, 4).plan.frames))
    made = set_maker.make(FISHEYE, 4, {frame: Spoilt(elsewhere=200 + frame) for frame in frames})
    with pytest.raises(InputError, match="do not show what the session shot"):
        inspector.inspect(made)
