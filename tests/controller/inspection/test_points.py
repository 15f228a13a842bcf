"""Matches of neighbouring frames against the poses and the lens with which the simulator drew them."""

from __future__ import annotations

import math

import numpy as np
import pytest

from controller.inspection.points import FEWEST, LinkReason
from controller.optics.projection import Projection
from tests.controller.inspection.rendered import Aim, Rig, errors_px, found, grain, photograph, scenery_from

PORTRAIT = Rig()
FISHEYE = Rig(Projection.EQUISOLID, 8.0)
AIMS = ((30.0, 0.0, 0.0), (66.0, 0.0, 0.0))
CASES: dict[str, tuple[Rig, tuple[Aim, Aim], tuple[Aim, Aim] | None, float, float]] = {
    # rig; true aims; believed aims; steps of exposure between the two; half-size local pictures if 0.5
    "level": (PORTRAIT, AIMS, None, 0.0, 1.0),
    "half as fine": (PORTRAIT, AIMS, None, 0.0, 0.5),
    "half a degree off": (PORTRAIT, AIMS, ((30.5, -0.3, 0.3), AIMS[1]), 0.0, 1.0),
    "leaning": (PORTRAIT, ((30.0, 10.0, 4.0), (66.0, 9.0, -3.0)), None, 0.0, 1.0),
    "from row to row": (PORTRAIT, ((30.0, 0.0, 0.0), (40.0, 50.0, 0.0)), None, 0.0, 1.0),
    "one step brighter": (PORTRAIT, ((30.0, -10.0, 0.0), (66.0, -10.0, 0.0)), None, 1.0, 1.0),
    "one step darker": (PORTRAIT, ((30.0, -10.0, 0.0), (66.0, -10.0, 0.0)), None, -1.0, 1.0),
    "nadir": (PORTRAIT, ((30.0, -90.0, 0.0), (90.0, -90.0, 0.0)), None, 0.0, 1.0),
    "fisheye": (FISHEYE, ((30.0, 0.0, 0.0), (120.0, 10.0, 0.0)), None, 0.0, 1.0),
    "round fisheye": (Rig(Projection.EQUIDISTANT, 6.0), ((30.0, 0.0, 0.0), (120.0, 0.0, 0.0)), None, 0.0, 1.0),
}


@pytest.mark.parametrize("name", CASES)
def test_matches_lie_where_the_poses_put_them(name: str) -> None:
    """Errors are compared with the stated uncertainty as well: chi must be about one."""
    rig, true, believed, ev, share = CASES[name]
    pictures = (photograph(rig, true[0]), photograph(rig, true[1], ev, seed=1))
    finding = found(rig, believed or true, pictures, share, u_aim_deg=0.3)
    assert finding.reason is LinkReason.FOUND
    matches = finding.matches
    errors = errors_px(rig, true, finding)[matches.agrees]
    assert len(errors) > 60
    assert math.sqrt((errors**2).mean()) < (0.3 if ev else 0.2)
    assert np.abs(errors.mean(axis=0)).max() < 0.1
    assert 0.5 < math.sqrt((errors**2 / matches.u_px[matches.agrees, np.newaxis] ** 2).mean()) < 1.6
    assert matches.score.min() > 0.6
    assert finding.differs < 0.03
    # Spread over what is common: no quarter of it holds nearly all.
    middle = np.median(matches.first_px, axis=0)
    assert (matches.first_px.max(axis=0) - matches.first_px.min(axis=0)).min() > 0.2 * rig.across
    quarters = np.unique((matches.first_px > middle) @ [1, 2], return_counts=True)[1]
    assert quarters.max() < 0.6 * len(matches.first_px)


@pytest.mark.parametrize("off_deg", [1.5, 3.0, 5.0])
def test_a_frame_turned_away_from_its_pose_is_found_elsewhere(off_deg: float) -> None:
    pictures = (photograph(PORTRAIT, AIMS[0]), photograph(PORTRAIT, AIMS[1], seed=1))
    believed = ((AIMS[0][0] + off_deg, 0.0, 0.0), AIMS[1])
    finding = found(PORTRAIT, believed, pictures, u_aim_deg=0.1)
    assert finding.reason is LinkReason.ELSEWHERE
    assert math.hypot(*finding.shift_px) / finding.scale_px == pytest.approx(math.radians(off_deg), rel=0.1)
    errors = errors_px(PORTRAIT, AIMS, finding)[finding.matches.agrees]
    assert math.sqrt((errors**2).mean()) < 0.2


