"""A newer board with an older host, core and simulated board alike (SPEC, section 10)."""

from __future__ import annotations

from collections.abc import Callable
from ctypes import CDLL, c_uint8
from dataclasses import replace
from random import Random

import pytest

from protocol.codec import NEWER_CAUSES, PROTOCOL_VERSION, cause_for
from protocol.messages import (
    Accepted,
    Arm,
    BoardState,
    Booted,
    Capability,
    Cause,
    Held,
    Hello,
    Outcome,
    Reason,
    Reference,
    Refused,
    SetAxis,
    StatusFlag,
    Stop,
    Welcome,
)
from protocol.ramp import ramp_of
from protocol.shaper import Shaper, set_shaper
from protocol.units import AxisId, BootId, CommandId, Steps
from sim.board import SimulatedBoard
from sim.camera import CameraSpec, SimulatedCamera
from sim.head import SimulatedHead
from tests.protocol.board.core import BOOT_ID, Core
from tests.protocol.board.pair import MAX_RATE, PLACE, SPEC, Simulated
from tests.protocol.board.talker import ACCEL, Machine, Talker

LIMIT = 3000
MINORS = (None, 0, 1, 7, 255)
"""From the host's Hello; None before one."""


def core(library: CDLL, cause: Cause) -> Core:
    return Core(library, cause=cause, camera_ms=None)


def simulated(_: CDLL, cause: Cause) -> Simulated:
    machine = Simulated()
    machine.head = SimulatedHead(SPEC, *PLACE)
    machine.camera = SimulatedCamera(CameraSpec((0.1,), 50.0, ready_ms=0.0), Random(1))
    machine.board = SimulatedBoard(
        machine.head, machine.camera, Random(1), sync_contact=True, max_step_rate=MAX_RATE, now_ns=0, cause=cause
    )
    return machine


Make = Callable[[CDLL, Cause], Machine]
MACHINES = pytest.mark.parametrize("make", [core, simulated])


def old(minor: int | None, cause: Cause) -> Cause:
    """The cause that a host of that minor version must get, by hand."""
    if minor is None or minor == 0:
        return {Cause.WATCHDOG: Cause.POWER_ON, Cause.ZERO_NOT_FOUND: Cause.LIMIT}.get(cause, cause)
    return cause


@pytest.mark.parametrize("minor", [0, 1, 7])
@pytest.mark.parametrize("cause", Cause)
def test_each_cause_in_the_words_of_each_version(library: CDLL, minor: int, cause: Cause) -> None:
    library.version_cause.restype = c_uint8
    assert cause_for(minor, cause) is old(minor, cause)
    assert library.version_cause(int(cause), minor) == old(minor, cause)
    assert all(since <= PROTOCOL_VERSION.minor for since, _ in NEWER_CAUSES.values())


@MACHINES
@pytest.mark.parametrize("minor", MINORS)
def test_a_restart_by_the_watchdog(library: CDLL, make: Make, minor: int | None) -> None:
    talker = Talker(make(library, Cause.WATCHDOG))
    talker.listen()
    assert [booted.cause for booted in talker.of(Booted)] == [Cause.POWER_ON]  # it does not know its host yet
    if minor is not None:
        assert isinstance(talker.ask(Hello(PROTOCOL_VERSION.major, minor, 1)), Welcome)
    assert talker.status().cause is old(minor, Cause.WATCHDOG)


@MACHINES
def test_the_last_hello_that_was_welcome_counts(library: CDLL, make: Make) -> None:
    talker = Talker(make(library, Cause.WATCHDOG))
    for major, minor, cause in (
        (1, 1, Cause.WATCHDOG),
        (1, 0, Cause.POWER_ON),
        (2, 1, Cause.POWER_ON),  # refused: nothing has changed
        (1, 3, Cause.WATCHDOG),
        (0, 0, Cause.WATCHDOG),
    ):
        reply = talker.ask(Hello(major, minor, 1))
        assert isinstance(reply, Welcome) if major == 1 else reply == Refused(Reason.VERSION)
        assert talker.status().cause is cause


