"""Later passes: the same poses again, in numbers of their own; and nothing that counts poses sees them."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.errors import InputError
from controller.kit.kit import Kit
from controller.planning.make import make_plan
from controller.planning.order import Order
from controller.planning.passes import LEAST_APART, poses_among, repeats_among, to_repeat, with_passes
from controller.planning.plan import Frame, Plan, content_hash
from controller.planning.plan_file import load_plan, plan_from, save_plan
from controller.planning.request import Arrangement, RegionKind, Request, SunWatch
from controller.planning.size import MOST_FRAMES
from controller.program.build import build_program, step_ends_ns
from controller.program.program import ExposeStep
from controller.report.plan_words import plan_text
from controller.report.shot_proof import prove_shot
from controller.times import time_or_date
from tests.controller.planning.counted import looks
from tests.controller.planning.examples import MOVER
from tests.end_to_end.whole_runs import kit_of

SUN = SunWatch(50.0, 8.0, time_or_date("2026-06-21T05:30:00+02:00"), when="last")  # type: ignore[arg-type]
REQUESTS = {
    "sphere": Request(),
    "by hand": Request(nadir_by_hand=True),
    "window": Request(RegionKind.WINDOW, -20, 40, yaw_from_deg=350, yaw_to_deg=80),
    "row": Request(region=RegionKind.SINGLE_ROW),
    "free": Request(arrangement=Arrangement.FEWEST),
    "sun last": Request(sun=SUN),
}
CASES = [
    ("sphere", Order.QUICKEST, 2, None, False),
    ("sphere", Order.ROWS, 4, 50.0, True),
    ("by hand", Order.COLUMNS, 4, None, False),
    ("window", Order.QUICKEST, 4, None, False),
    ("row", Order.ROWS, 2, None, False),
    ("free", Order.QUICKEST, 2, 50.0, False),
    ("sun last", Order.ROWS, 2, None, False),
]


@cache
def kit(leans: bool) -> Kit:
    lean = {"lean_deg": 3.0, "lean_toward_deg": 40.0} if leans else {}
    return kit_of(12.0, exposure={"bracket_ev": [-2.0, 0.0, 2.0]}, head={"settle_ms": 300.0, **lean})


@cache
def plan_of(name: str, order: Order, passes: int, within_deg: float | None, leans: bool = False) -> Plan:
    request = replace(REQUESTS[name], order=order, passes=passes, passes_within_deg=within_deg if passes > 1 else None)
    return make_plan(kit(leans), 0.3, request, looks(40))


@pytest.fixture(params=CASES, ids=lambda case: f"{case[0]}-{case[1]}-{case[2]}")
def plans(request: pytest.FixtureRequest) -> tuple[Plan, Plan]:
    """A plan with passes, and the same in one pass."""
    name, order, passes, within_deg, leans = request.param
    return plan_of(name, order, passes, within_deg, leans), plan_of(name, order, 1, None, leans)


def check_passes(frames: Sequence[Frame], passes: int) -> set[int]:
    """Check that later passes repeat poses of the first one. Returns the frames that they repeat."""
    first = {frame.id: frame for frame in frames if frame.repeats is None}
    later = list(frames[len(first) :])
    assert list(frames[: len(first)]) == list(first.values())
    assert len({frame.id for frame in frames}) == len(frames)
    assert [frame.pass_number for frame in frames] == sorted(frame.pass_number for frame in frames)
    again = {frame.repeats for frame in later if frame.repeats is not None}
    for frame in later:
        assert frame.repeats is not None
        wanted = {"id": frame.id, "repeats": frame.repeats, "pass_number": frame.pass_number}
        assert frame == first[frame.repeats].model_copy(update=wanted)
        assert not frame.by_hand
    counts = Counter((frame.repeats, frame.pass_number) for frame in later)
    assert counts == Counter((frame, number) for frame in again for number in range(2, passes + 1))
    return again


@settings(max_examples=60)
@given(st.data())
def test_any_frames_in_any_order_are_repeated_and_not_at_once(data: st.DataObject) -> None:
    angles = st.tuples(st.integers(-18, 18), st.integers(-9, 9))
    aims = data.draw(st.lists(angles, min_size=1, max_size=14, unique=True))
    first = [Frame(id=n, row=9 - up, yaw_deg=10.0 * yaw, pitch_deg=10.0 * up) for n, (yaw, up) in enumerate(aims)]
    chosen = data.draw(st.sets(st.sampled_from([frame.id for frame in first]), min_size=1))
    passes, order = data.draw(st.integers(2, 4)), data.draw(st.sampled_from([None, *Order]))
    frames = with_passes(first, chosen, passes, order, MOVER)
    assert check_passes(frames, passes) == chosen
    assert min(frames_between(frames)) >= LEAST_APART * (len(chosen) - 1)
    if order is None:
        assert [frame.repeats for frame in frames[len(first) :]] == sorted(chosen) * (passes - 1)


def frames_between(frames: Sequence[Frame]) -> list[int]:
    """How many other frames the head shoots between each frame and its next repeat."""
    latest: dict[int, int] = {}
    found = []
    for place, frame in enumerate(frame for frame in frames if not frame.by_hand):
        pose = frame.id if frame.repeats is None else frame.repeats
        if pose in latest:
            found.append(place - latest[pose] - 1)
        latest[pose] = place
    return found


def test_the_first_pass_is_the_plan_without_passes_and_the_others_its_poses_again(plans: tuple[Plan, Plan]) -> None:
    several, once = plans
    if several.sun is None:  # how long the run takes decides which frames see the sun
        assert several.first_pass == once.frames
    assert several.proof.covered
    assert several.proof.worst_margin_deg == pytest.approx(once.proof.worst_margin_deg, abs=1e-9)
    assert several.links.frames_that_split == once.links.frames_that_split
    assert (several.links.weakest_share, several.region) == (once.links.weakest_share, once.region)
    again = check_passes(several.frames, several.passes)
    by_head = {frame.id for frame in several.first_pass if not frame.by_hand}
    near = {frame.id for frame in several.first_pass if frame.id in by_head and abs(frame.pitch_deg) <= 50.0}
    assert near
    assert again in (by_head, near)


def times_of(plan: Plan) -> dict[int, tuple[float, float]]:
    """When each frame begins and ends, in seconds, by the program's own timetable."""
    program = build_program(plan.kit, plan.frames)
    found: dict[int, tuple[float, float]] = {}
    for step, end_ns in zip(program.steps, step_ends_ns(program.steps, plan.kit.board.baud), strict=True):
        if isinstance(step, ExposeStep):
            begin, end = (end_ns - step.expected_ns) / 1e9, end_ns / 1e9
            found[step.frame] = (min(begin, found.get(step.frame, (begin, end))[0]), end)
    return found