@pytest.mark.parametrize("u_aim_deg", [0.05, 1.0])
@pytest.mark.parametrize("second", [(166.0, 0.0, 0.0), (240.0, -30.0, 0.0), (66.0, 55.0, 0.0)])
def test_another_place_is_different(second: Aim, u_aim_deg: float) -> None:
    pictures = (photograph(PORTRAIT, AIMS[0]), photograph(PORTRAIT, second, seed=1))
    finding = found(PORTRAIT, AIMS, pictures, u_aim_deg=u_aim_deg)
    assert finding.reason in {LinkReason.DIFFERENT, LinkReason.FEW}
    assert finding.matches.agrees.sum() < FEWEST


def test_frames_that_share_nothing_say_so() -> None:
    blank = np.zeros(PORTRAIT.size_px[::-1], dtype=np.uint8)
    finding = found(PORTRAIT, ((0.0, 0.0, 0.0), (180.0, 0.0, 0.0)), (blank, blank))
    assert finding.reason is LinkReason.NOTHING_COMMON


@pytest.mark.parametrize("code", [2, 120, 255])
def test_a_bare_wall_shows_nothing(code: int) -> None:
    wall = scenery_from(lambda x, y: 0.0 * x * y + code)
    pictures = (photograph(PORTRAIT, AIMS[0], scenery=wall), photograph(PORTRAIT, AIMS[1], scenery=wall, seed=1))
    finding = found(PORTRAIT, AIMS, pictures)
    assert finding.reason is LinkReason.NOTHING_TO_SEE
    assert finding.matches.agrees.sum() < FEWEST


def test_tiles_smaller_than_the_pose_is_unsure_are_ambiguous() -> None:
    """Steps of 2.8 degrees: within reach of a pose unsure by 1 degree, beyond that of one unsure by 0.05."""
    tiles = scenery_from(lambda x, y: 80 + 60 * (((x // 8) + (y // 8)) % 2))
    pictures = (photograph(PORTRAIT, AIMS[0], scenery=tiles), photograph(PORTRAIT, AIMS[1], scenery=tiles, seed=1))
    assert found(PORTRAIT, AIMS, pictures, u_aim_deg=1.0).reason is LinkReason.REPEATED
    sure = found(PORTRAIT, AIMS, pictures, u_aim_deg=0.05)
    assert sure.reason is LinkReason.FOUND
    assert math.sqrt((errors_px(PORTRAIT, AIMS, sure) ** 2).mean()) < 0.3


def test_sky_in_half_of_the_overlap_leaves_the_other_half() -> None:
    horizon = scenery_from(lambda x, y: np.where(y + 0 * x < 512, 190.0, 120 + 25 * grain()))
    pictures = (photograph(PORTRAIT, AIMS[0], scenery=horizon), photograph(PORTRAIT, AIMS[1], scenery=horizon, seed=1))
    finding = found(PORTRAIT, AIMS, pictures, u_aim_deg=0.3)
    assert finding.reason is LinkReason.FOUND
    assert 0.3 < finding.textured < 0.7
    assert finding.matches.first_px[:, 1].min() > 0.45 * PORTRAIT.size_px[1]
    errors = errors_px(PORTRAIT, AIMS, finding)[finding.matches.agrees]
    assert math.sqrt((errors**2).mean()) < 0.3


@pytest.mark.parametrize("side_px", [0, 60, 110])
def test_what_differs_is_measured_and_its_points_do_not_agree_wrongly(side_px: int) -> None:
    """Something with texture stands in the second frame only, in the middle of the overlap."""
    first, second = photograph(PORTRAIT, AIMS[0]), photograph(PORTRAIT, AIMS[1], seed=1).copy()
    texture = np.clip(120 + 60 * grain()[:side_px, :side_px], 0, 255).astype(np.uint8)
    second[300 : 300 + side_px, 20 : 20 + side_px] = texture
    finding = found(PORTRAIT, AIMS, (first, second))
    assert finding.reason is LinkReason.FOUND
    common = 0.30 * PORTRAIT.size_px[0] * PORTRAIT.size_px[1]  # about: tan(18 + 8.6) against tan(26.6) of half the width
    if side_px == 0:
        assert finding.differs < 0.01
    else:
        assert finding.differs == pytest.approx(side_px**2 / common, rel=0.5)
    errors = errors_px(PORTRAIT, AIMS, finding)[finding.matches.agrees]
    assert math.sqrt((errors**2).mean()) < 0.25
