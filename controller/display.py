"""The display of a run: a screen on a terminal, plain lines elsewhere, and a log as data."""

import json
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import IO, Protocol

from rich.console import Console, Group
from rich.live import Live
from rich.padding import Padding
from rich.progress_bar import ProgressBar
from rich.text import Text

from controller import clock
from controller.amounts import duration
from controller.capture.people import Keep
from controller.capture.pulse import Watched
from controller.capture.seen import Seen, warning_of
from controller.capture.states import RunState
from controller.capture.words.run import PAUSED, PAUSED_NOW, PAUSES, STATES
from controller.files import open_to_append
from controller.program.program import Program
from controller.progress import can_redraw, worth_a_line
from controller.session.rows import Happening
from controller.session.talk_rows import SentenceKind
from protocol.units import NS

LONGEST_LINE = 10_000  # bytes of the log
REFRESH_NS = NS // 4
QUIET_NS = 10 * NS  # without a screen, a line says what is being done after this time
PATIENT_NS = 60 * NS  # the same while the run waits for a person or the wind
WAITING = {RunState.PAUSED, RunState.ASKING, RunState.WINDY}
SPHERE_LINES, SPHERE_COLUMNS = 9, 48


class Posed(Protocol):
    """A frame with its pose, degrees."""

    @property
    def id(self) -> int:
        """Its number in the plan."""

    @property
    def yaw_deg(self) -> float:
        """To the right."""

    @property
    def pitch_deg(self) -> float:
        """Upward."""


def sphere_lines(frames: Sequence[Posed], made_of: dict[int, int], each: int, at: int | None) -> list[str]:
    """The sphere unrolled, zenith at the top: a mark for each pose by how much of its brackets in all passes is made; ◆
    is the current frame.
    """
    grid = [[" "] * SPHERE_COLUMNS for _ in range(SPHERE_LINES)]
    poses: dict[tuple[float, float], list[int]] = {}
    for frame in frames:
        poses.setdefault((frame.yaw_deg, frame.pitch_deg), []).append(frame.id)
    for (yaw_deg, pitch_deg), passes in poses.items():
        line = min(SPHERE_LINES - 1, int((90 - pitch_deg) / 180 * SPHERE_LINES))
        column = int(yaw_deg % 360 / 360 * SPHERE_COLUMNS)
        made = [made_of.get(frame, 0) for frame in passes]
        mark = "█" if min(made) >= each else "▒" if any(made) else "·"
        if grid[line][column] != "◆":
            grid[line][column] = "◆" if at in passes else mark
    return ["".join(line) for line in grid]


@dataclass(frozen=True, slots=True)
class ScreenFigures:
    """What a screen says of a run below its bar, whether it is the run's own screen or a window elsewhere.

    `frame` is the current one, of `pass_number`; `begun` of `frames` have an exposure. `made` of `total` exposures.
    `hint` says what the keys do.
    """

    frame: int | None
    pass_number: int
    begun: int
    frames: int
    doing: str
    made: int
    total: int
    used_s: float
    left_s: float
    ends: datetime
    pause: str
    hint: str
    line: tuple[int, int, int]
    """Frames sent, repeated and damaged."""
    warning: str


OWN_KEYS = "Ctrl-C pauses, then stops, then halts; or type a request and Enter"


def screen_text(seen: Seen, run: Watched, now_ns: int, time_of_day: datetime) -> list[str]:
    """The lines below the bar of the run's own screen."""
    program, now, line = seen.program, seen.now, run.line
    at = None if now is None else now.frame
    left_s = seen.left_s(shaped=run.shaped)
    figures = ScreenFigures(
        frame=at,
        pass_number=next((frame.pass_number for frame in program.frames if frame.id == at), 1),
        begun=len([m for m in seen.made_of.values() if m]),
        frames=len(program.frames),
        doing=STATES[RunState.IDLE if now is None else RunState(now.state)].doing,
        made=seen.made_before + seen.done,
        total=seen.made_before + seen.total,
        used_s=(now_ns - seen.began_ns) / NS,
        left_s=left_s,
        ends=time_of_day + timedelta(seconds=left_s),
        pause=PAUSED_NOW if now is not None and now.state == RunState.PAUSED else PAUSES[run.pause],
        hint=OWN_KEYS,
        line=(line.sent, line.retransmitted, line.damaged),
        warning=seen.warning,
    )
    return screen_lines(figures)


def screen_lines(figures: ScreenFigures) -> list[str]:
    """The lines below the bar of a screen."""
    where = ""
    if figures.frame is not None:
        of_pass = f" of pass {figures.pass_number}" if figures.pass_number > 1 else ""
        where = f"frame {figures.frame}{of_pass} ({figures.begun} of {figures.frames} begun), "
    sent, repeated, damaged = figures.line
    return [
        f"{where}{figures.doing}",
        f"{figures.made} of {figures.total} exposures; {duration(figures.used_s)} done, {duration(figures.left_s)} left, "
        f"ends about {figures.ends:%H:%M:%S}",
        f"Next pause: {figures.pause}; {figures.hint}",
        f"Line: {sent} frames sent, {repeated} repeated, {damaged} damaged",
        f"Last warning: {figures.warning or 'none'}",
    ]


def screen_of(share: float, lines: Sequence[str], sphere: Sequence[str]) -> Group:
    """The screen of a run: a bar for the completed share, its lines, and the sphere."""
    bar = ProgressBar(total=1.0, completed=share, width=SPHERE_COLUMNS)
    return Group(Padding(bar, 0), *(Text(line) for line in lines), *(Text(line, no_wrap=True) for line in sphere))


