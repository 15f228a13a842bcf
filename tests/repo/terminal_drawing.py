"""The picture of the screen of a run, drawn by the program's own display from a run of the demo in virtual time."""

import tempfile
from datetime import datetime
from functools import cache
from html import escape
from pathlib import Path

from rich.console import Console
from rich.segment import Segment

from controller.capture.events import EventKind, Wanted
from controller.capture.runner import Runner
from controller.capture.seen import Seen
from controller.capture.states import RunState
from controller.display import screen_of, screen_text, sphere_lines
from controller.session.session import Session
from tests.end_to_end.whole_runs import World, world_of
from tests.repo.canvas import INK, NONE, PALETTE, PAPER, Picture, painted
from tests.repo.sphere_drawing import demo_plan

COLUMNS, LETTER, LINE, LEFT, TOP = 53, 8.6, 19.0, 14.0, 58.0
MONO = "ui-monospace,Menlo,Consolas,'DejaVu Sans Mono','Liberation Mono',monospace"
AT_EXPOSURE = 48
TIME_OF_DAY = datetime(2026, 6, 21, 7, 30)


@cache
def run_screen() -> tuple[tuple[Segment, ...], ...]:
    """The lines of the screen while the head turns, after so many exposures of the demo."""
    plan = demo_plan()
    world = world_of(plan.kit, plan.frames)
    return _shown_while_running(world)


def _shown_while_running(world: World) -> tuple[tuple[Segment, ...], ...]:
    program = world.program
    seen = Seen(program, world.port.now(), 0, len(program.exposures))
    lines: list[tuple[Segment, ...]] = []

    def operator() -> Wanted | None:
        """Look at the screen when the program would draw it, and stop the run then."""
        turning = seen.now is not None and seen.now.state == RunState.MOVING
        if not lines and seen.done >= AT_EXPOSURE and turning:
            lines.extend(_screen_lines(seen, runner, world.port.now()))
            return Wanted(EventKind.STOP)
        return None

    with (
        tempfile.TemporaryDirectory() as folder,
        Session.create(Path(folder) / "demo.sqlite", {"kind": "test"}, durable=False) as session,
    ):
        runner = Runner(program, world.port, session, operator, on_exposure=seen.exposed, on_change=seen.take)
        runner.run()
    return tuple(lines)


def _screen_lines(seen: Seen, runner: Runner, now_ns: int) -> list[tuple[Segment, ...]]:
    program = seen.program
    each = len(program.kit.exposure.bracket_ev)
    sphere = sphere_lines(program.frames, seen.made_of, each, None if seen.now is None else seen.now.frame)
    shown = screen_of(seen.share, screen_text(seen, runner, now_ns, TIME_OF_DAY), sphere)
    console = Console(width=COLUMNS, force_terminal=True, color_system="truecolor", legacy_windows=False)
    return [tuple(line) for line in console.render_lines(shown, pad=False)]


def terminal() -> Picture:
    """The screen in a terminal of 53 columns."""
    lines = run_screen()
    high = round(TOP + LINE * len(lines) + 4)
    words = " ".join("".join(segment.text for segment in line).strip() for line in lines[1:8])
    told = (
        f"A bar for the completed share. Below it: {words}. Below that, the sphere in rows of marks: full blocks for "
        "frames that are made, dots for those that are left, a diamond for the current one."
    )
    shown = Picture(PAPER, high, "The screen of a run in a terminal", told, palette=dict(PALETTE))
    shown.text(LEFT, 30, "fullturn capture, under way", "grey", "start")
    for number, line in enumerate(lines):
        column = 0
        for segment in line:
            if segment.text.strip():
                _write(shown, LEFT + LETTER * column, TOP + LINE * number, segment)
            column += len(segment.text)
    return shown


def _write(shown: Picture, x: float, y: float, segment: Segment) -> None:
    """A piece of a line, as wide as its letters in a terminal, whatever the font."""
    words = segment.text.rstrip()
    x += LETTER * (len(words) - len(words.lstrip()))
    words = words.lstrip()
    colour = INK
    if segment.style is not None and segment.style.color is not None:
        value = segment.style.color.get_truecolor().hex
        colour = f"rgb-{value[1:]}"
        shown.palette[colour] = (value, value)
    shown.parts.append(
        f'<text x="{x:.1f}" y="{y:.1f}" {painted(NONE, colour)} xml:space="preserve" font-size="14.2" '
        f'font-family="{MONO}" textLength="{LETTER * len(words):.1f}" lengthAdjust="spacingAndGlyphs">'
        f"{escape(words)}</text>"
    )
