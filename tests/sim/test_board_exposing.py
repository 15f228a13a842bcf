"""Expose: with a sync contact, without one, and with a camera that does not answer."""

from __future__ import annotations

import pytest

from protocol.messages import BoardState, Expose, Finished, Outcome, Stop
from protocol.units import MS
from tests.sim.bench import LAG_MS, SHUTTER_S, Bench

FOCUS_MS, PRESS_MS, LIMIT_MS = 80, 60, 700
OPEN_MS = LAG_MS + SHUTTER_S * 1000  # from the release to the closing of the shutter


def expose(bench: Bench, press_ms: int = PRESS_MS, limit_ms: int = LIMIT_MS) -> Finished:
    """Send an exposure and let it end."""
    bench.order(Expose(bench.next_id(), 3, 1, FOCUS_MS, press_ms, limit_ms))
    return bench.finish()


def ready(sync_contact: bool = True) -> Bench:
    bench = Bench(sync_contact=sync_contact)
    bench.make_ready()
    return bench


def took_ms(bench: Bench, began_ns: int, finished: Finished) -> float:
    return finished.clock_ms - began_ns / MS


def test_the_sync_contact_ends_the_wait() -> None:
    bench = ready()
    began_ns = bench.now_ns
    finished = expose(bench)
    assert finished.outcome is Outcome.EXPOSED_SYNC
    assert took_ms(bench, began_ns, finished) == pytest.approx(FOCUS_MS + OPEN_MS, abs=3.5)


def test_the_release_stays_closed_for_its_time_even_when_the_camera_is_quick() -> None:
    bench = ready()
    began_ns = bench.now_ns
    finished = expose(bench, press_ms=600)
    assert finished.outcome is Outcome.EXPOSED_SYNC
    assert took_ms(bench, began_ns, finished) == pytest.approx(FOCUS_MS + 600, abs=1.0)


def test_without_a_contact_exactly_the_whole_time_passes() -> None:
    bench = ready(sync_contact=False)
    began_ns = bench.now_ns
    finished = expose(bench)
    assert finished.outcome is Outcome.EXPOSED_BLIND
    assert took_ms(bench, began_ns, finished) == pytest.approx(FOCUS_MS + PRESS_MS + LIMIT_MS, abs=1.0)


def test_a_camera_that_ignores_the_release_is_not_confirmed() -> None:
    bench = ready()
    bench.camera.release = lambda *_: None  # type: ignore[method-assign]
    began_ns = bench.now_ns
    finished = expose(bench)
    assert finished.outcome is Outcome.NO_SYNC
    assert took_ms(bench, began_ns, finished) == pytest.approx(FOCUS_MS + PRESS_MS + LIMIT_MS, abs=1.0)


def test_a_camera_that_is_still_busy_is_not_confirmed() -> None:
    bench = ready()
    bench.order(Expose(bench.next_id(), 0, 0, 0, 10, 1000))
    bench.run_for(0.16)
    assert bench.of(Finished)[-1].outcome is Outcome.EXPOSED_SYNC
    bench.order(Expose(bench.next_id(), 0, 1, 0, 10, 100))
    bench.run_for(0.12)
    assert bench.of(Finished)[-1].outcome is Outcome.NO_SYNC
    assert bench.camera.ignored.total() == 1


def test_a_shutter_still_open_at_the_limit_is_not_confirmed() -> None:
    bench = ready()
    assert expose(bench, press_ms=10, limit_ms=60).outcome is Outcome.NO_SYNC


def test_the_shutter_opens_only_after_the_focus_time() -> None:
    bench = ready()
    bench.order(Expose(bench.next_id(), 3, 1, FOCUS_MS, PRESS_MS, LIMIT_MS))
    bench.run_for((FOCUS_MS - 1) / 1000)
    assert bench.camera.opening is None
    bench.run_for(0.002)
    opening = bench.camera.opening
    assert opening is not None
    assert (opening.label.frame, opening.label.exposure) == (3, 1)
    assert not bench.turns()


def test_a_stop_before_the_release_keeps_the_shutter_closed() -> None:
    bench = ready()
    bench.order(Expose(bench.next_id(), 0, 0, FOCUS_MS, PRESS_MS, LIMIT_MS))
    bench.run_for(FOCUS_MS / 2000)
    bench.order(Stop())
    bench.run_for(2.0)
    assert bench.camera.opening is None
    assert bench.of(Finished)[-1].outcome is Outcome.CUT_SHORT
    assert bench.status().state is BoardState.DISARMED


def test_a_contact_that_answers_after_the_stop_confirms_nothing() -> None:
    bench = ready()
    bench.order(Expose(bench.next_id(), 0, 0, FOCUS_MS, PRESS_MS, LIMIT_MS))
    bench.run_for((FOCUS_MS + 10) / 1000)
    assert bench.camera.opening is not None
    bench.order(Stop())
    bench.run_for(2.0)
    assert bench.camera.opening is None  # it closed at its own time
    assert [n.outcome for n in bench.of(Finished)][-1] is Outcome.CUT_SHORT


@pytest.mark.parametrize(
    ("closed_for_ns", "outcome"),
    [
        (25_000, Outcome.NO_SYNC),
        (50_000, Outcome.NO_SYNC),
        (100_000, Outcome.EXPOSED_SYNC),
        (125_000, Outcome.EXPOSED_SYNC),
    ],
)
def test_a_contact_must_be_closed_for_a_moment(closed_for_ns: int, outcome: Outcome) -> None:
    """SPEC, Expose: 50 us is a disturbance, 100 us and 1/8000 s are exposures."""
    bench = ready()
    bench.camera.release = lambda *_: None  # type: ignore[method-assign]
    bench.order(Expose(bench.next_id(), 3, 1, FOCUS_MS, PRESS_MS, LIMIT_MS))
    bench.run_for((FOCUS_MS + 20) / 1000)
    bench.board.sync_opened(bench.now_ns, closed_for_ns)
    assert bench.finish().outcome is outcome


def test_a_contact_that_closed_before_the_release_is_no_answer() -> None:
    bench = ready()
    bench.camera.release = lambda *_: None  # type: ignore[method-assign]
    bench.order(Expose(bench.next_id(), 3, 1, FOCUS_MS, PRESS_MS, LIMIT_MS))
    bench.run_for((FOCUS_MS + 20) / 1000)
    bench.board.sync_opened(bench.now_ns, 30 * MS)
    assert bench.finish().outcome is Outcome.NO_SYNC
