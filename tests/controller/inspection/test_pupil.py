"""The pupil's place in made-up sets with near things, against the truth."""

import numpy as np
import pytest

from controller.inspection.head_measured import Measured
from controller.inspection.near_points import NoPupil
from controller.inspection.poses import HeadFrame, pan_axis, turn_of
from controller.inspection.pupil import LevelGround, NearestThings, PupilFound, adjust_with_pupil
from tests.controller.inspection.near_sets import Distances, level_ground, make_near, things
from tests.controller.inspection.sets import ASSUMED, LENS, MadeUp, grid, make

AXIS = pan_axis(0, 0)
NEAR, HIGH = NearestThings(Measured(1500.0, 0.0)), LevelGround(Measured(1400.0, 0.0))


def rows(lowest: float, columns: int = 5) -> list[HeadFrame]:
    return grid(np.arange(columns) * 28.0, np.array([lowest, 0.0]))


def found_in(made: MadeUp, known: NearestThings | LevelGround | None) -> PupilFound:
    found = adjust_with_pupil(made.frames, made.links, ASSUMED, AXIS, known)[1]
    assert isinstance(found, PupilFound)
    return found


@pytest.mark.parametrize(
    ("distances", "known", "lowest", "right", "ahead"),
    [
        (things(0.25), NEAR, -20.0, -4.0, 15.0),
        (things(0.1), NEAR, -20.0, 2.0, -25.0),
        (level_ground(1400.0), HIGH, -30.0, 2.0, -25.0),
    ],
)
def test_the_pupil_is_found_to_half_a_millimetre(
    distances: Distances, known: NearestThings | LevelGround, lowest: float, right: float, ahead: float
) -> None:
    """Also within four of its standard uncertainties."""
    made = make_near(np.random.default_rng(7), rows(lowest), distances, right, ahead)
    found = found_in(made, known)
    assert found.ahead_mm is not None
    assert found.right_mm is not None
    for value, truth in ((found.ahead_mm, ahead), (found.right_mm, right)):
        assert abs(value.value - truth) < 0.5
        assert abs(value.value - truth) < 4 * value.sd
    assert found.slide == ("back" if ahead > 0 else "forward")


def test_a_known_pupil_does_not_turn_the_frames() -> None:
    """Poses with the pupil adjusted are better than without, and as good as without any parallax."""
    made = make_near(np.random.default_rng(3), rows(-30.0), level_ground(1400.0), 0.0, 30.0)

    def off_px(known: LevelGround | None) -> float:
        adjusted, _ = adjust_with_pupil(made.frames, made.links, ASSUMED, AXIS, known)
        turns = turn_of(adjusted.rotations @ made.rotations.transpose(0, 2, 1))
        return float(np.sqrt(np.mean((turns - turns.mean(axis=0)) ** 2))) * LENS.focal_px

    with_pupil = off_px(HIGH)
    assert with_pupil < 0.3
    assert with_pupil < 0.5 * off_px(None)


def test_without_a_length_there_are_no_millimetres() -> None:
    made = make_near(np.random.default_rng(5), rows(-20.0), things(0.25), 0.0, 15.0)
    found = found_in(made, None)
    assert found.ahead_mm is found.right_mm is None
    assert found.ahead_share.value == pytest.approx(0.01, abs=0.0003)


def test_the_uncertainty_of_the_length_counts() -> None:
    made = make_near(np.random.default_rng(5), rows(-20.0), things(0.25), 0.0, 15.0)
    found = found_in(made, NearestThings(Measured(1500.0, 30.0)))
    assert found.ahead_mm is not None
    assert found.ahead_mm.sd == pytest.approx(15 * np.hypot(30 / 1500, 0.03 / np.sqrt(3)), rel=0.05)


def test_a_lens_that_turns_about_its_pupil_over_ground_is_measured_as_such() -> None:
    made = make_near(np.random.default_rng(4), rows(-30.0), level_ground(1400.0), 0.0, 0.0)
    found = found_in(made, HIGH)
    assert found.ahead_mm is not None
    assert abs(found.ahead_mm.value) < 4 * found.ahead_mm.sd < 1.0


def test_a_set_that_cannot_carry_it_says_why() -> None:
    far = make(np.random.default_rng(2), rows(15.0, 4))
    for known, reason in ((NEAR, NoPupil.NOTHING_NEAR), (None, NoPupil.NOTHING_NEAR)):
        assert adjust_with_pupil(far.frames, far.links, ASSUMED, AXIS, known)[1] is reason
    high = make(np.random.default_rng(2), grid(np.arange(4) * 28.0, np.array([60.0])))
    adjusted, found = adjust_with_pupil(high.frames, high.links, ASSUMED, AXIS, HIGH)
    assert found is NoPupil.NO_GROUND
    assert not adjusted.alone.any()
    moving = make(np.random.default_rng(2), rows(15.0, 4), wild=0.3)
    assert adjust_with_pupil(moving.frames, moving.links, ASSUMED, AXIS, NEAR)[1] in {NoPupil.UNLIKE, NoPupil.TOO_WEAK}
    assert adjust_with_pupil(far.frames, [], ASSUMED, AXIS, NEAR)[1] is NoPupil.NOTHING_NEAR
    assert adjust_with_pupil(far.frames, [], ASSUMED, AXIS, HIGH)[1] is NoPupil.NO_GROUND
