"""The board rules: the simulated board passes all of them, and each faulty board is caught by the right rule in time."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from controller.capture.line import OtherVersion
from controller.commands.stand_in import rig_spec
from controller.conformance.reach import Reach, reach_of
from controller.conformance.rules import RULES, Rule, wait_verdict
from controller.conformance.talk import NotChecked, RuleBroken, Talk
from protocol.codec import cause_for
from protocol.messages import BoardState, Capability, Cause, Expose, Move, Outcome, Reason, StatusFlag
from protocol.units import NS, BootId, CommandId, Steps
from sim.rig import Rig
from sim.virtual_port import VirtualPort
from tests.bench.figures import full_frame_kit
from tests.controller.conformance import liars
from tests.controller.conformance.liars import Spoil, commands, counted, notices, statuses, welcomes

KIT = full_frame_kit(24)


def bench(pan_deg: float = 0.0, tilt_deg: float = 0.0, reach: Reach | None = None) -> tuple[Rig, Talk]:
    """A rig whose head is turned away by these angles."""
    rig = Rig(rig_spec(KIT, 1))
    for axis, off_deg in ((rig.head.pan, pan_deg), (rig.head.tilt, tilt_deg)):
        axis.flag_deg -= off_deg
    return rig, Talk(VirtualPort(rig), reach=reach or Reach())


def rule_of(name: str) -> Rule:
    return next(rule for rule in RULES if rule.name == name)


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.name)
def test_the_simulated_board_keeps(rule: Rule) -> None:
    _, talk = bench()
    wait_verdict(talk, rule)


def test_the_rules_hold_one_after_the_other_and_again() -> None:
    _, talk = bench()
    for rule in (*RULES, *RULES):
        wait_verdict(talk, rule)


def test_names_are_unique_and_say_what_they_demand() -> None:
    assert len({rule.name for rule in RULES}) == len(RULES)
    assert all(rule.demands.endswith(".") for rule in RULES)


@pytest.mark.parametrize(("pan_deg", "tilt_deg"), [(6.0, -6.0), (-8.0, 10.0), (12.0, -12.0)])
@pytest.mark.parametrize("rule", [rule for rule in RULES if rule.moves], ids=lambda rule: rule.name)
def test_a_head_that_stands_away_from_zero_is_no_fault(rule: Rule, pan_deg: float, tilt_deg: float) -> None:
    _, talk = bench(pan_deg, tilt_deg)
    wait_verdict(talk, rule)


@pytest.mark.parametrize(("pan_deg", "tilt_deg"), [(-360.0, 90.0), (360.0, -90.0)])
def test_with_a_kit_zero_is_found_from_anywhere_in_its_limits(pan_deg: float, tilt_deg: float) -> None:
    _, talk = bench(pan_deg, tilt_deg, reach_of(KIT))
    wait_verdict(talk, rule_of("move"))


@pytest.mark.parametrize("reach", [Reach(), reach_of(KIT)], ids=["without a kit", "with a kit"])
@pytest.mark.parametrize(("axis", "degrees"), [("pan", 1e5), ("pan", -1e5), ("tilt", 1e5), ("tilt", -1e5)])
def test_a_switch_that_is_never_met_is_named_in_time(axis: str, degrees: float, reach: Reach) -> None:
    """Without a kit nobody knows how far from zero the head may be, so the board is not to blame."""
    rig, talk = bench(reach=reach)
    rig.head.axis(axis).flag_deg = degrees
    with pytest.raises((NotChecked, RuleBroken), match=f"no switch of {axis}.* was met") as caught:
        wait_verdict(talk, rule_of("move"))
    assert isinstance(caught.value, RuleBroken) == reach.pan.known
    assert ("--kit" in str(caught.value)) == (not reach.pan.known)
    assert talk.zero_is_missing
    assert talk.port.now() < (reach.search_s + 30) * NS


@pytest.mark.parametrize("cause", [Cause.WATCHDOG, Cause.SUPPLY_LOW])
def test_whatever_a_board_was_started_by(cause: Cause) -> None:
    rig, talk = bench()
    rig.restart_board(0, cause)
    for rule in RULES:
        wait_verdict(talk, rule)


def off_by_one(status: Any, _: int) -> Any:
    return replace(status, pan_steps=Steps(status.pan_steps + 1))


def later_ids(status: Any, _: int) -> Any:
    return replace(status, finished_id=CommandId(status.finished_id + 7)) if status.finished_id else status


def other_boot(status: Any, now_ns: int) -> Any:
    return replace(status, boot_id=BootId(status.boot_id ^ 1)) if now_ns > NS // 4 else status


def clock(rate: float, turn_back_ms: int = 0) -> Spoil:
    def change(status: Any, now_ns: int) -> Any:
        told = round(status.clock_ms * rate) - (turn_back_ms if now_ns > NS // 2 else 0)
        return replace(status, clock_ms=told % 2**32)

    return statuses(change)


def while_it_is(state: BoardState, **values: Any) -> Spoil:
    """Change these values of a Status in that state."""
    return statuses(lambda status, _: replace(status, **values) if status.state is state else status)


LIES: tuple[tuple[str, Spoil, str, str], ...] = (
    ("an id is never stale", liars.deaf_to_stale_ids, "command-id", "should give STALE_ID"),
    ("ids end at 2^32 - 1", liars.that_compares_ids_as_numbers, "id-order", "should give Accepted"),
    ("an id of another kind is a repeat", liars.that_takes_any_kind_for_a_repeat, "id-order", "should give STALE_ID"),
    ("silence is no matter", liars.without_patience_limit, "silence", "must be told by Held"),
    ("Stop does not disarm", liars.that_forgets_to_disarm, "stop", "should be disarmed|does not come to rest"),
    ("frames need no zeros in front", liars.that_needs_no_lead, "no-frame", "must not be answered"),
    ("no room to receive", welcomes(receive_bytes=0), "hello", "receive_bytes is 0"),
    ("too little room to receive", welcomes(receive_bytes=42), "hello", "receive_bytes is 42"),
    ("no step at all", welcomes(max_step_rate=0), "hello", "max_step_rate is 0"),
    ("another nonce", welcomes(nonce=9), "hello", "does not answer Hello|nonce"),
    ("another boot in each Status", statuses(other_boot), "status", "boot id changed .* no restart was told"),
    ("a clock that is set back", clock(1.0, 300), "status", "clock went backward"),
    ("a clock that stands still", clock(0.0), "status", "clock went on by 0 ms"),
    ("a clock twice too fast", clock(2.0), "status", "clock went on by"),
    ("armed while disarmed", while_it_is(BoardState.DISARMED, flags=StatusFlag.ARMED), "status", "DISARMED and armed"),
    ("disarmed for no reason", while_it_is(BoardState.DISARMED, cause=Cause.NONE), "status", "cause NONE"),
    ("at rest with a command", while_it_is(BoardState.DISARMED, running_id=CommandId(9)), "status", "command 9 runs"),
    ("moves for nobody", while_it_is(BoardState.MOVING, running_id=CommandId(0)), "rest", "without a command"),
    ("READY while it moves", liars.that_says_ready_too_soon, "rest", "said READY and went on"),
    ("arrives beside the target", statuses(off_by_one), "move", "is at 1, 0|ARRIVED at"),
    ("never moves", liars.that_never_moved, "move", "cannot take less than"),
    ("arrives too soon", liars.that_hurries, "move", "cannot take less than"),
    (
        "turns another way",
        commands(Move, lambda one: replace(one, tilt_steps=Steps(-one.tilt_steps))),
        "move",
        "ARRIVED at",
    ),
    ("counts twice", counted(lambda steps: 2 * steps), "move", "ARRIVED at"),
    ("takes any shaper", liars.that_refuses_no_shaper(Reason.BAD_VALUE), "shaper", "should give BAD_VALUE"),
    ("a shaper while it moves", liars.that_refuses_no_shaper(Reason.BUSY), "shaped-move", "should give BUSY"),
    ("forgets its shapers", liars.that_forgets_its_shapers, "shaped-move", "cannot take less than"),
    ("stops slowly", liars.that_stops_slowly, "shaped-stop", "after Stop a shaped Move took"),
    ("shapes without saying so", welcomes(capabilities=Capability(0)), "shaper", "should give UNKNOWN_KIND"),
    ("never arrives", liars.that_never_arrives, "move", "did not end within"),
    ("ends another command", statuses(later_ids), "move", "was the last to end"),
    (
        "tells of another command",
        notices(lambda one, _: replace(one, command_id=CommandId(77))),
        "move",
        "names command 77",
    ),
    ("tells another end", notices(lambda one, _: replace(one, outcome=Outcome.CUT_SHORT)), "move", "do not agree"),
    (
        "an exposure too short",
        commands(Expose, lambda one: replace(one, press_ms=20, limit_ms=0)),
        "expose",
        "cannot take less",
    ),
    ("no focus", commands(Expose, lambda one: replace(one, focus_ms=0, limit_ms=0)), "expose", "cannot take less"),
    (
        "an exposure without end",
        commands(Expose, lambda one: replace(one, press_ms=10**6)),
        "expose",
        "did not end within",
    ),
)


@pytest.mark.parametrize(("spoil", "found_by", "says"), [lie[1:] for lie in LIES], ids=[lie[0] for lie in LIES])
def test_a_board_that_breaks_a_rule_is_found_out(spoil: Spoil, found_by: str, says: str) -> None:
    rig, talk = bench()
    spoil(rig.board)
    with pytest.raises(RuleBroken, match=says) as caught:
        wait_verdict(talk, rule_of(found_by))
    assert ">" in str(caught.value)  # the bytes are shown
    assert talk.port.now() < 60 * NS


@pytest.mark.parametrize("spoil", [lie[1] for lie in LIES], ids=[lie[0] for lie in LIES])
def test_no_lie_holds_any_rule_for_long(spoil: Spoil) -> None:
    """Whatever a board reports, each rule ends within its time, with a verdict."""
    rig, talk = bench()
    spoil(rig.board)
    for rule in RULES:
        begin = talk.port.now()
        try:
            wait_verdict(talk, rule)
        except (RuleBroken, NotChecked):
            rig.board._judge(talk.port.now(), liars.HALT)
        assert talk.port.now() - begin < (rule.total_s(talk.reach) + 2) * NS


def test_a_board_that_drops_its_notices_is_not_blamed() -> None:
    """Notices may be lost on the way (SPEC, section 3.3)."""
    rig, talk = bench()
    notices(lambda *_: None)(rig.board)
    for rule in RULES:
        wait_verdict(talk, rule)


def test_a_board_of_version_1_0_keeps_all_that_was_asked_of_it() -> None:
    """It compares ids as numbers, accepts any type as a repeat, and knows no newer cause (SPEC, section 10)."""
    rig, talk = bench()
    for spoil in (
        liars.without_shaping,
        welcomes(version_minor=0),
        liars.that_compares_ids_as_numbers,
        liars.that_takes_any_kind_for_a_repeat,
        statuses(lambda status, _: replace(status, cause=cause_for(0, status.cause))),
    ):
        spoil(rig.board)
    for rule in RULES:
        if rule.name in ("shaped-move", "shaped-stop"):
            with pytest.raises(NotChecked, match="does not shape its ramps"):
                wait_verdict(talk, rule)
        else:
            wait_verdict(talk, rule)
    assert talk.version == (1, 0)


def test_all_answers_late_are_too_late_together() -> None:
    """Each answer comes within its second, and yet no rule goes on without end."""
    rig, talk = bench()
    for wire in (rig.to_board, rig.to_host):
        wire.trouble = replace(wire.trouble, delay_ns=450_000_000)

    def nine_times(talk: Talk) -> None:
        for _ in range(9):
            rule_of("status").check(talk)

    slow = replace(rule_of("status"), check=nine_times)
    with pytest.raises(RuleBroken, match="not done after 30 s"):
        wait_verdict(talk, slow)
    assert talk.port.now() < 120 * NS


@pytest.mark.parametrize(("major", "minor"), [(0, 9), (2, 0), (15, 3)])
@pytest.mark.parametrize("refuses", [True, False])
def test_another_major_version_is_said_plainly(major: int, minor: int, refuses: bool) -> None:
    rig, talk = bench()
    liars.of_another_major_version(major, minor, refuses=refuses)(rig.board)
    with pytest.raises(OtherVersion, match=rf"speaks version {major}\.{minor} of the protocol, and this program 1\.2"):
        talk.wait_welcome(7)
    assert talk.port.now() < 30 * NS


def test_a_version_that_cannot_be_found_out_is_said_as_well() -> None:
    rig, talk = bench()
    liars.of_another_major_version(99, 0, refuses=True)(rig.board)
    with pytest.raises(OtherVersion, match="another one that it does not name"):
        talk.wait_welcome(7)


def test_what_is_announced_names_what_moves_and_how_long() -> None:
    for reach, unit in ((Reach(), "steps/s"), (reach_of(KIT), "degrees/s")):
        for rule in RULES:
            sentence = rule.announcement(reach)
            assert (sentence is not None) or not rule.moves
            if sentence is not None:
                assert f"for about {rule.about_s:.0f} s" in sentence
                assert (unit in sentence) == rule.searches
                assert unit not in (rule.announcement(reach, near_zero=True) or "")
