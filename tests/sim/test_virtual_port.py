"""Waiting runs the world, and its time only goes forward."""

from __future__ import annotations

import pytest

from protocol.codec import decode_message, encode_message
from protocol.framing import Deframer, encode_frame
from protocol.messages import Booted, GetStatus, Request, Status
from sim.axis import AxisSpec
from sim.camera import CameraSpec
from sim.head import HeadSpec
from sim.rig import Rig, RigSpec
from sim.virtual_port import DeadlockError, VirtualPort

NS = 1_000_000_000
BYTE_NS = 10 * NS // 115200


def rig(seed: int = 0) -> Rig:
    return Rig(
        RigSpec(
            HeadSpec(AxisSpec(100.0), AxisSpec(100.0), 8.0, 0.05, 0.01),
            CameraSpec((0.01,), 60.0, 250.0),
            baud=115200,
            sync_contact=True,
            max_step_rate=5000,
            seed=seed,
        )
    )


def frame(request: Request, seq: int) -> bytes:
    kind, payload = encode_message(request)
    return encode_frame(kind, seq, payload)


def test_the_board_speaks_first() -> None:
    port = VirtualPort(rig())
    data = port.wait_bytes(NS)
    (heard,) = Deframer().feed(data)
    assert isinstance(decode_message(heard.kind, heard.payload), Booted)
    assert port.now() == len(data) * BYTE_NS


def test_a_deadline_ends_the_wait_exactly() -> None:
    port = VirtualPort(rig())
    port.wait_bytes(None)
    assert port.wait_bytes(5 * NS) == b""
    assert port.now() == 5 * NS


def test_a_deadline_in_the_past_does_not_turn_time_back() -> None:
    port = VirtualPort(rig())
    port.wait_bytes(None)
    port.wait_bytes(5 * NS)
    for past in (0, -1, 5 * NS - 1):
        assert port.wait_bytes(past) == b""
        assert port.now() == 5 * NS


def test_bytes_that_have_come_are_given_even_past_the_deadline() -> None:
    world = rig()
    port = VirtualPort(world)
    assert port.wait_bytes(None)
    port.wait_bytes(NS)
    world.to_host.send(0, b"late")
    assert port.wait_bytes(0) == b"late"
    assert port.now() == NS


def test_waiting_for_nothing_for_ever_is_a_mistake() -> None:
    port = VirtualPort(rig())
    assert port.wait_bytes(None)
    with pytest.raises(DeadlockError):
        port.wait_bytes(None)


@pytest.mark.parametrize("deadline_ns", [None, 9 * NS])
def test_a_wake_ends_the_wait_at_its_moment_and_once(deadline_ns: int | None) -> None:
    port = VirtualPort(rig())
    port.wait_bytes(None)
    port.wake_at(4 * NS)
    port.wake_at(3 * NS)
    for moment_ns in (3 * NS, 4 * NS):
        assert port.wait_bytes(deadline_ns) == b""
        assert port.now() == moment_ns
    assert port.wait_bytes(9 * NS) == b""
    assert port.now() == 9 * NS


def test_a_deadline_before_the_wake_comes_first() -> None:
    port = VirtualPort(rig())
    port.wait_bytes(None)
    port.wake_at(3 * NS)
    assert port.wait_bytes(2 * NS) == b""
    assert port.now() == 2 * NS
    assert port.wait_bytes(9 * NS) == b""
    assert port.now() == 3 * NS


def test_bytes_come_before_a_later_wake() -> None:
    port = VirtualPort(rig())
    port.wake_at(3 * NS)
    assert port.wait_bytes(None)
    assert port.now() < 3 * NS
    assert port.wait_bytes(None) == b""
    assert port.now() == 3 * NS


def test_a_wake_does_not_turn_time_back() -> None:
    port = VirtualPort(rig())
    port.wait_bytes(None)
    port.wait_bytes(5 * NS)
    port.wake_at(NS)
    assert port.wait_bytes(9 * NS) == b""
    assert port.now() == 5 * NS
    assert port.wait_bytes(9 * NS) == b""
    assert port.now() == 9 * NS


def test_an_answer_takes_the_time_of_both_frames() -> None:
    port = VirtualPort(rig())
    port.wait_bytes(None)
    port.wait_bytes(NS)
    request = frame(GetStatus(), 1)
    port.write(request)
    answer = port.wait_bytes(None)
    assert port.now() == NS + (len(request) + len(answer)) * BYTE_NS
    (heard,) = Deframer().feed(answer)
    status = decode_message(heard.kind, heard.payload)
    assert isinstance(status, Status)
    assert status.clock_ms == (NS + len(request) * BYTE_NS) // 1_000_000


def test_answers_come_in_the_order_of_the_questions_and_time_grows() -> None:
    port = VirtualPort(rig())
    port.wait_bytes(None)
    for seq in (1, 2, 3):
        port.write(frame(GetStatus(), seq))
    deframer = Deframer()
    seen: list[int] = []
    moments: list[int] = []
    while len(seen) < 3:
        seen += [heard.seq for heard in deframer.feed(port.wait_bytes(None))]
        moments.append(port.now())
    assert seen == [1, 2, 3]
    assert moments == sorted(set(moments))


def test_the_seed_settles_where_the_head_starts() -> None:
    assert rig(4).head.pose_deg(0) == rig(4).head.pose_deg(0) != rig(5).head.pose_deg(0)
    assert all(abs(angle) <= 2.0 for seed in range(50) for angle in rig(seed).head.pose_deg(0))
    assert len({rig(seed).head.pose_deg(0) for seed in range(50)}) > 45
