"""The delays of the camera and of the serial line."""

from __future__ import annotations

from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.camera import CameraSpec, Label, SimulatedCamera
from sim.wire import Wire

MS = 1_000_000
SPEC = CameraSpec((0.01, 0.04), release_lag_ms=60.0, ready_ms=250.0)


def test_opens_a_little_after_the_release_and_for_its_time() -> None:
    camera = SimulatedCamera(SPEC, Random(3))
    assert camera.next_deadline() is None
    camera.release(1000 * MS, Label(7, 2))
    opening = camera.opening
    assert opening is not None
    assert opening.label == Label(7, 2)
    assert abs(opening.open_ns - 1060 * MS) <= SPEC.lag_scatter_ms * MS
    assert opening.close_ns - opening.open_ns == 10 * MS
    assert camera.next_deadline() == opening.close_ns
    assert camera.close() == opening
    assert camera.next_deadline() is None


def test_takes_its_bracket_in_turn() -> None:
    camera = SimulatedCamera(SPEC, Random(3))
    times = []
    for number in range(5):
        camera.release(number * 1000 * MS, Label(0, 0))
        times.append(camera.close().shutter_s)
    assert times == [0.01, 0.04, 0.01, 0.04, 0.01]


def test_ignores_a_release_while_busy() -> None:
    camera = SimulatedCamera(SPEC, Random(3))
    camera.release(0, Label(0, 0))
    opening = camera.close()
    ready_ns = opening.close_ns + 250 * MS
    camera.release(ready_ns - 1, Label(0, 1))
    assert (camera.opening, camera.ignored.total()) == (None, 1)
    camera.release(ready_ns, Label(0, 1))
    again = camera.close()
    assert again.label == Label(0, 1)
    assert again.shutter_s == 0.04  # the ignored release did not advance the bracket


@given(st.integers(0, 1000), st.floats(0, 500))
def test_the_lag_scatters_but_never_opens_early(seed: int, lag_ms: float) -> None:
    camera = SimulatedCamera(CameraSpec((0.001,), lag_ms, 0.0), Random(seed))
    camera.release(0, Label(0, 0))
    opening = camera.close()
    assert opening.open_ns >= 0
    assert abs(opening.open_ns / MS - lag_ms) <= 2.0 + 1e-6


def test_the_same_seed_scatters_the_same() -> None:
    openings = []
    for seed in (1, 1, 2):
        camera = SimulatedCamera(SPEC, Random(seed))
        camera.release(0, Label(0, 0))
        openings.append(camera.close().open_ns)
    assert openings[0] == openings[1] != openings[2]


# 8N1 is ten bit times a byte (arithmetic).
@pytest.mark.parametrize(
    ("baud", "byte_us"), [(9600, 1041.667), (57600, 173.611), (115200, 86.806), (250000, 40.0), (1_000_000, 10.0)]
)
def test_a_byte_takes_ten_bit_times(baud: int, byte_us: float) -> None:
    wire = Wire(baud, Random(1))
    wire.send(0, b"x")
    arrival = wire.next_deadline()
    assert isinstance(arrival, int)
    assert arrival / 1000 == pytest.approx(byte_us, abs=0.001)
    assert wire.arrived(arrival - 1) == b""
    assert wire.arrived(arrival) == b"x"
    assert wire.next_deadline() is None


def test_twenty_bytes_at_the_usual_speed() -> None:
    wire = Wire(115200, Random(1))
    wire.send(0, bytes(20))
    assert wire.next_deadline() == pytest.approx(1_736_000, abs=200)  # 1.736 ms (arithmetic)


def test_what_is_sent_while_busy_waits_its_turn() -> None:
    wire = Wire(1_000_000, Random(1))
    wire.send(0, b"abc")
    wire.send(5_000, b"de")
    wire.send(1_000_000, b"f")
    assert wire.arrived(30_000) == b"abc"
    assert wire.next_deadline() == 50_000
    assert wire.arrived(1_010_000) == b"def"


@given(st.lists(st.tuples(st.integers(0, 10**6), st.binary(min_size=1, max_size=9)), max_size=20))
def test_nothing_is_lost_or_reordered(writes: list[tuple[int, bytes]]) -> None:
    wire, now_ns, got = Wire(115200, Random(1)), 0, b""
    for wait_ns, data in writes:
        now_ns += wait_ns
        got += wire.arrived(now_ns)
        wire.send(now_ns, data)
    while (due := wire.next_deadline()) is not None:
        assert due > 0
        got += wire.arrived(due)
    assert got == b"".join(data for _, data in writes)
