"""Every slip that matters is noticed: the set is true, or not complete, or the unchecked axis is named."""

from __future__ import annotations

from pathlib import Path
from random import Random

import pytest

from controller.kit.kit import Kit
from controller.program.index import tolerance_steps
from protocol.units import NS
from sim.scenario import Fault
from tests.end_to_end.slips import KITS, SHAPES, Slipped, any_faults, expected_s, frames_at, run_with, slip
from tests.end_to_end.whole_runs import kit_of

TURN = 115_200  # steps: 200 x 16 microsteps x gear 36, as in the default kit


def ran(folder: Path, kit: str, shape: str, *faults: Fault) -> Slipped:
    return run_with(KITS[kit], SHAPES[shape], faults, folder)


# Each of these once gave "The set is complete" with exposures off by up to many degrees.
@pytest.mark.parametrize(
    ("kit", "shape", "faults"),
    [
        ("no play", "row at pitch 0", [slip("tilt", 6000, 20.0)]),
        ("no play", "row close to pitch 0", [slip("tilt", -6000, 20.0)]),
        ("no play", "window far from zero", [slip("pan", 5632, 15.0)]),
        ("no play", "one frame at zero", [slip("pan", 400, 1.0), slip("tilt", -400, 2.9)]),
        ("no play", "window far from zero", [slip("pan", 5632, 15.0), Fault("board-reset", at_s=25.0)]),
        ("no play", "sphere", [slip("pan", 320, 12.0), slip("tilt", 1600, 14.0)]),
        *(("play", "sphere", [slip(axis, size, 30.0)]) for axis in ("pan", "tilt") for size in (-96, -40, 40, 96, 120)),
        *(("play", "one frame", [slip(axis, size, 5.0)]) for axis in ("pan", "tilt") for size in (-96, -40, 40, 96)),
    ],
)
def test_what_was_missed_once(kit: str, shape: str, faults: list[Fault], tmp_path: Path) -> None:
    slipped = ran(tmp_path, kit, shape, *faults)
    assert slipped.result.complete, slipped.result.sentence
    assert slipped.retaken > 0
    assert slipped.unchecked == ()
    assert slipped.is_honest(KITS[kit])


def test_a_slip_between_the_switch_and_a_stop_close_to_it(tmp_path: Path) -> None:
    """The edge was in its place, and the axis slipped before the exposure there: the edge cannot tell."""
    frames = frames_at((30.0, 10.0), (-0.2, 10.0), (-30.0, 10.0))
    kit = kit_of(16.0)
    undisturbed = run_with(kit, frames, [], tmp_path)
    folder = tmp_path / "again"
    folder.mkdir()
    settling = [happening for happening in undisturbed.happenings if happening.state == "settling"]
    slipped = run_with(kit, frames, [slip("pan", 64, settling[1].at_ns / NS + 0.1)], folder)
    assert slipped.result.complete
    assert slipped.retaken > 0
    assert slipped.is_honest(kit)


@pytest.mark.parametrize("shape", SHAPES)
def test_a_slip_after_everything_was_checked_harms_nothing(shape: str, tmp_path: Path) -> None:
    kit = KITS["no play"]
    undisturbed = run_with(kit, SHAPES[shape], [], tmp_path)
    assert (undisturbed.result.complete, undisturbed.unchecked, undisturbed.retaken) == (True, (), 0)
    assert undisturbed.worst_deg < 0.01
    folder = tmp_path / "again"
    folder.mkdir()
    last = [happening for happening in undisturbed.happenings if happening.state == "checking"][-1]
    late = run_with(kit, SHAPES[shape], [slip("tilt", 3000, last.at_ns / NS), slip("pan", 3000, last.at_ns / NS)], folder)
    assert late.result.complete
    assert late.worst_deg < 0.01


@pytest.mark.parametrize("kit", ["no play", "play"])
@pytest.mark.parametrize("axis", ["pan", "tilt"])
def test_exactly_at_the_edge_of_what_is_noticed(kit: str, axis: str, tmp_path: Path) -> None:
    """In the simulator a switch repeats to the step, so only the tolerance and one step can hide."""
    head = KITS[kit].head
    tolerance = tolerance_steps(head, getattr(head, axis))
    for size in range(int(tolerance) - 1, int(tolerance) + 4):
        for sign in (-1, 1):
            folder = tmp_path / f"{sign * size}"
            folder.mkdir()
            slipped = ran(folder, kit, "one frame", slip(axis, sign * size, 5.0))
            assert slipped.result.complete
            assert slipped.is_honest(KITS[kit])
            if size > tolerance + 1:
                assert slipped.retaken == 1


