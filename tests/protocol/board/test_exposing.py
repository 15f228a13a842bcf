"""An exposure on the core: when the contacts close and open, and what it reports about the camera."""

from __future__ import annotations

from ctypes import CDLL

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from protocol.messages import BoardState, Expose, Outcome
from tests.protocol.board.core import HALF_PRESS_OUT, RELEASE_OUT, SYNC, Core
from tests.protocol.board.talker import Talker

SYNC_FITTED = 15
NO_SYNC_FITTED = 14


def ready(library: CDLL, camera_ms: tuple[int, int] | None, fitted: int = SYNC_FITTED) -> tuple[Core, Talker]:
    core = Core(library, fitted=fitted, camera_ms=camera_ms)
    talker = Talker(core)
    talker.make_ready()
    return core, talker


def closed_ms(core: Core, milliseconds: int) -> dict[int, list[int]]:
    """Let time pass; the times at which each contact was closed, in ms from now."""
    times: dict[int, list[int]] = {HALF_PRESS_OUT: [], RELEASE_OUT: []}
    for at in range(milliseconds):
        for bit, when in times.items():
            if core.outputs & bit:
                when.append(at)
        core.run(1)
    return times


@pytest.mark.parametrize(("focus", "press"), [(0, 1), (0, 120), (1, 1), (300, 120)])
def test_contacts_keep_their_times(library: CDLL, focus: int, press: int) -> None:
    core, talker = ready(library, None)
    talker.order(Expose(talker.next_id(), 0, 0, focus, press, 100))
    times = closed_ms(core, focus + press + 50)
    assert len(times[RELEASE_OUT]) == press
    assert times[RELEASE_OUT][0] in (focus, focus + 1)
    assert times[HALF_PRESS_OUT] == list(range(times[RELEASE_OUT][-1] + 1))


@pytest.mark.parametrize(
    ("camera", "fitted", "outcome", "took_ms"),
    [
        ((50, 100), SYNC_FITTED, Outcome.EXPOSED_SYNC, 20 + 30 + 120),
        ((5, 10), SYNC_FITTED, Outcome.EXPOSED_SYNC, 20 + 30),
        ((5, 100), SYNC_FITTED, Outcome.EXPOSED_SYNC, 20 + 105),
        (None, SYNC_FITTED, Outcome.NO_SYNC, 20 + 30 + 400),
        ((50, 2000), SYNC_FITTED, Outcome.NO_SYNC, 20 + 30 + 400),
        (None, NO_SYNC_FITTED, Outcome.EXPOSED_BLIND, 20 + 30 + 400),
        ((50, 100), NO_SYNC_FITTED, Outcome.EXPOSED_BLIND, 20 + 30 + 400),
    ],
)
def test_what_it_says(library: CDLL, camera: tuple[int, int] | None, fitted: int, outcome: Outcome, took_ms: int) -> None:
    core, talker = ready(library, camera, fitted)
    begun = core.now_ms
    talker.order(Expose(talker.next_id(), 3, 1, 20, 30, 400))
    finished = talker.finish(look_ms=1)
    assert finished.outcome is outcome
    assert abs(finished.clock_ms - begun - took_ms) <= 2


def test_a_contact_that_was_closed_before_is_no_answer(library: CDLL) -> None:
    core, talker = ready(library, None)
    core.set_input(SYNC, on=True)
    talker.order(Expose(talker.next_id(), 0, 0, 0, 50, 100))
    core.run(100)
    core.set_input(SYNC, on=False)
    assert talker.finish().outcome is Outcome.NO_SYNC


@pytest.mark.parametrize("ticks", range(6))
def test_a_contact_must_be_closed_for_a_moment(library: CDLL, ticks: int) -> None:
    """The number of samples that find it closed: at most two of 50 us, at least four of 1/8000 s = 125 us, at any
    phase.
    """
    core, talker = ready(library, None)
    talker.order(Expose(talker.next_id(), 0, 0, 0, 50, 100))
    core.run(10)
    core.set_input(SYNC, on=True)
    core.ticks(ticks)
    core.set_input(SYNC, on=False)
    assert talker.finish().outcome is (Outcome.EXPOSED_SYNC if ticks >= 3 else Outcome.NO_SYNC)


def sync_of(samples: list[bool]) -> Outcome:
    """The meaning of samples from the release on, by hand: three open ones in a row, then closed, then open again."""
    stable, run = None, 0
    changes = []
    for at, closed in enumerate(samples):
        run = run + 1 if at and samples[at - 1] == closed else 1
        if run == 3 and closed != stable:
            stable = closed
            changes.append(closed)
    while changes and changes[0]:
        del changes[0]
    return Outcome.EXPOSED_SYNC if len(changes) >= 3 and not changes[-1] else Outcome.NO_SYNC


@settings(suppress_health_check=(HealthCheck.function_scoped_fixture,), max_examples=200)
@given(runs=st.lists(st.integers(1, 6), min_size=1, max_size=12), closed=st.booleans())
def test_any_chatter_means_what_the_samples_say(library: CDLL, runs: list[int], closed: bool) -> None:
    core, talker = ready(library, None)
    core.set_input(SYNC, on=closed)
    talker.order(Expose(talker.next_id(), 0, 0, 0, 5, 0))
    core.run(1)
    while not core.outputs & RELEASE_OUT:
        core.run(1)
    samples: list[bool] = []
    for count in runs:
        core.set_input(SYNC, on=closed)
        core.ticks(count)
        samples += [closed] * count
        closed = not closed
    samples += [not closed] * (5 * 40)  # until the release opens, which ends the wait
    assert talker.finish(look_ms=20).outcome is sync_of(samples)


@pytest.mark.parametrize("seed", range(8))
def test_a_glitch_does_not_end_an_exposure_that_is_still_open(library: CDLL, seed: int) -> None:
    """One sample finds the contact open in between: the shutter is still open, and the head must not move yet."""
    core, talker = ready(library, None)
    talker.order(Expose(talker.next_id(), 0, 0, 0, 5, 3000))
    core.run(10)
    core.set_input(SYNC, on=True)
    core.run(300)
    for _ in range(60):
        core.ticks(seed)
        core.set_input(SYNC, on=False)
        core.ticks(seed % 3)
        core.run(0)
        assert core.state == BoardState.EXPOSING
        core.set_input(SYNC, on=True)
        core.run(1)
    core.set_input(SYNC, on=False)
    begun = core.now_ms
    assert talker.finish(look_ms=1).outcome is Outcome.EXPOSED_SYNC
    assert core.now_ms - begun < 5
