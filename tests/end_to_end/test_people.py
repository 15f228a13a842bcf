"""A person beside the head in every run: nothing moves without a warning, and questions wait for their answer."""

from __future__ import annotations

import random
from dataclasses import replace
from pathlib import Path

import pytest

from controller.planning.make import make_plan
from sim.person import PersonSpec
from sim.scenario import Fault, Scenario
from tests.end_to_end.attended import Attended
from tests.end_to_end.whole_runs import kit_of

PLAN = make_plan(kit_of(12.0), 0.3)
NADIR = make_plan(kit_of(14.0), 0.3)
BY_HAND = NADIR.model_copy(
    update={
        "frames": tuple(frame.model_copy(update={"by_hand": frame.pitch_deg < -80}) for frame in NADIR.frames),
    }
).sealed()
# Without jumps of the clock, since the countdown uses that clock. A monotonic clock does not jump.
KINDS: dict[str, tuple[float, float] | None] = {
    "line-cut": (1, 90), "supply-dip": (3, 60), "stop-switch": (5, 60), "board-reset": None, "host-asleep": (2, 400),
    "misfire": None, "camera-silent": (5, 60), "stall": None, "limit-hit": None, "bytes-damaged": (5, 60),
    "steps-lost": None,
}  # fmt: skip
COMMANDS = ("pause", "stop", "halt", "retake 2", "pause-after-row", "go-on")
CALM = PersonSpec(says_no_share=0.0, walks_away_share=0.0, mistypes_share=0.0, types_ahead=0)


def drawn_faults(drawn: random.Random) -> tuple[Fault, ...]:
    faults = []
    for _ in range(drawn.choice((0, 1, 2, 3))):
        kind = drawn.choice(list(KINDS))
        lasts = KINDS[kind]
        faults.append(
            Fault(
                kind,
                at_s=drawn.uniform(5, 260),
                for_s=None if lasts is None else drawn.uniform(*lasts),
                share=0.02,
                axis=drawn.choice(("pan", "tilt")),
                steps=drawn.uniform(-2000, 2000),
            )
        )
    return tuple(faults)


def drawn_world(seed: int, folder: Path) -> Attended:
    """A plan, some faults, and a person with habits, all drawn at random."""
    drawn = random.Random(seed)
    return Attended(
        drawn.choice((PLAN, BY_HAND)),
        folder,
        seed,
        PersonSpec(commands=tuple(drawn.choices(COMMANDS, k=drawn.choice((0, 1, 2, 3))))),
        Scenario("drawn", "", drawn_faults(drawn)),
        yes=drawn.random() < 0.2,
        ask_before_moving=drawn.random() < 0.3,
        sweep=drawn.random() < 0.7,
    )


def test_a_calm_person_and_a_sound_head(tmp_path: Path) -> None:
    world = Attended(PLAN, tmp_path, 1, CALM)
    assert world.capture(), world.ends
    assert world.person.unannounced == []
    assert len(world.rig.truth.exposures) == len(PLAN.exposures)


@pytest.mark.long
@pytest.mark.parametrize("seed", range(8))
def test_nothing_moves_within_reach_of_somebody_who_was_not_told(tmp_path: Path, seed: int) -> None:
    world = drawn_world(seed, tmp_path)
    world.capture()
    assert world.person.unannounced == [], world.person.read


def test_a_head_that_moves_without_a_warning_would_be_noticed(tmp_path: Path) -> None:
    """The person is at the head when the world begins, and a countdown of zero length is no warning."""
    world = Attended(PLAN, tmp_path, 1, CALM, lead_s=0.0)
    world.capture()
    assert world.person.unannounced_steps > 0


@pytest.mark.parametrize("answers_s", [0.1, 10.0, 120.0])
def test_a_nadir_by_hand_is_shot_at_any_speed(tmp_path: Path, answers_s: float) -> None:
    spec = replace(CALM, answers_s=(answers_s, answers_s + 0.01))
    world = Attended(BY_HAND, tmp_path, 3, spec)
    assert world.capture(), world.ends
    assert world.ends == ["The run is through."]
    hold = [frame for frame in BY_HAND.frames if frame.by_hand]
    asked = [line for _, line in world.person.read if "shot by hand" in line]
    assert len(asked) == len(hold)  # once for each, however long the answer takes
    assert world.person.unannounced == []


def test_yes_does_not_fire_a_frame_by_hand(tmp_path: Path) -> None:
    """--yes answers what a script can answer; it cannot hold the camera."""
    world = Attended(BY_HAND, tmp_path, 3, replace(CALM, comes_share=0.0), yes=True, at_terminal=False)
    assert not world.capture(tries=1)
    assert "Frames by hand were left out" in world.ends[-1]
    by_hand = {frame.id for frame in BY_HAND.frames if frame.by_hand}
    assert not by_hand & {shot.frame for shot in world.rig.truth.exposures}