@pytest.mark.parametrize("axis", ["pan", "tilt"])
@pytest.mark.parametrize("size", [TURN - 1, TURN, TURN + 64, TURN + 7000])
def test_a_turn_and_more(axis: str, size: int, tmp_path: Path) -> None:
    slipped = ran(tmp_path, "play", "one frame", slip(axis, size, 5.0))
    # Beyond its travel an axis stops searching for its switch.
    assert slipped.result.complete or "was not met in the reference run" in slipped.result.sentence
    assert slipped.is_honest(KITS["play"])


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("kit", KITS)
def test_any_slip_in_any_plan(kit: str, shape: str, tmp_path: Path) -> None:
    random = Random(f"{kit} {shape}")
    seconds = expected_s(KITS[kit], SHAPES[shape])
    for number in range(4):
        folder = tmp_path / str(number)
        folder.mkdir()
        faults = any_faults(random, seconds)
        slipped = run_with(KITS[kit], SHAPES[shape], faults, folder, seed=number)
        assert slipped.is_honest(KITS[kit]), (faults, slipped.result.sentence, slipped.worst_deg)
        if slipped.result.complete:
            assert slipped.unchecked == ()


def without_switch(axis: str) -> Kit:
    return kit_of(16.0, head={axis: {"zero_switch": False}})


@pytest.mark.parametrize(("axis", "other"), [("pan", "tilt"), ("tilt", "pan")])
def test_an_axis_without_a_switch_is_named_and_the_other_one_is_checked(axis: str, other: str, tmp_path: Path) -> None:
    kit = without_switch(axis)
    blind = run_with(kit, SHAPES["sphere"], [slip(axis, 3000, 20.0)], tmp_path)
    assert blind.result.complete
    assert blind.worst_deg > 1
    assert blind.unchecked == (axis,)
    assert f"Whether {axis} lost steps was not checked" in blind.result.sentence
    folder = tmp_path / "other"
    folder.mkdir()
    seen = run_with(kit, SHAPES["sphere"], [slip(other, 3000, 20.0)], folder)
    assert (seen.result.complete, seen.unchecked, seen.retaken > 0) == (True, (axis,), True)
    assert seen.worst_deg < 0.01


def test_an_axis_that_has_no_room_to_pass_its_switch_is_named(tmp_path: Path) -> None:
    kit = kit_of(16.0, head={"tilt": {"min_deg": 0.0, "max_deg": 95.0}})
    done = run_with(kit, frames_at((10.0, 5.0), (40.0, 30.0)), [], tmp_path)
    assert (done.result.complete, done.unchecked) == (True, ("tilt",))


@pytest.mark.parametrize("at_s", [24.0, 26.0, 28.0, 30.0, 31.0, 32.0, 33.0, 34.0, 35.0, 36.0])
def test_a_host_that_is_killed_before_the_last_look_looks_when_it_is_back(at_s: float, tmp_path: Path) -> None:
    faults = [slip("tilt", 3000, 20.0), Fault("host-killed", at_s=at_s)]
    slipped = ran(tmp_path, "no play", "row at pitch 0", *faults)
    assert slipped.result.complete
    assert slipped.retaken > 0
    assert slipped.worst_deg < 0.01


@pytest.mark.parametrize("misfire_s", [4.0, 10.0, 16.0, 20.0])
@pytest.mark.parametrize("slip_s", [8.0, 16.0, 24.0, None])
def test_nothing_moves_once_the_camera_is_in_the_hand(misfire_s: float, slip_s: float | None, tmp_path: Path) -> None:
    """Everything put off or suspect comes first."""
    faults = [Fault("misfire", at_s=misfire_s, times=3)]
    faults += [] if slip_s is None else [slip("tilt", 2000, slip_s)]
    done = ran(tmp_path, "no play", "a row and the nadir by hand", *faults)
    assert done.result.complete, done.result.sentence
    assert done.worst_deg < 0.01
    states = [happening.state for happening in done.happenings]
    assert "moving" not in states[states.index("asking") :]
    assert states.count("asking") == 1
    assert done.truth[-1].frame == 6
