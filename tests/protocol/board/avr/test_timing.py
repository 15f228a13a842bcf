"""What only the machine code can show: sizes, lock-outs, late ticks, and the shape of the pulses at the pins.

It shows no electrical effects: opto-couplers, drivers, noise on the wires, the USB bridge.
"""

from __future__ import annotations

from ctypes import CDLL
from itertools import pairwise
from random import Random

import pytest

from protocol.codec import kind_of
from protocol.framing import encode_frame
from protocol.messages import Expose, GetStatus, Outcome, Reference, Stop
from protocol.shaper import PLAIN, Shaper, set_shaper
from protocol.units import AxisId
from tests.protocol.board.avr.machine import BYTE_US, F_CPU, Firmware, Machine
from tests.protocol.board.talker import Talker

FLASH_MOST, RAM_MOST = 16 * 1024, 1280
GET_STATUS = kind_of(GetStatus)
STEP_HIGH_US, STEP_LOW_US, DIR_US = 5.0, 5.0, 50.0
"""More than common drivers need, including opto-coupled inputs."""
TICK = F_CPU // 40_000
JITTER = TICK // 2
"""A pulse begins when the interrupt of its tick runs: other interrupts and locked sections delay it."""


def fast(host: Talker, speed: int, accel: int) -> None:
    host.greet()
    host.configure(speed, accel, 200_000)
    host.arm()
    host.reference(500)


def test_it_is_small(firmware: Firmware) -> None:
    assert firmware.flash_bytes < FLASH_MOST
    assert firmware.ram_bytes < RAM_MOST


FIVE = Shaper(((0, 10_000), (60, 15_000), (125, 15_536), (190, 15_000), (250, 10_000)))


@pytest.mark.parametrize("shaper", [PLAIN, FIVE], ids=["plain", "five impulses"])
@pytest.mark.parametrize("speed", [10_000, 20_000])
def test_both_axes_at_full_speed(watched: Machine, speed: int, shaper: Shaper) -> None:
    """During a dense conversation, no tick is late, no byte lost, and no interrupt waits long."""
    host = Talker(watched)
    fast(host, speed, 2 * speed)
    for axis in AxisId:
        host.order(set_shaper(host.next_id(), axis, shaper))
    watched.edges()
    for target in ((20_000, 20_000), (0, 1000), (-12_345, 6789)):
        before = watched.steps, watched.places
        host.order(host.move(*target))
        assert host.finish(look_ms=2).outcome is Outcome.ARRIVED
        made = [after - old for after, old in zip(watched.steps, before[0], strict=True)]
        assert made == [abs(to - at) for to, at in zip(target, before[1], strict=True)]
        status = host.status()
        assert watched.places == (status.pan_steps, status.tilt_steps) == target
    assert watched.late_ticks == 0
    assert watched.lockout_us < BYTE_US
    assert watched.least_us(0) >= STEP_HIGH_US
    assert watched.least_us(1) >= STEP_LOW_US
    assert watched.least_us(2) >= DIR_US
    assert watched.used_ram < RAM_MOST


def test_the_cruise_is_even(board: Machine, host: Talker) -> None:
    fast(host, 10_000, 50_000)
    board.edges()
    host.order(host.move(10_000, -10_000))
    host.finish(look_ms=3)
    edges = board.edges()
    for axis in (0, 1):
        at = [cycle for cycle, name in edges if name == axis]
        assert len(at) == 10_000
        gaps = [later - cycle for cycle, later in pairwise(at[2000:-2000])]
        assert max(abs(gap - F_CPU // 10_000) for gap in gaps) <= JITTER
        assert abs(sum(gaps) - len(gaps) * F_CPU // 10_000) <= JITTER


@pytest.mark.parametrize("after_ms", [40, 130, 260, 600])
def test_a_stop_in_the_middle_of_a_shaped_move(board: Machine, host: Talker, after_ms: int) -> None:
    """By its pulses: at rest v / a after the Stop, wherever the shaper is, and within the limits on the way."""
    speed, accel = 8000, 16_000
    fast(host, speed, accel)
    for axis in AxisId:
        host.order(set_shaper(host.next_id(), axis, FIVE))
    host.order(host.move(20_000, -20_000))
    board.run(after_ms)
    board.edges()
    stopped = board.cycle
    host.order(Stop())
    status = host.await_disarmed()
    edges = board.edges()
    for number, place in enumerate((status.pan_steps, status.tilt_steps)):
        at = [cycle for cycle, name in edges if name == number]
        assert len(at) > (5 if after_ms > 100 else 0)
        assert (at[-1] - stopped) * 1000 <= (speed / accel + 0.005) * F_CPU * 1000  # 4 ms of them on the line
        gaps = [later - cycle for cycle, later in pairwise(at)]
        assert min(gaps, default=F_CPU) >= F_CPU // speed - JITTER
        assert abs(place) == abs(board.places[number]) <= 20_000
    host.arm()
    host.order(host.move(0, 0))  # nothing of the shaped move is left
    assert host.finish().outcome is Outcome.ARRIVED
    assert board.places == (0, 0)
    assert board.late_ticks == 0


@pytest.mark.long
def test_lock_outs_in_everything_it_does(watched: Machine) -> None:
    host = Talker(watched)
    host.make_ready()
    random = Random(11)
    for _ in range(6):
        host.order(host.move(random.randint(-400, 400), random.randint(-400, 400)))
        watched.feed(random.randbytes(40).replace(b"\0", b"\1"))
        host.finish(look_ms=5)
        host.order(Expose(host.next_id(), 1, 1, 5, 10, 20))
        host.finish(look_ms=5)
    host.order(Reference(host.next_id(), 700, 300, 4))
    watched.run(100)
    host.order(Stop())
    host.await_disarmed()
    host.arm(60)
    host.run(100)
    assert watched.lockout_us < BYTE_US
    assert watched.late_ticks == 0
    assert watched.used_ram < RAM_MOST


def test_a_line_full_of_bytes_loses_none(board: Machine, host: Talker) -> None:
    """Noise at the full rate while both axes turn at theirs; then a request is answered."""
    fast(host, 10_000, 20_000)
    random = Random(3)
    host.order(host.move(9000, 9000))
    for _ in range(20):
        board.feed(random.randbytes(400))
        board.run(37)  # slightly longer than they take
    host.run(100)
    host.status()
    assert board.late_ticks == 0


def test_as_many_bytes_as_it_promises_are_taken_in_at_once(board: Machine, host: Talker) -> None:
    """Replies are four times as long as these requests, so they have to wait in the board."""
    most = host.greet().receive_bytes
    seqs = range(most // len(encode_frame(GET_STATUS, 0, b"")))
    requests = b"".join(encode_frame(GET_STATUS, seq, b"") for seq in seqs)
    assert most - 10 < len(requests) <= most
    board.feed(requests)
    board.run(120)
    assert [seq for seq, _ in host.listen()] == list(seqs)


def test_runs_are_the_same_to_the_cycle(harness: CDLL, firmware: Firmware) -> None:
    """With or without measuring."""
    runs = []
    for watching in (False, False, True):
        board = Machine(harness, firmware, watching=watching)
        host = Talker(board)
        host.make_ready()
        host.order(host.move(300, -200))
        host.finish()
        runs.append(board.edges())
        board.stop()
    assert runs[0] == runs[1] == runs[2] != []
