"""Pauses, continuing, and frames to retake, on the rig."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from controller.capture.events import EventKind, Wanted
from controller.planning.plan import Frame
from controller.session.rows import DoubtReason
from controller.session.session import Session
from protocol.messages import Cause
from tests.end_to_end.whole_runs import (
    World,
    assert_truly_made,
    few_frames,
    kit_of,
    planned_exposures,
    run,
    world_of,
)

NS = 1_000_000_000
BATTERY_OUT_S, BATTERY_IN_S = 100.0, 150.0
KIT = kit_of(exposure={"bracket_ev": [0, 1]})
ROWS = tuple(
    Frame(id=number, row=number // 3, yaw_deg=20.0 * (number % 3), pitch_deg=10.0 * (number // 3)) for number in range(9)
)


def requests(world: World, *orders: tuple[float, Wanted]) -> Callable[[], Wanted | None]:
    """An operator with these requests, each at its second, in order."""
    left = [(round(at_s * NS), wanted) for at_s, wanted in orders]
    for at_ns, _ in left:
        world.port.wake_at(at_ns)

    def operator() -> Wanted | None:
        return left.pop(0)[1] if left and world.port.now() >= left[0][0] else None

    return operator


def test_a_battery_that_is_changed_in_a_pause_does_not_end_the_run(tmp_path: Path) -> None:
    world = world_of(KIT)
    asked = requests(world, (10.0, Wanted(EventKind.PAUSE)), (200.0, Wanted(EventKind.GO_ON)))
    board = world.rig.board
    changes = [
        (BATTERY_OUT_S, lambda: board.block(world.port.now(), Cause.SUPPLY_LOW)),
        (BATTERY_IN_S, lambda: board.unblock(Cause.SUPPLY_LOW)),
    ]
    for at_s, _ in changes:
        world.port.wake_at(round(at_s * NS))

    def operator() -> Wanted | None:
        while changes and world.port.now() >= changes[0][0] * NS:
            changes.pop(0)[1]()
        return asked()

    done = run(world, tmp_path, operator)
    assert done.result.complete
    made = {(shot.frame, shot.exposure) for shot in world.truth}  # some twice: what could not be checked any more
    assert made == set(planned_exposures(KIT, few_frames()))
    states = [happening.state for happening in done.happenings if happening.at_ns >= BATTERY_OUT_S * NS]
    assert states[0] == "suspended"
    assert "paused" in states
    assert not [shot for shot in world.truth if BATTERY_OUT_S < shot.t_s < 200.0]


@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.floats(0, 34), st.integers(0, 99))
def test_a_pause_at_any_moment_loses_and_doubles_nothing(
    tmp_path_factory: pytest.TempPathFactory, at_s: float, seed: int
) -> None:
    world = world_of(KIT, seed=seed)
    operator = requests(world, (at_s, Wanted(EventKind.PAUSE)), (500.0, Wanted(EventKind.GO_ON)))
    done = run(world, tmp_path_factory.mktemp("run"), operator)
    assert done.result.complete
    assert_truly_made(KIT, few_frames(), world.truth)
    states = [(happening.state, happening.at_ns) for happening in done.happenings]
    paused = [at_ns for state, at_ns in states if state == "paused"]
    if paused:  # otherwise it came after the last exposure
        assert len(paused) == 1
        assert not [shot for shot in world.truth if paused[0] < shot.t_s * NS < 500 * NS]
        after = next(at_ns for state, at_ns in states if at_ns > paused[0])
        assert after == 500 * NS


def test_while_it_pauses_nothing_moves_and_the_board_stays_armed(tmp_path: Path) -> None:
    world = world_of(KIT)
    seen: list[object] = []

    def operator() -> Wanted | None:
        if 60 * NS <= world.port.now() < 500 * NS:
            seen.append((world.rig.head.pan.motion, world.rig.head.tilt.motion))
            assert world.rig.board._silence_ns
        return orders()

    orders = requests(world, (10.0, Wanted(EventKind.PAUSE)), (500.0, Wanted(EventKind.GO_ON)))
    assert run(world, tmp_path, operator).result.complete
    assert len(seen) > 50
    assert len(set(map(id, seen))) >= 1
    assert all(one == seen[0] for one in seen)


@pytest.mark.parametrize("at_s", [5.0, 8.0, 11.0, 15.0])
def test_a_pause_after_the_row_comes_between_rows(at_s: float, tmp_path: Path) -> None:
    world = world_of(KIT, ROWS)
    done = run(
        world, tmp_path, requests(world, (at_s, Wanted(EventKind.PAUSE_AFTER_ROW)), (500.0, Wanted(EventKind.GO_ON)))
    )
    assert done.result.complete
    assert_truly_made(KIT, ROWS, world.truth)
    (paused,) = [happening.at_ns for happening in done.happenings if happening.state == "paused"]
    before = [shot for shot in world.truth if shot.t_s * NS < paused]
    assert before
    assert len(before) % 6 == 0  # whole rows of three frames with two exposures each


def test_a_pause_that_is_taken_back(tmp_path: Path) -> None:
    world = world_of(KIT, ROWS)
    operator = requests(world, (8.0, Wanted(EventKind.PAUSE_AFTER_ROW)), (8.1, Wanted(EventKind.GO_ON)))
    done = run(world, tmp_path, operator)
    assert done.result.complete
    assert "paused" not in {happening.state for happening in done.happenings}


@pytest.mark.parametrize("pressed", [EventKind.STOP, EventKind.HALT])
def test_a_pause_can_be_stopped(pressed: EventKind, tmp_path: Path) -> None:
    world = world_of(KIT)
    done = run(world, tmp_path, requests(world, (10.0, Wanted(EventKind.PAUSE)), (50.0, Wanted(pressed))))
    assert not done.result.complete
    assert "as asked" in done.result.sentence


@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.floats(0, 34), st.sets(st.integers(0, 5), min_size=1), st.integers(0, 99))
def test_frames_wanted_once_more_are_made_at_the_end(
    tmp_path_factory: pytest.TempPathFactory, at_s: float, frames: set[int], seed: int
) -> None:
    folder = tmp_path_factory.mktemp("run")
    world = world_of(KIT, seed=seed)
    done = run(world, folder, requests(world, (at_s, Wanted(EventKind.RETAKE, tuple(frames)))))
    made = Counter((shot.frame, shot.exposure) for shot in world.truth)
    planned = planned_exposures(KIT, few_frames())
    assert [(shot.frame, shot.exposure) for shot in world.truth][: len(planned)] == planned
    assert all(shot.still for shot in world.truth)
    with Session.open(folder / "session.sqlite") as session:
        doubts, counted = session.doubts(), session.made()
    again = {(doubt.frame, doubt.exposure) for doubt in doubts}
    assert {doubt.why for doubt in doubts} <= {DoubtReason.RETAKE}
    assert {frame for frame, _ in again} <= frames
    if done.result.complete:
        assert counted == set(planned)
        assert {exposure for exposure, count in made.items() if count == 2} == again
        assert max(made.values()) <= 2
    else:  # it came after the last exposure, when the board was already told to stop
        assert done.result.sentence == "The set was complete when frames were requested again; go on to shoot them."
        assert counted == set(planned) - again
