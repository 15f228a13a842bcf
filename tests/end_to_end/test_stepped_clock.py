"""Whole captures on a computer without a battery clock, whose time of day is set during the run or after a power cut."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from controller import clock
from controller.capture import clock_watch
from controller.commands import account
from controller.commands.account import report_command
from controller.commands.match import match_command
from controller.matching.match_words import match_sentences
from controller.matching.sorting import sidecar_of
from controller.matching.table import MatchVerdict
from controller.session.session import Session
from controller.system.clock_trust import ClockSigns
from protocol.units import NS
from tests.controller.session.keep import SPHERE, Journey, after, card_of, journey

RIGHT, WRONG = datetime.fromisoformat("2026-06-21T05:00:00+00:00"), datetime.fromisoformat("1970-01-01T00:00:30+00:00")
STEP_AFTER = 4  # exposures


class Board:
    """A small computer: its time of day is wrong until `set_at_s` of virtual time, and what its kernel says of that."""

    def __init__(self, world: Journey, monkeypatch: pytest.MonkeyPatch) -> None:
        self.world, self.set_at_s, self.boot, self.unset = world, float("inf"), "first", WRONG
        monkeypatch.setattr(clock, "monotonic_ns", world.port.now)
        monkeypatch.setattr(clock, "wall_time", self.wall_time)
        monkeypatch.setattr(clock_watch, "boot_name", lambda: self.boot)
        monkeypatch.setattr(ClockSigns, "here", classmethod(lambda kind: kind(self.is_set, False)))
        monkeypatch.setattr(account, "write_html", lambda *_: None)

    @property
    def is_set(self) -> bool:
        return self.world.port.now() / NS >= self.set_at_s

    def wall_time(self) -> str:
        since = timedelta(microseconds=self.world.port.now() // 1000)
        return ((RIGHT if self.is_set else self.unset) + since).isoformat(timespec="milliseconds")


@pytest.fixture
def board(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Board:
    return Board(journey(SPHERE, tmp_path), monkeypatch)


def confirmed_rows(world: Journey) -> list[dict[str, Any]]:
    """The rows of the confirmed exposures."""
    report_command(world.session_path, world.folder / "audit")
    rows: list[dict[str, Any]] = json.loads((world.folder / "audit" / "exposures.json").read_text(encoding="utf-8"))
    return [row for row in rows if row["outcome"] == "confirmed"]


def with_truth(rows: list[dict[str, Any]], now_ns: Callable[[dict[str, Any]], int]) -> list[dict[str, Any]]:
    """The same rows dated by a clock that is right: intended times are virtual, and so comparable."""
    return [row | {"opened_utc": (RIGHT + timedelta(microseconds=now_ns(row) / 1000)).isoformat()} for row in rows]


def test_a_clock_that_is_set_during_the_run_dates_all_of_it_and_the_card_is_matched(board: Board, tmp_path: Path) -> None:
    world = board.world

    def set_clock(journey: Journey) -> bool:
        if journey.exposed == STEP_AFTER:
            board.set_at_s = min(board.set_at_s, world.port.now() / NS)
        return False

    world.stroke = set_clock
    assert world.capture(tries=0)
    with Session.open(world.session_path) as session:
        trusts = [row.trust.value for row in session.clocks()]
        told = [row.words for row in session.sentences() if "clock was set forward" in row.words]
    assert trusts == ["wrong", "synchronised"]
    assert len(told) == 1
    rows = confirmed_rows(world)
    assert {row["clock"] for row in rows} == {"sure"}
    lag = timedelta(milliseconds=SPHERE.kit.exposure.focus_ms + SPHERE.kit.exposure.release_lag_ms)
    for row in rows:
        true = RIGHT + timedelta(microseconds=row["intended_ns"] / 1000) + lag
        assert abs(datetime.fromisoformat(row["opened_utc"]) - true) < timedelta(seconds=0.01)
    assert rows[0]["intended_ns"] < board.set_at_s * NS < rows[-1]["intended_ns"]
    card = tmp_path / "card"
    card.mkdir()
    card_of(rows, card)
    matched = match_command(world.session_path, card)
    assert {line.verdict for line in matched.lines} == {MatchVerdict.SURE}
    assert matched.clock.changes == ()
    assert matched.clock.ahead_s == pytest.approx(3.0, abs=0.3)
    assert not report_command(world.session_path, None).clock_unsure


@pytest.mark.parametrize("unset", [WRONG, RIGHT + timedelta(days=-30), RIGHT + timedelta(days=2)])
def test_two_runs_around_a_power_cut_of_unknown_length_are_matched(board: Board, tmp_path: Path, unset: datetime) -> None:
    """The first run knows no time of day; after the power cut a time server sets the clock."""
    world, board.unset = board.world, unset
    world.until_killed(after(9), lambda: world.capture(tries=0))
    world.let_pass(900)
    board.boot, board.set_at_s = "second", 0.0
    assert world.resume(tries=1)
    summary = report_command(world.session_path, tmp_path / "report")
    assert summary.clock_unsure
    rows = json.loads((tmp_path / "report" / "exposures.json").read_text(encoding="utf-8"))
    assert [row["clock"] for row in rows[:8]] == ["unsure"] * 8
    assert rows[-1]["clock"] == "sure"
    card = tmp_path / "card"
    card.mkdir()
    card_of(with_truth(rows, lambda row: int(row["intended_ns"])), card)
    matched = match_command(world.session_path, card)
    by_file = {line.file: line for line in matched.lines}
    for row in rows:
        if row["outcome"] == "confirmed":
            line = by_file[f"FULL{row['number']:04}.JPG"]
            assert (line.frame, line.exposure) == (row["frame"], row["exposure"])
    assert matched.clock.changes == ()  # it was not the camera's clock that changed
    assert matched.clock.ahead_s is None
    assert matched.other_run is None
    assert any("session's own clock was unsure" in sentence for sentence in match_sentences(matched))
    line = next(line for line in matched.lines if line.frame is not None)
    assert "CreateDate" not in sidecar_of(line, matched)


def test_a_time_of_day_that_nothing_ever_set_is_marked(board: Board) -> None:
    world = board.world
    board.unset = RIGHT  # as from a file that keeps the time over a shutdown
    assert world.capture(tries=0)
    assert report_command(world.session_path, None).clock_unsure
    with Session.open(world.session_path) as session:
        assert [row.trust.value for row in session.clocks()] == ["unsure"]