class Display:
    """Shows one run. It is told each event, and when time passes. Warnings and pauses are also kept (see `watch`)."""

    def __init__(
        self, seen: Seen, say: Callable[[str], None], live: Live | None = None, log: IO[str] | None = None
    ) -> None:
        self.seen, self._say, self._live, self._log = seen, say, live, log
        self._run: Watched | None = None
        self._keep: Keep = lambda *_: None
        self._fresh_ns = self._told_ns = 0
        self._warned = ""  # since the last exposure

    def say(self, sentence: str) -> None:
        """Show a sentence."""
        self._told_ns = 0
        self._say(sentence)

    def watch(self, run: Watched, keep: Keep = lambda *_: None) -> None:
        """Set the run to display; `keep` stores what people are told of it."""
        self._run, self._keep = run, keep

    def _warned_of(self, sentence: str) -> None:
        """Tell people a warning. A screen has a line for it; elsewhere it is a line of its own."""
        if self._live is None:
            self.say(sentence)
        self._keep(SentenceKind.WARNING, sentence, None)

    def change(self, happening: Happening) -> None:
        """Show a change of state."""
        before = self.seen.warning
        self.seen.take(happening)
        warning = warning_of(happening)
        if warning and (warning != before or happening.state == RunState.SUSPENDED):
            self._warned_of(warning)
        if happening.state == RunState.PAUSED:
            self.say(PAUSED)
            self._keep(SentenceKind.SAID, PAUSED, None)
        self._write({"state": happening.state, "what": happening.what, "frame": happening.frame}, happening.at_ns)

    def warn(self, sentence: str) -> None:
        """Show a warning to the operator, once for each suspension."""
        if sentence != self._warned:
            self._warned_of(sentence)
        self._warned = self.seen.warning = sentence

    def exposed(self) -> None:
        """Count an exposure."""
        seen = self.seen
        self._warned = ""
        seen.exposed()
        self._write({"made": seen.made_before + seen.done}, None)
        if self._live is None and worth_a_line(seen.done, seen.total):
            self.say(f"Capturing, exposures: {seen.done} of {seen.total}")

    def tick(self, now_ns: int) -> None:
        """Update the display at this time."""
        if self._run is None or now_ns < self._fresh_ns:
            return
        if self._live is None:
            self._tell_by_line(now_ns)
            return
        self._fresh_ns = now_ns + REFRESH_NS
        seen = self.seen
        each = len(seen.program.kit.exposure.bracket_ev)
        at = seen.now.frame if seen.now is not None else None
        lines = screen_text(seen, self._run, now_ns, clock.local_time())
        sphere = sphere_lines(seen.program.frames, seen.made_of, each, at)
        self._live.update(screen_of(seen.share, lines, sphere))
        self._live.refresh()

    def _tell_by_line(self, now_ns: int) -> None:
        """Without a screen, print a line now and then, to show that the run is alive."""
        seen = self.seen
        now, quiet_ns = seen.now, now_ns - self._told_ns if self._told_ns else 0
        if now is not None and quiet_ns >= (PATIENT_NS if now.state in WAITING else QUIET_NS):
            at = f"frame {now.frame}, " if now.frame is not None else ""
            made, of = seen.made_before + seen.done, seen.made_before + seen.total
            self.say(f"{at}{STATES[RunState(now.state)].doing}; {made} of {of} exposures")
        self._told_ns = self._told_ns or now_ns
        self._fresh_ns = now_ns + REFRESH_NS

    def _write(self, row: dict[str, object], at_ns: int | None) -> None:
        if self._log is not None:
            at_s = None if at_ns is None else round((at_ns - self.seen.began_ns) / NS, 3)
            self._log.write(json.dumps({"at": clock.wall_time(), "at_s": at_s, **row}, allow_nan=False) + "\n")
            self._log.flush()


def is_own_log(path: Path) -> bool:
    """Whether a file is a log of runs: its first and last line are objects with a time."""
    try:
        with path.open("rb") as file:
            lines = [file.readline(LONGEST_LINE)]
            file.seek(max(0, path.stat().st_size - LONGEST_LINE))
            lines.append(file.read().rpartition(b"\n")[0].rpartition(b"\n")[2])
        rows = [json.loads(line) for line in lines]
    except (OSError, ValueError, RecursionError):
        return False
    return all(isinstance(row, dict) and "at" in row and "at_s" in row for row in rows)


@contextmanager
def display(program: Program, began_ns: int, made: set[tuple[int, int]], log: Path | None) -> Iterator[Display]:
    """A display for a run of `program` that continues from the exposures already `made`. Raises StorageFailed for the
    log.
    """
    made_of: dict[int, int] = {}
    for frame, _ in made:
        made_of[frame] = made_of.get(frame, 0) + 1
    seen = Seen(program, began_ns, len(made), len(program.exposures), made_of=made_of)
    console = Console(stderr=True)

    def say(sentence: str) -> None:
        console.print(sentence, highlight=False, soft_wrap=True)

    file = None if log is None else open_to_append(log, is_own_log)
    if file is not None:  # never empty, so that the next run recognises it as a log
        file.write(json.dumps({"at": clock.wall_time(), "at_s": None, "run": "begins"}, allow_nan=False) + "\n")
    try:
        if can_redraw(console):
            with Live(console=console, auto_refresh=False, transient=True) as live:
                yield Display(seen, say, live, file)
        else:
            yield Display(seen, say, None, file)
    finally:
        if file is not None:
            file.close()
