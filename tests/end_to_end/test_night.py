"""Long exposures: in bulb mode, with dark frames, in the camera's own bracket. They take as long as the plan says."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from controller.commands.stand_in import rig_spec
from controller.errors import InputError
from controller.planning.make import make_plan
from controller.planning.plan import Plan
from controller.planning.request import RegionKind, Request
from controller.program.build import build_program
from sim.camera import Ignored, Label
from sim.rig import Rig
from sim.virtual_port import VirtualPort
from tests.end_to_end.whole_runs import World, assert_truly_made, few_frames, kit_of, run, world_of

ROW = Request(region=RegionKind.SINGLE_ROW)
AT_B = {"shutter_seconds": 15.0, "bracket_ev": [-2, 0, 2], "bulb": True}
TIMED = {"shutter_seconds": 7.5, "bracket_ev": [-2, 0, 2]}
DARK = {"noise_reduction": True}
BLIND = {"board": {"sync_contact": False}}
NIGHTS: dict[str, dict[str, Any]] = {
    "at B": {"exposure": AT_B},
    "at B, dark frames": {"exposure": AT_B | DARK},
    "at B, dark frames of the longest only": {"exposure": AT_B | DARK | {"noise_reduction_from_s": 30.0}},
    "at B, no contact": {"exposure": AT_B, **BLIND},
    "at B, no contact, dark frames": {"exposure": AT_B | DARK, **BLIND},
    "timed": {"exposure": TIMED},
    "timed, dark frames": {"exposure": TIMED | DARK},
    "timed, no contact, dark frames": {"exposure": TIMED | DARK, **BLIND},
    "a camera that times a minute": {"exposure": {"shutter_seconds": 60.0, "longest_timed_s": 60.0} | DARK},
    "as short as dark frames get": {"exposure": {"shutter_seconds": 1.0} | DARK},
}
CLOSE = 0.01
LABEL = Label(0, 0)


def night(tables: dict[str, Any], seed: int, folder: Path) -> tuple[Plan, World, float]:
    """A row of frames, shot; and the run's time in seconds, corrected to the usual time of finding zero."""
    plan = make_plan(kit_of(16.0, **tables), 0.3, ROW)
    world = world_of(plan.kit, plan.frames, seed)
    done = run(world, folder)
    assert done.result.complete, done.result.sentence
    assert_truly_made(plan.kit, plan.frames, world.truth)
    assert world.rig.camera.ignored.total() == 0
    (began_ns,) = [one.at_ns for one in done.happenings if one.state == "referencing"]
    found_ns = next(one.at_ns for one in done.happenings if one.what == "referenced")
    usual_s = (world.program.reference_expected_ns - (found_ns - began_ns)) / 1e9
    return plan, world, done.result.seconds + usual_s


@pytest.mark.parametrize("name", NIGHTS)
def test_a_night_takes_as_long_as_the_plan_says(name: str, tmp_path: Path) -> None:
    plan, world, seconds = night(NIGHTS[name], 3, tmp_path)
    assert plan.budget.seconds == pytest.approx(seconds, rel=CLOSE)
    assert plan.budget.seconds == pytest.approx(world.program.expected_ns / 1e9, abs=0.001)
    watts = plan.kit.power.head_watts + plan.kit.power.camera_watts
    assert plan.budget.watt_hours == pytest.approx(watts * seconds / 3600, rel=CLOSE, abs=0.005)  # written to hundredths


# The board times in whole milliseconds: tenths of a second stay exact when halved.
LONG = st.builds(
    lambda shutter, evs, bulb, dark, from_s, contact: {
        "exposure": {
            "shutter_seconds": round(shutter, 1), "bracket_ev": evs, "bulb": bulb, "noise_reduction": dark,
            "noise_reduction_from_s": from_s, "longest_timed_s": 3600.0,
        },
        "board": {"sync_contact": contact},
    },
    st.floats(0.5, 120), st.lists(st.sampled_from([-1, 0, 1, 2]), min_size=1, max_size=3), st.booleans(), st.booleans(),
    st.floats(0.3, 60), st.booleans(),
)  # fmt: skip