def test_the_budget_grows_by_what_the_passes_cost(plans: tuple[Plan, Plan]) -> None:
    several, once = plans
    budget, alone = several.budget, once.budget
    each = len(several.kit.exposure.bracket_ev)
    assert (budget.frames, budget.exposures) == (len(several.frames), each * len(several.frames))
    assert budget.megabytes == pytest.approx(alone.megabytes * budget.frames / alone.frames, abs=0.2)
    assert budget.exposing_seconds == pytest.approx(alone.exposing_seconds * budget.frames / alone.frames, abs=0.02)
    program = build_program(several.kit, several.frames)
    assert budget.seconds == pytest.approx(program.expected_ns / 1e9, abs=1e-3)
    assert budget.watt_hours > alone.watt_hours
    for order, cost in budget.orders.items():
        assert cost.seconds > alone.orders[order].seconds + budget.exposing_seconds - alone.exposing_seconds - 0.1


def test_time_passes_between_a_frame_and_its_repeat(plans: tuple[Plan, Plan]) -> None:
    """The head ends a pass at one frame: the next does not begin there, or its repeats would show the same people."""
    several, once = plans
    assert once.budget.repeats_apart_seconds is None
    times = times_of(several)
    latest: dict[int, int] = {}
    apart = []
    for frame in several.frames:
        pose = frame.id if frame.repeats is None else frame.repeats
        if pose in latest:
            apart.append(times[frame.id][0] - times[latest[pose]][1])
        latest[pose] = frame.id
    assert several.budget.repeats_apart_seconds == pytest.approx(min(apart), abs=1e-3)
    again = len({frame.repeats for frame in several.frames} - {None})
    assert min(frames_between(several.frames)) >= LEAST_APART * (again - 1)


@pytest.mark.parametrize("order", list(Order))
def test_every_pass_is_as_quick_as_the_best_order_that_leaves_time(order: Order) -> None:
    """Three passes more of the whole cost no more than three times the first, with the way back to its beginning."""
    once, four = plan_of("sphere", order, 1, None), plan_of("sphere", order, 4, None)
    longest_s = build_program(once.kit, once.frames).longest_move_ns / 1e9
    assert four.budget.seconds <= 4 * once.budget.seconds + 3 * longest_s