@MACHINES
@pytest.mark.parametrize("minor", MINORS)
def test_a_switch_that_is_not_met(library: CDLL, make: Make, minor: int | None) -> None:
    machine = make(library, Cause.POWER_ON)
    talker = Talker(machine)
    talker.boot_id = talker.greet().boot_id
    if minor is not None:
        talker.ask(Hello(PROTOCOL_VERSION.major, minor, 1))
    if isinstance(machine, Core):
        machine.stick_flags(1)
    else:
        assert isinstance(machine, Simulated)
        machine.head.pan.flag_deg = -1e5
    for axis in AxisId:
        talker.order(SetAxis(talker.next_id(), axis, Steps(-LIMIT), Steps(LIMIT), 1000, ACCEL))
    talker.order(Arm(talker.next_id(), talker.boot_id, 60_000))
    talker.order(Reference(talker.next_id(), 1000, 1000, 4))
    ended = talker.finish()
    wanted = old(1 if minor is None else minor, Cause.ZERO_NOT_FOUND)
    assert ended.outcome is Outcome.CUT_SHORT
    assert [held.cause for held in talker.of(Held)] == [wanted]
    status = talker.status()
    assert (status.state, status.cause, status.flags) == (BoardState.DISARMED, wanted, StatusFlag.TILT_KNOWN)


SLOW = Shaper(((0, 20_000), (200, 25_536), (400, 20_000)))


def move_ms(talker: Talker, target: int) -> int:
    """How long the next Move takes by the board's clock, in milliseconds."""
    begun = talker.status().clock_ms
    talker.order(talker.move(target, 0))
    return talker.finish(look_ms=20).clock_ms - begun


@MACHINES
@pytest.mark.parametrize("minor", [0, 1])
def test_a_host_that_knows_no_shapers_gets_plain_ramps(library: CDLL, make: Make, minor: int) -> None:
    """Even from a board that a newer host has told some, in the same boot: an older one describes its axes as well."""
    talker = Talker(make(library, Cause.POWER_ON))
    plain_ms = ramp_of(1000, 1000, ACCEL).duration_ms
    talker.make_ready()
    for axis in AxisId:
        talker.order(set_shaper(talker.next_id(), axis, SLOW))
    assert 0 <= move_ms(talker, 1000) - plain_ms - SLOW.duration_ms <= 30
    talker.order(Stop())
    talker.await_disarmed()
    welcome = talker.ask(Hello(PROTOCOL_VERSION.major, minor, 1))
    assert isinstance(welcome, Welcome)
    assert Capability.SHAPER in welcome.offers  # a bit that such a host ignores
    talker.configure()
    talker.arm()
    assert 0 <= move_ms(talker, 0) - plain_ms <= 30


@pytest.mark.parametrize("minor", range(5))
@pytest.mark.parametrize("bit", Capability)
def test_a_capability_counts_in_the_versions_that_have_it(minor: int, bit: Capability) -> None:
    since = {Capability.SHAPER: 2}.get(bit, 0)  # SPEC, section 10, by hand
    welcome = Welcome(1, minor, 1, BootId(1), CommandId(0), bit, 64, 1000)
    assert welcome.offers == (bit if minor >= since else Capability(0))
    everything = replace(welcome, capabilities=~Capability(0))
    assert bool(everything.offers & bit) is (minor >= since)


def test_the_core_and_the_codec_speak_the_same_version(library: CDLL) -> None:
    talker = Talker(core(library, Cause.POWER_ON))
    welcome = talker.greet()
    assert (welcome.version_major, welcome.version_minor, welcome.boot_id) == (*PROTOCOL_VERSION, BOOT_ID)
    assert talker.ask(SetAxis(talker.next_id(), AxisId.PAN, Steps(-5), Steps(5), 10, 10)) == Accepted()
