"""Whether the position of the head is known, and which exposures depend on that."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.capture.position import Position
from controller.program.build import build_program
from controller.program.program import Crossing, MoveStep
from controller.session.rows import NOTHING
from protocol.messages import ZERO_SWITCHES, Capability, EdgeFlag, Index
from protocol.units import Steps
from tests.end_to_end.whole_runs import few_frames, kit_of

KIT = kit_of()
MOVE = next(step for step in build_program(KIT, few_frames()).steps if isinstance(step, MoveStep))
MUST = Crossing(may=True, must=True)
Exposures = st.lists(st.tuples(st.integers(0, 5), st.integers(0, 1)), max_size=8)


def position(by_hand: set[int] | None = None) -> Position:
    found = Position(KIT, NOTHING, by_hand or set())
    found.switches = ZERO_SWITCHES
    return found


def index(pan_edges: int, pan_steps: int = 0) -> Index:
    return Index(pan_edges, Steps(pan_steps), EdgeFlag(0), 0, Steps(0), EdgeFlag(0))


@given(Exposures)
def test_what_was_made_since_the_last_check_is_suspect_once(made: list[tuple[int, int]]) -> None:
    here = position(by_hand={5})
    here.find()
    for exposure in made:
        here.count(exposure)
    turned = {exposure for exposure in made if exposure[0] != 5}
    assert here.made_since_checked == turned
    assert here.look_is_owed is bool(turned)
    assert here.lose() == turned
    assert here.lose() == set()
    assert (here.known, here.standing) == (False, None)


@given(Exposures, st.sampled_from(["pan", "tilt", "both", "none"]))
def test_only_an_axis_that_can_be_checked_makes_suspects(made: list[tuple[int, int]], has: str) -> None:
    here = position()
    one = {"pan": Capability.PAN_SWITCH, "tilt": Capability.TILT_SWITCH, "both": ZERO_SWITCHES}
    here.switches = one.get(has, Capability(0))
    for exposure in made:
        here.count(exposure)
    assert set(here.zones) == {"pan": {"pan"}, "tilt": {"tilt"}, "both": {"pan", "tilt"}, "none": set()}[has]
    assert here.lose() == (set() if has == "none" else set(made))


def test_finding_zero_makes_it_known_and_asks_for_the_switches_again() -> None:
    here = position()
    assert here.must_be_found
    here.find()
    assert (here.known, here.was_set, here.standing) == (True, True, (0, 0))
    assert not here.must_be_found
    assert here.look_is_due
    here.compare(index(3))
    assert not here.look_is_due


@pytest.mark.parametrize(("edges", "off"), [(3, ["pan"]), (4, [])])
def test_a_switch_that_had_to_be_passed_and_was_not_is_off(edges: int, off: list[str]) -> None:
    here = position()
    here.find()
    here.compare(index(3))
    here.count((0, 0))
    here.arrive(replace(MOVE, pan=MUST))
    assert here.look_is_due
    zone = here.zones["pan"]
    found = [steps for steps in range(-200, 200) if zone.judge(steps, EdgeFlag(0)).name == "IN_PLACE"]
    assert here.compare(index(edges, found[0])) == ([] if off else ["pan"])
    assert here.off == off
    assert here.unchecked["pan"] == ([(0, 0)] if off else [])
    assert here.unchecked["tilt"] == [(0, 0)]  # its switch confirms it alone


def test_a_head_without_switches_is_lost_once_its_zero_was_set() -> None:
    here = position()
    here.switches = Capability(0)
    assert not here.is_lost(zero_is_here=True)
    assert here.is_lost(zero_is_here=False)
    here.find()
    assert not here.is_lost(zero_is_here=False)
    here.lose()
    assert here.is_lost(zero_is_here=True)
    here.switches = ZERO_SWITCHES
    assert not here.is_lost(zero_is_here=False)


def test_on_the_way_home_zero_is_not_searched_until_the_head_is_there() -> None:
    here = position()
    here.find()
    here.lose()
    here.home_left = 2
    assert not here.must_be_found
    assert here.arrive(MOVE)
    assert here.was_set
    assert here.arrive(MOVE)
    assert here.must_be_found
    assert not here.was_set
    assert not here.arrive(MOVE)


def test_a_switch_that_changed_need_not_change_again_until_the_head_stood_clear_of_it() -> None:
    """A move may end within the switch's zone: the change expected there has already happened."""
    here = position()
    here.find()
    here.compare(index(3))
    zone = here.zones["pan"]
    inside = next(steps for steps in range(-200, 200) if zone.judge(steps, EdgeFlag(0)).name == "IN_PLACE")
    here.arrive(replace(MOVE, pan=Crossing(may=True)))
    assert here.compare(index(4, inside)) == ["pan"]
    here.arrive(replace(MOVE, pan=replace(MUST, ends_clear=True)))
    assert here.compare(index(4)) == []
    assert here.off == []
    here.arrive(replace(MOVE, pan=MUST))
    assert here.compare(index(4)) == []
    assert here.off == ["pan"]