@settings(max_examples=20, deadline=None)
@given(st.data())
def test_a_repeat_is_no_pose_whatever_is_missing(data: st.DataObject) -> None:
    """The proof after a run is that of the poses that some pass has; what is shot elsewhere is no hole."""
    several, once = plan_of("sphere", Order.ROWS, 2, 50.0), plan_of("sphere", Order.ROWS, 1, None)
    missing = data.draw(st.sets(st.sampled_from([frame.id for frame in several.frames])))
    poses: dict[int, set[int]] = {frame.id: {frame.id} for frame in several.first_pass}
    for frame in several.frames[len(poses) :]:
        assert frame.repeats is not None
        poses[frame.repeats].add(frame.id)
    holes = {pose for pose, passes in poses.items() if passes <= missing}
    assert prove_shot(several, missing) == prove_shot(once, holes)
    assert set(poses_among(several, missing).values()) == holes
    assert set(repeats_among(several, missing)) == {one for one in missing if not any(one in poses[p] for p in holes)}


def test_a_plan_without_passes_is_written_as_before_there_were_any() -> None:
    """So its hash is the same, and the programs before this one read it."""
    content = json.loads(plan_of("sphere", Order.ROWS, 1, None).model_dump_json())
    assert {key for frame in content["frames"] for key in frame} == {"id", "row", "yaw_deg", "pitch_deg", "by_hand"}
    assert "repeats_apart_seconds" not in content["budget"]
    assert content["format_version"] == 2


def test_a_plan_with_passes_is_read_as_it_was_written(plans: tuple[Plan, Plan]) -> None:
    text = plans[0].model_dump_json()
    assert plan_from(text, "plan.json") == plans[0]
    assert plan_from(text, "session", begun=True) == plans[0]


def test_a_plan_with_passes_as_a_file(tmp_path: Path) -> None:
    plan = plan_of("sphere", Order.ROWS, 2, 50.0)
    save_plan(plan, tmp_path / "plan.json")
    assert load_plan(tmp_path / "plan.json") == plan


SPOILT: dict[str, Callable[[list[dict[str, Any]]], object]] = {
    "another pose": lambda frames: frames[-1].update(yaw_deg=frames[-1]["yaw_deg"] + 1),
    "another row": lambda frames: frames[-1].update(row=frames[-1]["row"] + 1),
    "no such frame": lambda frames: frames[-1].update(repeats=900),
    "a repeat of a repeat": lambda frames: frames[-1].update(repeats=frames[-2]["id"]),
    "by hand": lambda frames: frames[-1].update(by_hand=True),
    "twice in a pass": lambda frames: frames.append(frames[-1] | {"id": frames[-1]["id"] + 1}),
    "an id twice": lambda frames: frames[-1].update(id=frames[-2]["id"]),
    "the first pass": lambda frames: frames[-1].update(pass_number=1),
    "no pass": lambda frames: frames[0].update(pass_number=2),
    "out of order": lambda frames: frames.insert(0, frames.pop()),
}


@pytest.mark.parametrize("how", SPOILT)
def test_repeats_that_are_none_are_refused(how: str) -> None:
    """Whatever counts poses trusts them: with a wrong one a hole would count as covered."""
    content = json.loads(plan_of("sphere", Order.ROWS, 2, 50.0).model_dump_json())
    SPOILT[how](content["frames"])
    content["hash"] = content_hash(content)
    with pytest.raises(InputError, match=r"^plan\.json: "):
        plan_from(json.dumps(content), "plan.json")


def test_what_cannot_be_repeated_is_refused_with_what_can() -> None:
    first = plan_of("sphere", Order.ROWS, 1, None).first_pass
    nearest = min(abs(frame.pitch_deg) for frame in first if abs(frame.pitch_deg) > 1)
    high = [frame for frame in first if abs(frame.pitch_deg) >= nearest]
    with pytest.raises(InputError, match=r"No frame is within 1 degrees of the horizon") as refused:
        to_repeat(high, 2, 1.0)
    offered = float(str(refused.value).split("--passes-within ")[1].split()[0])
    assert nearest <= offered < nearest + 0.1
    assert to_repeat(high, 2, offered)
    with pytest.raises(InputError, match="has no effect with one pass"):
        to_repeat(first, 1, 30.0)
    with pytest.raises(InputError, match=rf"at most {MOST_FRAMES} can be planned"):
        to_repeat(first * (MOST_FRAMES // len(first)), 2, None)


@pytest.mark.parametrize(("within", "words"), [(None, "all of them 4 times"), (50.0, "of them 4 times")])
def test_the_plan_says_what_is_shot_how_often(within: float | None, words: str) -> None:
    plan, once = plan_of("sphere", Order.ROWS, 4, within), plan_of("sphere", Order.ROWS, 1, None)
    lines = plan_text(plan, {}, (), Path("plan.json")).splitlines()
    (line,) = [line for line in lines if line.startswith("4 passes: ")]
    assert words in line
    assert lines[0].startswith(f"{len(once.frames)} frames in ")
    assert not any("passes" in line for line in plan_text(once, {}, (), Path("plan.json")).splitlines())
