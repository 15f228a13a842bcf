"""The limits of the camera: buffer, card, battery, misfires, noise reduction."""

from __future__ import annotations

from random import Random

from protocol.units import NS
from sim.camera import CameraSpec, Ignored, Label, SimulatedCamera

LABEL = Label(0, 0)
MS = 1_000_000


def camera(**built: float) -> SimulatedCamera:
    spec = CameraSpec((0.5,), release_lag_ms=50.0, ready_ms=100.0, lag_scatter_ms=0.0, **built)  # type: ignore[arg-type]
    return SimulatedCamera(spec, Random(1))


def shoot(camera: SimulatedCamera, now_ns: int) -> int | None:
    """Release. Returns when the shutter is closed again, None if it never opened."""
    opening = camera.release(now_ns, LABEL)
    return None if opening is None else camera.close().close_ns


def test_it_opens_after_its_lag_and_is_busy_until_it_is_ready() -> None:
    plain = camera()
    assert shoot(plain, 0) == 550 * MS
    assert shoot(plain, 649 * MS) is None
    assert shoot(plain, 650 * MS) is not None
    assert plain.ignored == {Ignored.BUSY: 1}


def test_a_card_and_a_battery_end() -> None:
    for built, why in (({"card_exposures": 2}, Ignored.CARD_FULL), ({"battery_exposures": 2}, Ignored.BATTERY_FLAT)):
        ending = camera(**built)
        assert [shoot(ending, second * NS) is None for second in range(4)] == [False, False, True, True]
        assert ending.ignored == {why: 2}


def test_noise_reduction_takes_as_long_again() -> None:
    for least, ready_ms in ((0.5, 550 + 500 + 100), (0.6, 550 + 100)):
        slow = camera(noise_reduction_s=least)
        shoot(slow, 0)
        assert shoot(slow, ready_ms * MS - 1) is None
        assert shoot(slow, ready_ms * MS) is not None


def test_at_b_the_shutter_is_open_for_as_long_as_the_release_is_pressed() -> None:
    at_b = camera(bulb=True, noise_reduction_s=1.0)
    opening = at_b.release(0, LABEL, 2 * NS)
    assert opening is not None
    assert (opening.open_ns, opening.close_ns, opening.shutter_s) == (50 * MS, 2050 * MS, 2.0)
    at_b.close()
    assert at_b.release(4149 * MS, LABEL, NS) is None  # busy with a dark frame of two seconds, and 100 ms
    assert at_b.release(4150 * MS, LABEL, NS) is not None


def test_its_own_timer_ends_somewhere() -> None:
    timed = camera(longest_timed_s=0.4)
    assert shoot(timed, 0) is None
    assert timed.ignored == {Ignored.TOO_LONG: 1}
    for able in (camera(longest_timed_s=0.5), camera(longest_timed_s=0.4, bulb=True)):
        assert able.release(0, LABEL, NS) is not None


def test_a_full_buffer_waits_for_the_card() -> None:
    """Two fit, each takes two seconds to write: the third has to wait until the first is on the card."""
    buffered = camera(buffer_exposures=2, write_ms=2000.0)
    assert shoot(buffered, 0) == 550 * MS
    assert shoot(buffered, NS) == 1550 * MS  # the first is written by 2.55 s, the second by 4.55 s
    assert shoot(buffered, 2549 * MS) is None
    assert shoot(buffered, 2550 * MS) is not None


def test_misfires_come_as_often_as_they_are_said_to() -> None:
    whimsical = camera(misfire_share=0.2)
    missed = sum(shoot(whimsical, second * NS) is None for second in range(2000))
    assert 330 < missed < 470
    assert whimsical.ignored[Ignored.MISFIRE] == missed
    told = camera()
    told.misfires = 2
    assert [shoot(told, second * NS) is None for second in range(3)] == [True, True, False]


def test_a_deaf_camera_hears_nothing() -> None:
    deaf = camera()
    deaf.silent = True
    assert shoot(deaf, 0) is None
    deaf.silent = False
    assert shoot(deaf, 0) is not None
