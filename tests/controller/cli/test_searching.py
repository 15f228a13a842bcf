"""A search as its user sees it: progress, and Ctrl-C."""

from __future__ import annotations

import io
import json
import signal

import pytest
from rich.console import Console

from controller.cli import searching as seen
from controller.planning.effort import Sign
from controller.planning.plan_file import load_plan
from tests.controller.commands.shell import Shell

SEARCH = ("plan", "kit.toml", "--out", "plan.json", "--arrangement", "fewest", "--effort", "100000")


def test_plain_lines_come_every_few_seconds_and_with_a_better_plan() -> None:
    shown = io.StringIO()
    tell = seen.plain_lines(Console(file=shown, width=200))
    for half in range(41):
        tell(Sign(half / 2, 20.0, 12 if half < 7 else 11, 10))
    told = [line.split(";")[0].removeprefix("Searching: ") for line in shown.getvalue().splitlines()]
    assert told == ["0 of 20 s", "4 of 20 s", "8 of 20 s", "14 of 20 s", "18 of 20 s"]
    assert "best so far 12 frames, trying 10" in shown.getvalue()


def test_a_terminal_rewrites_one_line_and_a_dumb_one_does_not(monkeypatch: pytest.MonkeyPatch) -> None:
    sign = Sign(1.0, 20.0, 12, 11)
    for term, lines in (("xterm", 0), ("dumb", 1)):
        monkeypatch.setenv("TERM", term)
        shown = io.StringIO()
        with seen.searching(20.0, Console(file=shown, force_terminal=True, width=100)) as effort:
            effort._tell(sign)
            assert "12 frames" in shown.getvalue()
            assert shown.getvalue().count("\n") == lines


@pytest.mark.parametrize("as_json", [False, True])
def test_the_first_interrupt_keeps_the_best_so_far(shell: Shell, monkeypatch: pytest.MonkeyPatch, as_json: bool) -> None:
    def interrupted(sign: Sign) -> str:
        if sign.best < 14:  # fewer than the rows have
            signal.raise_signal(signal.SIGINT)
        return f"{sign.best} frames"

    before = signal.getsignal(signal.SIGINT)
    monkeypatch.setattr(seen, "sign_text", interrupted)
    told = shell(*SEARCH, *(["--json"] if as_json else []))
    plan = load_plan(shell.folder / "plan.json")
    assert told.status == 0
    assert plan.proof.covered
    last = told.err.splitlines()[-1]
    assert last.startswith("The search was stopped after ")
    assert last.endswith(f"; the best plan so far has {len(plan.frames)} frames.")
    if as_json:
        assert json.loads(told.out)["budget"]["frames"] == len(plan.frames)
    assert signal.getsignal(signal.SIGINT) is before


def test_the_second_interrupt_ends_the_program(shell: Shell, monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupted_twice(_: Sign) -> str:
        signal.raise_signal(signal.SIGINT)
        signal.raise_signal(signal.SIGINT)
        raise AssertionError("not reached")

    before = signal.getsignal(signal.SIGINT)
    monkeypatch.setattr(seen, "sign_text", interrupted_twice)
    assert shell(*SEARCH).status != 0
    assert shell.files() == {"kit.toml"}
    assert signal.getsignal(signal.SIGINT) is before
