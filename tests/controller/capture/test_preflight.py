"""What is said of the bracket before a run goes on, held against a camera that does just what it is told."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from controller.amounts import duration
from controller.capture.preflight import ORDINALS, Check, checks
from controller.capture.runner import Runner
from controller.commands.stand_in import rig_spec
from controller.conformance.talk import Talk
from controller.kit.kit import Kit
from controller.planning.make import make_plan
from controller.planning.plan import Plan
from controller.planning.request import RegionKind, Request, SunWatch
from controller.planning.sun import sun_at
from controller.program.build import build_program
from controller.program.program import Program
from controller.session.rows import NOTHING, DoubtReason, Intent, Remembered, ShotOutcome
from controller.session.session import Session
from protocol.messages import ZERO_SWITCHES, Capability, Welcome
from protocol.units import NS, BootId, CommandId
from sim.rig import Rig
from sim.virtual_port import VirtualPort
from tests.end_to_end.kills import Killed, Mortal, lacking
from tests.end_to_end.whole_runs import kit_of, let_pass

WINDOW = Request(region=RegionKind.WINDOW, pitch_from_deg=-40, pitch_to_deg=40, yaw_from_deg=-90, yaw_to_deg=90)
KIT = kit_of(12.0, exposure={"bracket_ev": [-2, 0, 2], "shutter_seconds": 0.01})
PLAN = make_plan(KIT, 0.3, WINDOW)
NEXT = re.compile(r"the camera makes -2, \+0, \+2 EV in turn: the next one must be ([-+]\d) EV \((\w+) of frame (\d+)\)")


def welcome(boot: int = 7, last: int = 0) -> Welcome:
    switches = Capability.PAN_SWITCH | Capability.TILT_SWITCH | Capability.SYNC_CONTACT | Capability.SHAPER
    return Welcome(1, 2, 1, BootId(boot), CommandId(last), switches, 64, 20_000)


def said(program: Program, answer: Welcome, remembered: Remembered, folder: Path) -> str:
    """What is found of the bracket."""
    (found,) = [
        check.found for check in checks(PLAN, program, answer, folder / "s.sqlite", remembered) if check.what == "bracket"
    ]
    return found


def the_next(words: str) -> tuple[int, int]:
    """Frame and exposure that the words name."""
    match = NEXT.fullmatch(words)
    assert match is not None, words
    number = ORDINALS.index(match[2])
    assert KIT.exposure.bracket_ev[number] == float(match[1])
    return int(match[3]), number


def test_a_new_set_begins_with_the_first_of_its_bracket(tmp_path: Path) -> None:
    program = build_program(KIT, PLAN.frames)
    assert said(program, welcome(), NOTHING, tmp_path) == (
        "the camera makes -2, +0, +2 EV in turn: the next one must be -2 EV (first of frame 0)"
    )


def test_the_third_of_a_bracket_is_named_where_it_comes_next(tmp_path: Path) -> None:
    with Session.create(tmp_path / "s.sqlite", {}, durable=False) as session:
        shoot(session, [(0, 0), (0, 1), (0, 2), (1, 0), (1, 1)])
        program = build_program(KIT, PLAN.frames, session.made())
        assert the_next(said(program, welcome(), session.remembered(), tmp_path)) == (1, 2)
        # A retake of the frame before comes first, and begins where the camera is.
        session.doubt([(0, n) for n in range(3)], DoubtReason.RETAKE)
        program = build_program(KIT, PLAN.frames, session.made())
        assert the_next(said(program, welcome(), session.remembered(), tmp_path)) == (0, 2)


def test_nothing_is_said_where_nothing_is_left_or_the_board_times_the_exposures(tmp_path: Path) -> None:
    done = build_program(KIT, PLAN.frames, PLAN.exposures)
    assert "bracket" not in {check.what for check in checks(PLAN, done, welcome(), tmp_path / "s.sqlite")}
    bulb = make_plan(kit_of(12.0, exposure={"bracket_ev": [-2, 0, 2], "bulb": True}), 0.3, WINDOW)
    program = build_program(bulb.kit, bulb.frames)
    assert "bracket" not in {check.what for check in checks(bulb, program, welcome(), tmp_path / "s.sqlite")}


@pytest.mark.parametrize(
    ("boot", "last", "asked"),
    [(7, 9, True), (7, 3, False), (8, 9, False)],
    ids=["the board knows", "it never took the command", "it has restarted"],
)
def test_an_exposure_in_doubt(boot: int, last: int, asked: bool, tmp_path: Path) -> None:
    with Session.create(tmp_path / "s.sqlite", {}, durable=False) as session:
        session.note_zero(7)
        shoot(session, [(0, 0), (0, 1), (0, 2), (1, 0)])
        session.intend(Intent(1, 1, 1, 5, 0.0, 0.0, 0.01), 9)
        program = build_program(KIT, PLAN.frames, session.made())
        words = said(program, welcome(boot, last), session.remembered(), tmp_path)
    if asked:
        assert "leave it where it is" in words
        assert "+0 EV (second of frame 1)" in words
    else:
        assert the_next(words) == (1, 1)


STATED = {
    "power": {"head_watts": 10.0, "camera_watts": 3.0, "battery_watt_hours": 90.0},
    "exposure": {"shutter_seconds": 0.01, "noise_reduction": False},
    "head": {"level_error_deg": 0.05},
}


def words_of(kit: Kit, folder: Path, answer: Welcome | None = None, remembered: Remembered = NOTHING) -> dict[str, str]:
    """The word before each check of a set of this kit."""
    plan = make_plan(kit, 0.3, WINDOW)
    program = build_program(kit, plan.frames)
    found = checks(plan, program, welcome() if answer is None else answer, folder / "s.sqlite", remembered)
    return {check.what: check.word for check in found}


NEVER_SEEN = {"exposures", "noise reduction", "bracket", "battery", "card", "sun"}
"""What a board cannot say and a disk does not show: how the camera is set, what battery and card hold, the sun."""


@pytest.mark.parametrize("tables", [{}, STATED, {"exposure": {"shutter_seconds": 2.0, "bracket_ev": [-1, 0]}}])
def test_ok_is_said_only_of_what_was_looked_at(tables: dict[str, Any], tmp_path: Path) -> None:
    words = words_of(kit_of(12.0, **tables), tmp_path)
    assert {what for what, word in words.items() if word == "ok"} == words.keys() - NEVER_SEEN - (
        set() if "head" in tables else {"pointing"}
    )
    assert {word for what, word in words.items() if what in NEVER_SEEN} == {"see"}
    blind = {axis: {"zero_switch": False} for axis in ("pan", "tilt")}
    bare = tables | {"board": {"sync_contact": False}, "head": tables.get("head", {}) | blind}
    words = words_of(kit_of(12.0, **bare), tmp_path, replace(welcome(), capabilities=Capability(0)))
    assert {words[what] for what in ("sync contact", "zero of pan", "zero of tilt", "ramps")} == {"see"}


@cache
def soft_plan() -> tuple[Plan, Program]:
    """A plan for a head that rings slowly and long, and its program."""
    soft = kit_of(24.0, head={"ring_hz": 4.0, "ring_damping": 0.03}, power={"battery_watt_hours": 90.0})
    plan = make_plan(soft, 0.3, WINDOW)
    return plan, build_program(soft, plan.frames)


@pytest.mark.parametrize(
    ("answer", "shapes"),
    [
        (welcome(), True),
        (replace(welcome(), version_minor=3), True),
        (replace(welcome(), version_minor=1), False),  # the bit means nothing there
        (replace(welcome(), capabilities=ZERO_SWITCHES | Capability.SYNC_CONTACT), False),
    ],
)
def test_what_a_board_without_shaping_costs_is_said_in_time_and_in_power(
    answer: Welcome, shapes: bool, tmp_path: Path
) -> None:
    plan, program = soft_plan()
    found = {check.what: check for check in checks(plan, program, answer, tmp_path / "s.sqlite")}
    ramps, seconds = found["ramps"], program.whole_ns(shaped=shapes) / NS
    assert f"Wh in {duration(seconds)}" in found["battery"].found
    if shapes:
        assert (ramps.word, ramps.found) == ("ok", "shaped, so that the camera arrives still")
    else:
        longer_s = (program.plain_expected_ns - program.expected_ns) / NS
        assert longer_s > 50
        assert ramps.word == "see"
        assert f"waits longer after each move, {duration(longer_s)} in all" in ramps.found
    stiff = build_program(kit_of(24.0, head={"settle_ms": 300.0}), plan.frames)
    assert "ramps" not in {check.what for check in checks(plan, stiff, answer, tmp_path / "s.sqlite")}


def test_a_battery_is_never_called_full(tmp_path: Path) -> None:
    def battery(**power: float) -> Check:
        plan = make_plan(kit_of(12.0, power=power), 0.3, WINDOW)
        found = checks(plan, build_program(plan.kit, plan.frames), welcome(), tmp_path / "s.sqlite")
        return next(check for check in found if check.what == "battery")

    assert "does not say what the battery holds" in battery().found
    assert "by examples (head_watts and camera_watts not stated)" in battery().found
    assert "of 90 Wh if it is full: see that it is" in battery(battery_watt_hours=90, head_watts=9, camera_watts=3).found
    assert battery(battery_watt_hours=0.01).word == "NO"


def sun_caution(plan: Plan, folder: Path, program: Program | None = None) -> str | None:
    """What is said of the sun before a run of this plan."""
    program = build_program(plan.kit, plan.frames) if program is None else program
    return next(
        (check.found for check in checks(plan, program, welcome(), folder / "s.sqlite") if check.what == "sun"), None
    )


def test_before_a_run_into_the_sun_eyes_and_sensor_are_named(tmp_path: Path) -> None:
    plain = make_plan(kit_of(12.0), 0.3, WINDOW)
    said = sun_caution(plain, tmp_path)
    assert said == ("frames may face it: nobody looks through the viewfinder; lens, shutter and sensor can be damaged")
    assert "long exposures harm most" in str(sun_caution(PLAN, tmp_path))
    down = make_plan(
        kit_of(100.0), 0.3, replace(WINDOW, pitch_from_deg=-80, pitch_to_deg=-60, yaw_from_deg=0, yaw_to_deg=30)
    )
    assert sun_caution(down, tmp_path) is None


def test_the_frames_that_see_the_sun_are_named_while_they_are_left_to_shoot(tmp_path: Path) -> None:
    noon = datetime(2026, 6, 21, 12, 0, tzinfo=UTC)
    north_yaw = -sun_at(50.0, 8.0, noon).azimuth_deg  # the sun is at yaw 0
    plan = make_plan(KIT, 0.3, replace(WINDOW, pitch_to_deg=80, sun=SunWatch(50.0, 8.0, noon, north_yaw)))
    assert plan.sun is not None
    seen = list(plan.sun.frames)
    assert seen
    assert f"frames {', '.join(map(str, seen))} see it" in str(sun_caution(plan, tmp_path))
    made = {(frame.id, number) for frame in plan.frames for number in range(3)}
    resumed = build_program(KIT, plan.frames, {shot for shot in made if shot[0] != seen[0]})
    assert f"frames {seen[0]} see it" in str(sun_caution(plan, tmp_path, resumed))
    assert sun_caution(plan, tmp_path, build_program(KIT, plan.frames, made)) is None


def test_long_exposures_bring_a_word_of_dark_frames(tmp_path: Path) -> None:
    def said(**exposure: Any) -> str | None:
        plan = make_plan(kit_of(12.0, exposure=exposure), 0.3, WINDOW)
        found = checks(plan, build_program(plan.kit, plan.frames), welcome(), tmp_path / "s.sqlite")
        return next((check.found for check in found if check.what == "noise reduction"), None)

    assert said(shutter_seconds=0.5) is None
    assert said(shutter_seconds=2.0) == (
        "not known: if it is on in the camera, state noise_reduction = true under [exposure], or switch it off; "
        "the camera's menu decides"
    )
    assert said(shutter_seconds=2.0, noise_reduction=False) == "off; the camera's menu decides"
    on = said(shutter_seconds=15, bracket_ev=[-2, 0, 2], bulb=True, noise_reduction=True, noise_reduction_from_s=10)
    assert on is not None
    assert on.startswith("on: a dark frame as long as the exposure after each of 10 s or more, 75 s a frame")


def test_a_set_of_an_older_version_with_times_that_nobody_times(tmp_path: Path) -> None:
    """It is not begun any more; one that was begun has shown that its camera can, and is finished."""
    kit = kit_of(12.0, exposure={"shutter_seconds": 60.0, "bulb": True})
    timed = kit.model_copy(update={"exposure": kit.exposure.model_copy(update={"bulb": False})})
    assert words_of(timed, tmp_path)["exposures"] == "NO"
    assert words_of(timed, tmp_path, remembered=Remembered(exposures=3))["exposures"] == "see"
    assert words_of(kit, tmp_path)["exposures"] == "see"


def shoot(session: Session, exposures: list[tuple[int, int]]) -> None:
    for number, (frame, exposure) in enumerate(exposures, 1):
        session.intend(Intent(frame, exposure, 1, number, 0.0, 0.0, 0.01), number)
        session.conclude(number, ShotOutcome.CONFIRMED, number + 1, None)


@pytest.mark.parametrize("restarted", [False, True])
def test_a_camera_that_is_set_as_told_makes_what_the_run_takes_it_for(restarted: bool, tmp_path: Path) -> None:
    """Killed at every third effect; then the board is the same one or another, and the camera is set as told."""
    times, in_turn = KIT.shutter_times_s(), 0
    for life in range(1, 1000, 3):
        first = rig = Rig(rig_spec(KIT, 1))
        port = VirtualPort(rig)
        with Session.create(tmp_path / f"{life}.sqlite", {}, durable=False) as session:
            runner = Mortal(build_program(KIT, PLAN.frames), port, session)
            runner.life = life
            with pytest.raises(Killed):
                runner.run()
            let_pass(port, 5)
            if restarted:
                rig = Rig(rig_spec(KIT, 2))  # another boot, and a camera that was switched off as well
                port = VirtualPort(rig)
            before = len(rig.truth.exposures)
            program = build_program(KIT, PLAN.frames, session.made())
            if not program.exposures:
                break
            answer = Talk(port).wait_welcome(1, 2000)
            assert answer is not None
            words = said(program, answer, session.remembered(), tmp_path)
            if "leave it" not in words:
                rig.camera._next_in_bracket = the_next(words)[1]
            assert Runner(program, port, session, first_id=session.next_command_id()).run().complete
        truth = rig.truth.exposures
        assert lacking(PLAN, [*first.truth.exposures, *truth]) == [], words
        for one in truth[before:]:
            assert one.shutter_s == pytest.approx(times[one.exposure]), words
        in_turn += "first of" not in words
    assert in_turn > 5  # most of them were in the middle of a bracket
