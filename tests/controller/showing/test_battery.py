"""Pauses planned for a battery: a whole run makes them, says what was used, and windows show the next one."""

from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from unittest import mock

import pytest

from controller.capture.planned_pauses import PauseRule
from controller.commands.capture import capture_command
from controller.lock import lock_of, sole_use
from controller.session.conversation import Conversation
from controller.session.rows import RequestRow
from controller.session.session import Session
from controller.session.talk_rows import PulseRow, SentenceKind
from controller.showing.shown_run import shown_run
from protocol.units import NS
from tests.controller.showing.test_shown_run import UTC_0, session_of
from tests.end_to_end.attended import Attended
from tests.end_to_end.test_people import CALM, PLAN

EVERY_S = 15.0


@pytest.mark.parametrize("rule", [PauseRule(every_s=EVERY_S), PauseRule(every_wh=EVERY_S / 3600 * PLAN.kit.power.watts)])
def test_a_run_pauses_for_the_battery_again_and_again(tmp_path: Path, rule: PauseRule) -> None:
    world = Attended(PLAN, tmp_path, 3, replace(CALM, comes_share=0.0))
    pulses: list[PulseRow] = []
    take, beat = Conversation.take_request, Conversation.beat

    def go_on(session: Conversation) -> RequestRow | None:
        assert isinstance(session, Session)
        if session.state() == "paused":
            session.request(RequestRow("go-on"))
        return take(session)

    def note(session: Conversation, pulse: PulseRow) -> None:
        pulses.append(pulse)
        beat(session, pulse)

    with mock.patch.object(Conversation, "take_request", go_on), mock.patch.object(Conversation, "beat", note):
        crew = replace(world.crew(), pauses=rule)
        made = capture_command(world.plan_path, world.url, world.session_path, crew, open_port=world.open_port)
    assert made.summary.complete
    with Session.open(world.session_path) as session:
        told = [row for row in session.sentences() if row.words.startswith("Planned pause after ")]
    assert len(told) >= 2
    assert all(later.at_ns - earlier.at_ns >= EVERY_S * NS for earlier, later in pairwise(told))
    used = [pulse.battery_s for pulse in pulses if pulse.battery_s is not None]
    assert len(used) == len(pulses)
    assert sum(later < earlier for earlier, later in pairwise(used)) == len(told)


def test_a_window_shows_the_next_planned_pause(tmp_path: Path) -> None:
    path = tmp_path / "s.sqlite"
    row = PulseRow(1, UTC_0, 7, 1, 2, 3, None, 4, 5, 6, None, 1, 1, 80.0, 0.5, None, 60.0, 120.0)
    with session_of(path, PLAN) as session, sole_use(lock_of(path), "it", "a test"):
        session.beat(row)
        shown = shown_run(session, PLAN)
        assert (shown.battery_s, shown.pause) == (60.0, "none requested")  # before the run nothing pauses
        session.beat(replace(row, battery_s=None, pause_in_s=None))
        assert shown_run(session, PLAN).battery_s is None


def test_a_warning_and_the_end_ring_at_the_runs_own_terminal(tmp_path: Path) -> None:
    """A question and an announcement ring anyway: there is one of each here, and the rest are warnings and the end."""
    world = Attended(PLAN, tmp_path, 3, replace(CALM, comes_share=0.0))
    rings: list[int] = []
    crew = world.crew()
    crew = replace(crew, people=replace(crew.people, ring=lambda: rings.append(world.port.now())))
    capture_command(world.plan_path, world.url, world.session_path, crew, open_port=world.open_port)
    with Session.open(world.session_path) as session:
        told, ended_ns = session.sentences(), session.happenings()[-1].at_ns
    calls = [row.at_ns for row in told if row.kind in {SentenceKind.ASKED, SentenceKind.WARNING}]
    calls += [row.at_ns for row in told if row.kind is SentenceKind.ANNOUNCED and row.lasts_ns]
    assert len(rings) == len(calls) + 1
    assert rings[-1] >= ended_ns
