"""What rests on where the head points, against a plain account of it: any history of exposures, moves and looks."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from controller.capture.position import Position
from controller.program.build import build_program
from controller.program.index import Found, zone_of
from controller.program.program import Crossing, MoveStep
from controller.session.rows import Remembered
from protocol.messages import ZERO_SWITCHES, EdgeFlag, Index
from protocol.units import Steps
from tests.end_to_end.whole_runs import few_frames, kit_of

KIT = kit_of()
MOVE = next(step for step in build_program(KIT, few_frames()).steps if isinstance(step, MoveStep))
AXES = ("pan", "tilt")
ON = EdgeFlag.UPWARD | EdgeFlag.ON
ZONE = zone_of(KIT.head, KIT.head.pan)
assert ZONE is not None
STEPS = {
    Found.IN_PLACE: next(n for n in range(500) if ZONE.judge(n, ON) is Found.IN_PLACE),
    Found.ELSEWHERE: next(n for n in range(500) if ZONE.judge(n, ON) is Found.ELSEWHERE),
}
seen = st.none() | st.sampled_from(list(STEPS))
crossings = st.builds(Crossing, st.booleans(), st.booleans(), st.booleans())
ACTS = st.lists(
    st.one_of(
        st.tuples(st.just("expose"), st.integers(0, 3), st.integers(0, 1)),
        st.tuples(st.just("move"), crossings, crossings, seen, seen),
        st.just(("zero",)),
        st.just(("lose",)),
    ),
    max_size=12,
)  # fmt: skip


class Account:
    """For each axis: what waits for its check, and whether its switch has changed since it last stood clear."""

    def __init__(self) -> None:
        self.waiting: dict[str, list[tuple[int, int]]] = {axis: [] for axis in AXES}
        self.changed = dict.fromkeys(AXES, False)
        self.counts = dict.fromkeys(AXES, 0)


def look(here: Position, account: Account, act: tuple[Any, ...]) -> None:
    """A move, and the look after it, held against the account."""
    _, pan, tilt, *found = act
    here.arrive(replace(MOVE, pan=pan, tilt=tilt))
    assert here.look_is_due is (here.edges is None or pan.may or tilt.may)
    steps = {}
    for axis, one in zip(AXES, found, strict=True):
        account.counts[axis] += one is not None
        steps[axis] = 0 if one is None else STEPS[one]
    told = Index(account.counts["pan"], Steps(steps["pan"]), ON, account.counts["tilt"], Steps(steps["tilt"]), ON)
    known_before = here.edges is not None
    in_place, off = [], []
    if known_before:
        for axis, crossing, one in zip(AXES, (pan, tilt), found, strict=True):
            if not crossing.may:
                continue
            if one is Found.IN_PLACE:
                in_place.append(axis)
                account.waiting[axis] = []
            elif one is Found.ELSEWHERE or (crossing.must and not account.changed[axis]):
                off.append(axis)
            account.changed[axis] = (account.changed[axis] or one is not None) and not crossing.ends_clear
    assert here.compare(told) == in_place
    assert here.off == off


@settings(max_examples=150)
@given(ACTS, st.sets(st.integers(0, 3)))
def test_what_waits_for_a_check_is_what_was_exposed_since_the_last_one(
    acts: list[tuple[Any, ...]], by_hand: set[int]
) -> None:
    here, account = Position(KIT, Remembered(), by_hand), Account()
    here.switches = ZERO_SWITCHES
    for act in acts:
        if act[0] == "expose":
            here.count((act[1], act[2]))
            if act[1] not in by_hand:
                for waiting in account.waiting.values():
                    waiting.append((act[1], act[2]))
        elif act[0] == "move":
            look(here, account, act)
        elif act[0] == "zero":
            here.find()
            assert (here.known, here.standing, here.must_be_found, here.look_is_due) == (True, (0, 0), False, True)
            account.changed = dict.fromkeys(AXES, False)
        else:
            assert here.lose() == {made for waiting in account.waiting.values() for made in waiting}
            account.waiting = {axis: [] for axis in AXES}
            assert (here.known, here.standing) == (False, None)
            assert here.must_be_found
        assert here.unchecked == account.waiting
        assert here.look_is_owed is any(account.waiting.values())
        assert here.made_since_checked == {made for waiting in account.waiting.values() for made in waiting}
        assert here.uncheckable == []


@given(st.sets(st.sampled_from(AXES)), st.lists(st.tuples(st.integers(0, 3), st.integers(0, 1)), max_size=6))
def test_what_an_earlier_run_left_unchecked_is_remembered_but_for_frames_by_hand(
    without: set[str], made: list[tuple[int, int]]
) -> None:
    kit = kit_of(head={axis: {"zero_switch": False} for axis in without})
    remembered = Remembered(boot_id=4, unchecked=dict.fromkeys(AXES, made))
    here = Position(kit, remembered, by_hand={2})
    here.switches = ZERO_SWITCHES
    assert here.known
    assert here.was_set
    turned = [one for one in made if one[0] != 2]
    assert here.unchecked == {axis: turned for axis in AXES if axis not in without}
    assert here.uncheckable == [one for _ in without for one in made]
    here.count((1, 0))
    assert here.uncheckable[len(made) * len(without) :] == ([(1, 0)] if without else [])
    assert not Position(kit, Remembered(), set()).known
