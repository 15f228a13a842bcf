"""The display of a run: the screen's lines, the sphere, plain lines and the log."""

from __future__ import annotations

import io
import json
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path

import pytest

from controller.amounts import duration
from controller.capture.events import EventKind
from controller.capture.seen import Seen
from controller.display import SPHERE_COLUMNS, SPHERE_LINES, Display, display, screen_text, sphere_lines
from controller.errors import StorageFailed
from controller.planning.plan import Frame
from controller.program.build import build_program
from controller.session.rows import Happening
from protocol.statistics import LinkStatistics
from tests.end_to_end.whole_runs import few_frames, kit_of, run, world_of

PROGRAM = build_program(kit_of(exposure={"bracket_ev": [0, 1]}), few_frames())
NS = 1_000_000_000


class Watched:
    """A run without a requested pause."""

    line = LinkStatistics(5, 1, 4, 0, 2)
    pause: EventKind | None = None
    shaped = True


def test_the_lines_say_where_it_is_and_when_it_ends() -> None:
    seen = Seen(PROGRAM, 0, made_before=2, total=8)
    seen.take(Happening(NS, "exposing", "waited", 2))
    seen.exposed()
    seen.exposed()
    text = "\n".join(screen_text(seen, Watched(), 61 * NS, datetime(2026, 1, 1, 5, 0, tzinfo=UTC)))
    assert "frame 2 (1 of 4 begun), exposing" in text
    assert "4 of 10 exposures; 1:01 done" in text
    assert "5 frames sent, 1 repeated, 2 damaged" in text
    left_s = PROGRAM.expected_ns / NS * 0.75
    assert f"ends about 05:00:{int(left_s):02}" in text
    plain = Watched()
    plain.shaped = False
    (ends,) = [
        line for line in screen_text(seen, plain, 61 * NS, datetime(2026, 1, 1, 5, 0, tzinfo=UTC)) if "left" in line
    ]
    left_s = PROGRAM.plain_expected_ns / NS * 0.75
    assert left_s > PROGRAM.expected_ns / NS * 0.75 + 1
    assert f"{duration(left_s)} left" in ends
    seen.take(Happening(2 * NS, "suspended", "restarted", 2))
    assert "The board has restarted" in screen_text(seen, Watched(), 61 * NS, datetime.now(UTC))[-1]


def test_the_sphere_fills_up() -> None:
    frames = [
        Frame(id=0, row=0, yaw_deg=0.0, pitch_deg=90.0),
        Frame(id=1, row=1, yaw_deg=-90.0, pitch_deg=0.0),
        Frame(id=2, row=1, yaw_deg=180.0, pitch_deg=0.0),
        Frame(id=3, row=2, yaw_deg=0.0, pitch_deg=-90.0),
    ]
    lines = sphere_lines(frames, {0: 2, 1: 1}, 2, 3)
    assert {len(line) for line in lines} == {SPHERE_COLUMNS}
    assert (lines[0][0], lines[-1][0]) == ("█", "◆")
    middle = lines[len(lines) // 2]
    assert (middle[SPHERE_COLUMNS // 2], middle[SPHERE_COLUMNS * 3 // 4]) == ("·", "▒")


def test_a_pose_is_full_after_its_last_pass() -> None:
    first = Frame(id=0, row=0, yaw_deg=0.0, pitch_deg=0.0)
    frames = [first, first.model_copy(update={"id": 1, "repeats": 0, "pass_number": 2})]
    marks = [
        sphere_lines(frames, made, 2, at)[SPHERE_LINES // 2][0]
        for made, at in [({}, None), ({0: 2}, None), ({0: 2, 1: 1}, None), ({0: 2, 1: 2}, None), ({0: 2}, 1), ({}, 0)]
    ]
    assert "".join(marks) == "·▒▒█◆◆"
    seen = Seen(build_program(kit_of(), frames), 0, 0, 2)
    seen.take(Happening(NS, "moving", "armed", 1))
    assert screen_text(seen, Watched(), 61 * NS, datetime.now(UTC))[0].startswith("frame 1 of pass 2 (0 of 2 begun), ")


def test_plain_lines_and_the_log_of_a_whole_run(tmp_path: Path) -> None:
    kit = kit_of(exposure={"bracket_ev": [0, 1]})
    world, said, log = world_of(kit), io.StringIO(), io.StringIO()
    seen = Seen(world.program, 0, 0, len(world.program.exposures))
    shown = Display(seen, lambda line: print(line, file=said), None, log)
    run(world, tmp_path, on_exposure=shown.exposed)
    assert said.getvalue().splitlines()[-1] == "Capturing, exposures: 8 of 8"
    rows = [json.loads(line) for line in log.getvalue().splitlines()]
    assert [row["made"] for row in rows] == list(range(1, 9))


def test_a_warning_is_a_line(tmp_path: Path) -> None:
    said = io.StringIO()
    shown = Display(Seen(PROGRAM, 0, 0, 8), lambda line: print(line, file=said))
    shown.change(Happening(NS, "suspended", "restarted", 1))
    shown.change(Happening(NS, "moving", "armed", 1))
    assert said.getvalue() == "The board has restarted. The run is suspended; zero must be found again.\n"
    with pytest.raises(StorageFailed, match="cannot be written"), display(PROGRAM, 0, set(), tmp_path / "no" / "log"):
        pass


def test_what_is_known_of_a_lost_line_is_said_once_for_each_time_it_is_lost() -> None:
    said: list[str] = []
    shown = Display(Seen(PROGRAM, 0, 0, 8), said.append)
    for _ in range(3):
        shown.warn("Not a byte comes.")
    shown.exposed()
    shown.warn("Not a byte comes.")
    assert [line for line in said if line == "Not a byte comes."] == ["Not a byte comes."] * 2


@pytest.mark.parametrize(("state", "longest_s"), [("moving", 10), ("settling", 10), ("paused", 60), ("windy", 60)])
def test_without_a_screen_nothing_is_silent_for_long(state: str, longest_s: int) -> None:
    """Ticks of a quarter of a second, with states of any length. While waiting for a person or the wind, one line a
    minute is enough.
    """
    spoken, said = list[int](), list[str]()
    shown = Display(Seen(PROGRAM, 0, 2, 8), said.append)
    shown.watch(Watched())
    shown.change(Happening(NS, state, "armed", 3))
    for tick in range(4, 4 * 600):
        before = len(said)
        shown.tick(tick * NS // 4)
        spoken += [tick * NS // 4] * (len(said) - before)
    gaps = [after - before for before, after in pairwise(spoken)]
    assert len(gaps) >= 8
    assert max(gaps) <= (longest_s + 1) * NS
    assert min(gaps) >= longest_s * NS  # and not too many


def test_a_line_of_a_quiet_run_says_where_it_is() -> None:
    said: list[str] = []
    shown = Display(Seen(PROGRAM, 0, 2, 8), said.append)
    shown.watch(Watched())
    shown.change(Happening(NS, "moving", "armed", 3))
    for second in range(30):
        shown.tick(second * NS + 1)
    assert said[0] == "frame 3, turning; 2 of 10 exposures"