@settings(max_examples=6, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(LONG, st.integers(0, 9))
def test_so_does_any_night(tmp_path_factory: pytest.TempPathFactory, tables: dict[str, Any], seed: int) -> None:
    plan, _, seconds = night(tables, seed, tmp_path_factory.mktemp("night"))
    assert plan.budget.seconds == pytest.approx(seconds, rel=CLOSE)


def test_dark_frames_cost_what_they_last_and_only_while_nothing_else_is_waited_for() -> None:
    """The dark frame of a frame's last exposure passes while the head turns; the other two delay the bracket."""
    frames = few_frames()
    light, dark = (build_program(kit_of(exposure=AT_B | more), frames).expected_ns / 1e9 for more in ({}, DARK))
    whole, within = 3.75 + 15 + 60, 3.75 + 15  # seconds a frame, arithmetic
    assert within * len(frames) < dark - light < whole * len(frames)


def test_a_dark_frame_that_the_kit_does_not_know_of_costs_releases_and_no_exposure(tmp_path: Path) -> None:
    kit = kit_of(16.0, exposure={"shutter_seconds": 4.0, "bracket_ev": [0, 0]})
    spec = rig_spec(kit, 1)
    rig = Rig(replace(spec, camera=replace(spec.camera, noise_reduction_s=1.0)))
    world = World(kit, build_program(kit, few_frames()), rig, VirtualPort(rig))
    done = run(world, tmp_path)
    assert done.result.complete
    assert rig.camera.ignored[Ignored.BUSY] > 0
    assert {(one.frame, one.exposure) for one in world.truth} == {(f.id, n) for f in few_frames() for n in (0, 1)}
    assert done.result.seconds > 1.2 * world.program.expected_ns / 1e9


@pytest.mark.parametrize(
    ("exposure", "words"),
    [
        (
            {"shutter_seconds": 15.0, "bracket_ev": [-2, 0, 2]},
            ["makes 60 s", "ends at 30 s", "bulb = true", "shorten the bracket"],
        ),
        ({"shutter_seconds": 60.0}, ["makes 60 s", "bulb = true", "use a shorter time"]),
        ({"shutter_seconds": 60.0, "bracket_ev": [0, 1], "longest_timed_s": 90}, ["makes 120 s", "ends at 90 s"]),
        ({"shutter_seconds": 20.0, "bracket_ev": [1, 2]}, ["40 s and 80 s"]),
    ],
)
def test_what_no_shutter_times_is_refused_with_what_to_do(exposure: dict[str, Any], words: list[str]) -> None:
    with pytest.raises(InputError) as caught:
        kit_of(exposure=exposure)
    (sentence,) = caught.value.sentences
    for word in words:
        assert word in sentence
    kit_of(exposure=exposure | {"bulb": True})  # the board times it


@pytest.mark.parametrize("shutter_s", [30.0, 8.0 * 4, 7.5 * 4])
def test_the_longest_engraved_time_is_not_refused(shutter_s: float, tmp_path: Path) -> None:
    """8 s and two stops more is 32 s, which is engraved on cameras as 30 s (third-stop series)."""
    world = world_of(kit_of(exposure={"shutter_seconds": shutter_s}), few_frames())
    assert run(world, tmp_path).result.complete


@given(st.floats(1e-3, 3600), st.floats(0.5, 3600), st.booleans())
def test_the_simulated_camera_refuses_just_what_the_kit_does(shutter_s: float, longest_s: float, bulb: bool) -> None:
    exposure = {"shutter_seconds": shutter_s, "longest_timed_s": longest_s, "bulb": bulb}
    longest = kit_of(exposure=exposure | {"longest_timed_s": 3600.0, "bulb": True})
    spec = rig_spec(longest.model_copy(update={"exposure": longest.exposure.model_copy(update=exposure)}), 1)
    opening = Rig(spec).camera.release(0, LABEL, round(shutter_s * 1e9))
    try:
        kit_of(exposure=exposure)
    except InputError:
        assert opening is None
    else:
        assert opening is not None
        assert opening.close_ns - opening.open_ns == pytest.approx(shutter_s * 1e9, abs=1)
