"""An exposure on the core: when the contacts close and open, and what it says of the camera."""

from __future__ import annotations

from ctypes import CDLL

import pytest

from protocol.messages import Expose, Outcome
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
    """Let time pass; when each contact was closed, in ms from now."""
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


def test_a_quick_answer_between_two_milliseconds_is_seen(library: CDLL) -> None:
    """At 1/8000 s a contact is closed for five ticks."""
    core, talker = ready(library, None)
    talker.order(Expose(talker.next_id(), 0, 0, 0, 50, 100))
    core.run(10)
    core.set_input(SYNC, on=True)
    core.ticks(5)
    core.set_input(SYNC, on=False)
    assert talker.finish().outcome is Outcome.EXPOSED_SYNC
