"""What a switch must show, compared with the simulator's hysteresis; where an axis is clear of it; and which slips can
hide.
"""

from __future__ import annotations

import math
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.kit.kit import Axis, Head, TiltAxis
from controller.program.index import Found, Side, Zone, tolerance_steps, unseen_deg, zone_of
from controller.program.program import Crossing
from protocol.messages import EdgeFlag
from sim.axis import AxisSpec, SimulatedAxis
from sim.motors import at_rest, move
from tests.end_to_end.whole_runs import kit_of

UP, DOWN = EdgeFlag.UPWARD | EdgeFlag.ON, EdgeFlag(0)
HEADS = st.builds(
    lambda gear, micro, play, level: Head(
        pan=Axis(gear_ratio=gear, microsteps=micro, backlash_deg=play), level_error_deg=level
    ),
    st.floats(5, 300),
    st.sampled_from([1, 8, 16, 256]),
    st.just(0.0) | st.floats(0, 2),
    st.floats(0, 1),
)


def zone_for(head: Head) -> Zone:
    zone = zone_of(head, head.pan)
    assert zone is not None
    return zone


def passed(head: Head, slip: float) -> list[tuple[int, EdgeFlag, Found]]:
    """Find zero like a board, slip, and pass it downward and upward: what the board records, and what it means."""
    rate, zone = head.pan.steps_per_degree, zone_for(head)
    axis = SimulatedAxis(AxisSpec(rate, head.pan.backlash_deg), -round(3 * rate), Random(1))
    far = 4 * (zone.over - zone.under)
    zero = math.ceil(axis.flag_edge_steps(up=True))
    axis.begin(move(0, -far, zero + zone.over, rate, rate))
    axis.lose(axis.motion.end_ns, slip)
    seen = []
    at_ns = axis.motion.end_ns + 1
    for goal in (zone.under, zone.over):
        axis.begin(move(at_ns, axis.motion.target, zero + goal, rate, rate))
        at_ns = axis.motion.end_ns + 1
        change = axis.flag_change(at_ns)
        assert change is not None
        steps, upward, on = change
        how = (EdgeFlag.UPWARD if upward else EdgeFlag(0)) | (EdgeFlag.ON if on else EdgeFlag(0))
        seen.append((steps - zero, how, zone.judge(steps - zero, how)))
    return seen


@given(HEADS)
def test_without_a_slip_a_switch_is_in_its_place_whichever_way_it_is_passed(head: Head) -> None:
    (down, how_down, found_down), (up, how_up, found_up) = passed(head, 0)
    assert (how_down, how_up) == (DOWN, UP)
    assert up == 0
    assert abs(down - zone_for(head).downward) <= 1.5  # play need not be a whole number of steps
    assert (found_down, found_up) == (Found.IN_PLACE, Found.IN_PLACE)


@given(HEADS, st.floats(1, 1.9), st.sampled_from([-1, 1]))
def test_a_slip_of_more_than_can_hide_is_seen_upward(head: Head, times: float, sign: int) -> None:
    rate = head.pan.steps_per_degree
    slip = math.ceil(unseen_deg(head, head.pan) * rate * times)
    if slip < zone_for(head).above:  # otherwise the switch is not passed at all, which also shows the slip
        (_, _, found_down), (_, _, found_up) = passed(head, sign * slip)
        assert found_down is not Found.IN_PLACE
        assert found_up is Found.ELSEWHERE


def test_what_can_hide_on_both_axes_is_less_than_a_plan_is_proved_for() -> None:
    for tables in ({}, {"pan": {"backlash_deg": 0.3}, "tilt": {"backlash_deg": 0.3}}):
        head = kit_of(head=tables).head
        hidden = math.hypot(unseen_deg(head, head.pan), unseen_deg(head, head.tilt))
        assert hidden <= head.level_error_deg <= head.pointing_error_deg()


def test_half_of_what_a_motor_loses_at_once_always_tells() -> None:
    head = kit_of(head={"level_error_deg": 5.0}).head
    assert tolerance_steps(head, head.pan) == 2 * 16


@pytest.mark.parametrize(
    ("steps", "how", "found"),
    [
        (0, UP, Found.IN_PLACE),
        (60, UP, Found.ELSEWHERE),
        (-97, UP, Found.ELSEWHERE),
        (-97, DOWN, Found.IN_PLACE),
        (0, DOWN, Found.ELSEWHERE),
        (-60, DOWN, Found.UNSURE),
        (-400, DOWN, Found.ELSEWHERE),
        (0, EdgeFlag.UPWARD, Found.ELSEWHERE),
        (-97, EdgeFlag.ON, Found.ELSEWHERE),
    ],
)
def test_readings_with_three_tenths_of_a_degree_of_play(steps: int, how: EdgeFlag, found: Found) -> None:
    zone = zone_for(kit_of(head={"pan": {"backlash_deg": 0.3}}).head)  # 96 steps
    assert zone.judge(steps, how) is found


def test_clear_of_the_switch_is_farther_below_where_there_is_play() -> None:
    zone = zone_for(kit_of(head={"pan": {"backlash_deg": 1.0}}).head)
    assert (zone.side(80), zone.side(-80), zone.side(-399), zone.side(-400)) == (1, 0, 0, -1)


