"""Requests before the first frame, and while a frame is held by hand; backlash take-up near a limit."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from controller.capture.events import EventKind, Wanted
from controller.capture.runner import Runner, RunResult
from controller.errors import InputError
from controller.planning.plan import Frame
from controller.program.build import build_program
from controller.session.session import Session
from tests.end_to_end.whole_runs import few_frames, kit_of, world_of

KIT = kit_of(exposure={"bracket_ev": [0, 1]})
NS = 1_000_000_000


def run_with(folder: Path, request: Callable[[], Wanted | None]) -> RunResult:
    world = world_of(KIT)
    with Session.create(folder / "s.sqlite", {}, durable=False) as session:
        return Runner(world.program, world.port, session, request).run()


@pytest.mark.parametrize("kind", [EventKind.STOP, EventKind.HALT])
@pytest.mark.parametrize("number", range(1, 12))
def test_a_request_at_any_time_ends_the_run_in_a_sentence(tmp_path: Path, kind: EventKind, number: int) -> None:
    asked = iter(range(1, 10_000))
    result = run_with(tmp_path, lambda: Wanted(kind) if next(asked) == number else None)
    assert not result.complete
    assert "as asked" in result.sentence


def test_an_operator_may_take_long_to_hold_the_camera(tmp_path: Path) -> None:
    frames = (*few_frames()[:1], Frame(id=1, row=1, yaw_deg=0.0, pitch_deg=-90.0, by_hand=True))
    world = world_of(KIT)
    asked_at: list[int] = []

    def ask(*_: object) -> None:
        asked_at.append(world.port.now())
        world.port.wake_at(world.port.now() + 100 * NS)

    def request() -> bool:
        return bool(asked_at) and world.port.now() >= asked_at[0] + 100 * NS

    with Session.create(tmp_path / "s.sqlite", {}, durable=False) as session:
        answered = iter([Wanted(EventKind.ANSWERED)])
        runner = Runner(
            build_program(KIT, frames),
            world.port,
            session,
            lambda: next(answered, None) if request() else None,
            ask=ask,
        )
        assert runner.run().complete
    assert [shot.frame for shot in world.truth] == [0, 0, 1, 1]


def test_take_up_stays_within_the_limits() -> None:
    kit = kit_of(head={"tilt": {"backlash_deg": 0.05, "min_deg": -91, "max_deg": 90}})
    frames = [Frame(id=i, row=i, yaw_deg=0.0, pitch_deg=pitch) for i, pitch in enumerate((10.0, -90.0))]
    program = build_program(kit, frames)
    tilts = [step.tilt_steps for step in program.steps if hasattr(step, "tilt_steps")]
    assert min(tilts) >= program.tilt.min_steps
    assert len(tilts) == 5  # the way down goes too far and comes back, and then pan and tilt pass their switches


def test_no_room_to_take_up_is_told() -> None:
    kit = kit_of(head={"tilt": {"backlash_deg": 0.05, "min_deg": -90, "max_deg": 90}})
    frames = [Frame(id=i, row=i, yaw_deg=0.0, pitch_deg=pitch) for i, pitch in enumerate((10.0, -90.0))]
    with pytest.raises(InputError, match="cannot be taken up"):
        build_program(kit, frames)
