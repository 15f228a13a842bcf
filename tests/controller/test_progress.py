"""Progress where no bar can be drawn: plain lines, without long silences while pieces are completed."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.console import Console

from controller import clock, progress
from protocol.units import NS


@pytest.mark.parametrize(
    ("terminal", "kind", "redraws"),
    [(True, "xterm-256color", True), (True, "dumb", False), (True, "unknown", False), (False, "xterm-256color", False)],
)
def test_only_a_terminal_that_can_move_its_cursor_is_drawn_on(terminal: bool, kind: str, redraws: bool) -> None:
    console = Console(force_terminal=terminal, _environ={"TERM": kind})
    assert progress.can_redraw(console) is redraws


@pytest.mark.parametrize("variables", [{"TERM": "dumb"}, {"NO_COLOR": "1"}])
def test_lines_instead_of_a_bar(
    variables: dict[str, str], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.setenv("FORCE_COLOR", "1")  # rich then treats anything as a terminal
    for name, value in variables.items():
        monkeypatch.setenv(name, value)
    with progress.progress("Rendering, pictures") as begin:
        advance = begin(3)
        for _ in range(3):
            advance()
    assert capsys.readouterr().err.splitlines() == [f"Rendering, pictures: {n} of 3" for n in range(4)]


@given(pieces=st.lists(st.floats(0.01, 20), min_size=1, max_size=60))
def test_a_piece_done_after_a_silence_is_told_of(pieces: list[float]) -> None:
    """For any duration of the pieces, the time between two lines exceeds QUIET_NS by at most the next piece."""
    now_ns, told = 0, list[tuple[int, str]]()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(clock, "monotonic_ns", lambda: now_ns)
        patch.setattr(Console, "print", lambda _, text, **__: told.append((now_ns, text)))
        patch.setenv("TERM", "dumb")
        with progress.progress("Work") as begin:
            advance = begin(len(pieces))
            for seconds in pieces:
                now_ns += round(seconds * NS)
                advance()
    assert told[0][1] == f"Work: 0 of {len(pieces)}"
    assert told[-1][1] == f"Work: {len(pieces)} of {len(pieces)}"
    for (before, _), (after, _) in pairwise(told):
        assert after - before <= progress.QUIET_NS + max(pieces) * NS + len(pieces)
