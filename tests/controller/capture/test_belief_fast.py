"""A simulated rig that runs faster than the host is believed, however late a busy computer hears it."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from controller.capture.belief import CommandOutcome
from protocol.messages import Outcome
from protocol.units import MS
from tests.controller.capture.test_belief import NOW, move_to, ramps_ns
from tests.controller.capture.test_belief_lies import DISARMED, believed


@given(
    st.floats(4, 20),
    st.lists(st.integers(0, 400), min_size=2, max_size=12),
    st.integers(0, 2000),
)
def test_a_fast_board_is_believed_by_a_busy_computer(rate: float, late_ms: list[int], end_late_ms: int) -> None:
    """Each status of a simulated rig is heard late by so much, and the end of a move as well."""
    goal, found, sent_ns = (50_000, 5), believed(), NOW
    least_ms = ramps_ns((4, 5), goal) // MS
    for late in late_ms:
        sent_ns += 500 * MS
        found.ask(armed=False, stopped=False)
        clock_ms = 1000 + round((sent_ns - NOW) / MS * rate)
        assert found.status(replace(DISARMED, clock_ms=clock_ms), sent_ns + late * MS) is None
    sent_ns += 500 * MS
    found.send(move_to(goal), sent_ns)
    ended_ns = sent_ns + round(least_ms * MS / rate) + MS
    clock_ms = 1000 + round((ended_ns - NOW) / MS * rate)
    assert found.end(CommandOutcome(Outcome.ARRIVED, goal, clock_ms, ended_ns + end_late_ms * MS)) is None