@given(HEADS, st.booleans())
def test_where_it_stands_clear_the_flag_is_as_it_should_be(head: Head, above: bool) -> None:
    """From whichever side it came."""
    zone, rate = zone_for(head), head.pan.steps_per_degree
    for start in (4 * zone.under, 4 * zone.over):
        axis = SimulatedAxis(AxisSpec(rate, head.pan.backlash_deg), start, Random(1))
        zero = math.ceil(axis.flag_edge_steps(up=True))
        axis.begin(move(0, start, zero + (zone.above if above else zone.below), rate, rate))
        end_ns = axis.motion.end_ns + 1
        axis.begin(at_rest(axis.motion.target, end_ns))
        assert axis.flag_on(end_ns) == above


def test_a_side_follows_an_axis_from_stop_to_stop() -> None:
    zone = zone_for(kit_of().head)
    side = Side(zone, 0)
    assert side.look() == (zone.under, zone.over)
    assert side.goes(3000) == Crossing(may=True, ends_clear=True)
    assert side.goes(6000) == Crossing(ends_clear=True)
    assert side.look() == (zone.under,)
    assert side.goes(10) == Crossing(may=True)
    assert side.goes(10) == Crossing()
    assert side.goes(-3000) == Crossing(may=True, must=True, ends_clear=True)
    assert side.look() == (zone.over,)
    assert side.goes(3000) == Crossing(may=True, must=True, ends_clear=True)


def test_from_an_unknown_place_the_first_move_may_pass_the_switch_and_the_look_passes_it_for_sure() -> None:
    side = Side(zone_for(kit_of().head), None)
    stops = side.look()
    assert [side.goes(stop).must for stop in stops] == [False, True]


@pytest.mark.parametrize(("least", "most"), [(0.0, 90.0), (-90.0, 0.0), (-0.2, 90.0), (10.0, 90.0)])
def test_no_room_or_no_switch_is_no_check(least: float, most: float) -> None:
    head = Head(tilt=TiltAxis(min_deg=least, max_deg=most))
    assert zone_of(head, head.tilt) is None
    assert Side(None, 0).look() == ()
    blind = Head(pan=Axis(zero_switch=False))
    assert zone_of(blind, blind.pan) is None


def test_a_look_stays_within_the_limits() -> None:
    head = Head(tilt=TiltAxis(min_deg=-0.5, max_deg=0.6))
    zone = zone_of(head, head.tilt)
    assert zone is not None
    assert (zone.under, zone.over) == (-160, 192)


@given(
    st.sampled_from([1, 16, 256]),
    st.floats(2, 200),
    st.floats(0, 2),
    st.floats(0, 1),
    st.floats(-400, -0.01),
    st.floats(0.01, 400),
)
def test_the_zone_of_a_switch_in_numbers(
    microsteps: int, gear: float, level_deg: float, play_deg: float, least_deg: float, most_deg: float
) -> None:
    """As the module says it, for any head: what can be off without a slip, what is told of one, and where a look ends."""
    axis = Axis(microsteps=microsteps, gear_ratio=gear, backlash_deg=play_deg, min_deg=least_deg, max_deg=most_deg)
    head = Head(pan=axis, level_error_deg=level_deg)
    rate = axis.steps_per_degree
    noise = 1.5 + 0.02 * rate  # a step and a half, and how well a switch repeats
    half_a_loss = 2 * microsteps  # of the four full steps that a motor loses at once
    tells = max(noise, min(level_deg / math.sqrt(2) * rate - noise, half_a_loss))
    assert unseen_deg(head, axis) == pytest.approx((tells + noise) / rate)
    clear = max(0.25 * rate, tells + noise)
    above, below = max(1, math.ceil(clear)), -max(1, math.ceil(clear + play_deg * rate))
    least, most = math.ceil(least_deg * rate), math.floor(most_deg * rate)
    zone = zone_of(head, axis)
    assert (zone is None) is (above > most or below < least)
    if zone is None:
        return
    assert (zone.above, zone.below) == (above, below)
    assert zone.over == min(most, math.ceil(max(rate, 2 * clear)))
    assert zone.under == max(least, -math.ceil(max(rate, 2 * clear) + play_deg * rate))
    assert zone.downward == pytest.approx(-(play_deg * rate + 1))
    assert zone.tolerance == pytest.approx(tells)
    assert zone.untold == pytest.approx(max(0.1, play_deg / 2) * rate)
    sides = [zone.side(steps) for steps in (above, above - 1, 0, below + 1, below)]
    assert sides == [1, 0 if above - 1 > below else -1, 0, 0, -1]
    for off in (0.0, tells, tells + 0.01, tells + zone.untold, tells + zone.untold + 0.01):
        for sign in (-1, 1):
            up = zone.judge(sign * off, EdgeFlag.UPWARD | EdgeFlag.ON)  # type: ignore[arg-type]
            assert up is (Found.IN_PLACE if off <= tells else Found.ELSEWHERE)
    assert zone.judge(0, EdgeFlag.UPWARD) is Found.ELSEWHERE  # the flag is on above zero
    assert zone.judge(0, EdgeFlag.ON) is Found.ELSEWHERE
