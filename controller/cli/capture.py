"""`fullturn capture`, `resume`, `tell`, `jog` and `report`: their options, and how results are printed."""

import os
import sys
from contextlib import AbstractContextManager
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from controller.cli.command import Command
from controller.cli.later import later
from controller.cli.numbers import bounded, bounded_whole
from controller.cli.option_types import CheckedText, OneOf, PortName, Text
from controller.cli.plan_options import PITCH, YAW
from controller.cli.shared_options import (
    FILE,
    OUTPUT,
    OUTPUT_FOLDER,
    PORT_HELP,
    countdown_option,
    json_option,
    offer_removal,
    port_option,
    show,
    unfinished_option,
    with_options,
)
from controller.system.chosen import keyboard, terminals
from controller.times import span_of, time_or_date

with later():
    from controller import clock, errors, own_names, places, typed
    from controller import display as screen
    from controller.capture import events, planned_pauses
    from controller.capture import jog as capture_jog
    from controller.cli import terminal
    from controller.commands import account
    from controller.commands import capture as capture_work
    from controller.commands import crew as crew_work
    from controller.commands import detach as detach_work
    from controller.commands import jog as jog_work
    from controller.commands import series as series_work
    from controller.commands import tell as tell_work
    from controller.commands import watch as watch_work
    from controller.planning import series as planned_series
    from controller.report import account_words

if TYPE_CHECKING:
    from controller.capture.jog import Keys
    from controller.capture.preflight import Check
    from controller.commands.crew import Crew
    from controller.display import Display
    from controller.program.program import Program
    from controller.report.summary import Summary

yes_option = click.option(
    "--yes", is_flag=True, help="Answer yes to every question, except those that need a person at the head."
)
RUN_OPTIONS = (
    yes_option,
    countdown_option,
    click.option("--ask-before-moving", is_flag=True,
                 help="After an interruption, move the head only after somebody has answered yes."),
    click.option("--detach", is_flag=True,
                 help="Run without this terminal, as a process of its own; return when it is under way."),
    click.option("--on-hang-up", type=OneOf(["go-on", "stop"]), default="go-on", show_default=True,
                 help="What a run does if its terminal is closed."),
    click.option("--skip-sweep", is_flag=True, help="Skip the slow test turn round the extremes."),
    click.option("--tether", is_flag=True,
                 help="Confirm each exposure by its file, over USB (needs the extra `tether`)."),
    click.option("--pause-every", type=CheckedText(span_of), metavar="TIME",
                 help="Pause for a fresh battery after this time: 45m, 2h."),
    click.option("--pause-every-wh", type=bounded("pause_every_wh"),
                 help="Pause for a fresh battery after this energy, watt-hours, estimated from the kit."),
    click.option("--log", type=OUTPUT,
                 help="Append events to this file, one JSON object a line."),
)  # fmt: skip
SERIES_OPTIONS = (
    click.option("--start-at", type=CheckedText(time_or_date), metavar="TIME",
                 help="Time to begin: 05:30, or 2026-06-21T05:30:00+02:00."),
    click.option("--start-when-sun", type=bounded("start_when_sun"), metavar="DEG",
                 help="Begin when the sun is this high, degrees; -6 for civil twilight. Needs the place."),
    click.option("--latitude", type=bounded("latitude"), help="Latitude of the head, degrees north."),
    click.option("--longitude", type=bounded("longitude"), help="Longitude of the head, degrees east."),
    click.option("--repeat", type=CheckedText(span_of), metavar="EVERY",
                 help="Repeat the set, with this time from start to start: 90s, 15m, 1h."),
    click.option("--times", type=bounded_whole("times"), help="Total number of sets, with --repeat."),
)  # fmt: skip


@click.command(cls=Command, short_help="Shoot the set of a PLAN with a real head.")
@click.argument("plan", type=FILE)
@port_option
@click.option("--out", type=OUTPUT, help="The session to write. Default: day, place and number, in this folder.")
@click.option("--place", type=Text(200), help="The place, as a part of the session's name.")
@click.option("--kit", type=FILE, help="The kit as it is now, with its calibration.")
@with_options(RUN_OPTIONS)
@with_options(SERIES_OPTIONS)
@json_option
def capture(
    plan: Path, port: str, out: Path | None, place: str | None, kit: Path | None, as_json: bool, **options: Any
) -> None:
    """Shoot the set of the PLAN with a real head. It moves by itself: read the cautions first.

    Ctrl-C pauses after the exposure, a second one stops with a ramp, a third one halts. None of these is, or
    replaces, an emergency stop, which must work without this program.
    """
    detached = detach_work.detached_name() if options["detach"] else None
    out = out or detached or own_names.session_path(Path(), clock.local_time().date(), place or "")
    if options["log"] is not None and os.path.realpath(options["log"]) == os.path.realpath(out):
        raise click.UsageError("--log and --out name the same file. Name another place for the log.")
    series = planned_series.series_of(out, **{name: options[name] for name in SERIES_NAMES})
    if options["detach"] and detached is None:
        _detach(out, series.sessions[0], as_json, new=True)
        return
    crew = _crew(options, as_json, detached=detached is not None)
    status = 0
    with terminal.lasting_terminal():
        for summary, session in series_work.capture_series(plan, port, series, crew, kit):
            _end(summary, as_json, f"The session is {session}; `fullturn report {session}` audits it", status=False)
            status = max(status, summary.exit_status)
    if status:
        raise SystemExit(status)


UNDER_WAY_ALONE = "The run is under way without this terminal."
SERIES_NAMES = ("start_at", "start_when_sun", "latitude", "longitude", "repeat", "times")


@click.command(cls=Command, short_help="Continue a SESSION: shoot what is missing.")
@click.argument("session", type=FILE)
@click.option("--port", type=PortName(), help=PORT_HELP + " Default: the port that the session began with.")
@with_options(RUN_OPTIONS)
@json_option
def resume(session: Path, port: str | None, as_json: bool, **options: Any) -> None:
    """Continue a SESSION: shoot the exposures that are missing, in doubt, or requested again."""
    detached = detach_work.detached_name() if options["detach"] else None
    if options["detach"] and detached is None:
        _detach(session, session, as_json, new=False)
        return
    with terminal.lasting_terminal():
        summary = capture_work.resume_command(session, port, _crew(options, as_json, detached=detached is not None))
        _end(summary, as_json, f"The session is {session}; `fullturn report {session}` audits it")


@click.command(cls=Command, short_help="Send the run of a SESSION a request: pause, go-on, retake, stop.")
@click.argument("session", type=FILE)
@click.argument("request", nargs=-1, type=Text(), required=True)
@json_option
def tell(session: Path, request: tuple[str, ...], as_json: bool) -> None:
    """Send a run a request from another terminal.

    REQUEST is yes or no (the answer to its question), pause (after the exposure), pause-after-row, go-on, stop (with a
    ramp), halt (at once), or retake 12,13 (reshoot these frames at the end). With match.json instead of numbers, retake
    reshoots the frames that `fullturn match` listed. A session without a run accepts retake, for the next `resume`.
    """
    sentence = tell_work.tell_command(session, list(request))
    show({"sentence": sentence} if as_json else sentence)


@click.command(cls=Command, short_help="Show the run of a SESSION, and speak to it.")
@click.argument("session", type=FILE)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON value a line, for each change.")
def watch(session: Path, as_json: bool) -> None:
    """Show the run of a SESSION in any terminal, as its own screen does.

    Requests and answers are typed here as there. The bell rings at a question, a fault and the end. Ctrl-C closes this
    window only; the run goes on. The exit status is that of `fullturn report`.
    """
    try:
        with terminal.watching(as_json=as_json) as view:
            watch_work.watch_command(session, view, typed.TypedLines())
    except KeyboardInterrupt:
        terminal.say(f"This window is closed; the run goes on. `fullturn watch {session}` shows it again.")
        return
    if not session.exists():
        raise errors.WorldError(f"{session}: the run ended before it began, so there is no session. Nothing was shot.")
    summary = account.report_command(session, None)
    if as_json:
        raise SystemExit(summary.exit_status)
    _end(summary, False, "")


@click.command(cls=Command, short_help="Move the head with keys, or to a pose.")
@click.argument("kit", type=FILE)
@port_option
@click.option("--to", type=(YAW, PITCH), metavar="YAW PITCH", help="Turn to this pose and end, degrees.")
@click.option("--zero-here", is_flag=True, help="Take the current position as zero, for a head without switches.")
@yes_option
@countdown_option
@json_option
def jog(
    kit: Path,
    port: str,
    to: tuple[float, float] | None,
    zero_here: bool,
    yes: bool,
    countdown: int,
    as_json: bool,
) -> None:
    """Move the head of the KIT slowly, for aiming and for setting zero. It finds zero first if that is not known."""
    place = jog_work.jog_command(
        kit, port, to, _keys(), terminal.people_here(yes=yes, countdown_s=countdown), zero_here=zero_here
    )
    show(asdict(place) if as_json else f"The head is at {place.text()}")


@click.command(cls=Command, short_help="Audit a SESSION: what was shot, and what is missing.")
@click.argument("session", type=FILE)
@click.option("--out", type=OUTPUT_FOLDER, help="A new folder for HTML, JSON and CSV.")
@click.option("--replace", is_flag=True, help="Replace an earlier report in that folder; no other file is replaced.")
@unfinished_option
@json_option
def report(session: Path, out: Path | None, replace: bool, yes: bool, as_json: bool) -> None:
    """Audit a SESSION: what was planned, and what is confirmed, assumed, suspect, retaken and missing.

    The exit status is 0 if nothing is missing, 1 if an exposure is, or while a run is using the session. A set that is
    only assumed, because no sync contact confirms it, is not called complete; its exit status is 0.
    """
    if out is not None:
        offer_removal(out, yes=yes)
    summary = account.report_command(session, out, replace=replace)
    _end(summary, as_json, f"The report is in {out / 'report.html'}" if out else "")


def _keys() -> "Keys | None":
    """Single keys of this terminal, or None without a terminal."""
    return capture_jog.Keys(keyboard.single, keyboard.key) if terminals.is_terminal(sys.stdin) else None


def _detach(name: Path, session: Path, as_json: bool, *, new: bool) -> None:
    """Begin the same command as a process of its own, and say how to look at it and speak to it."""
    begun = detach_work.detach(sys.argv[1:], name, session, new=new)
    if begun.status is not None:
        terminal.say(begun.err.rstrip("\n"))
        show(begun.out.rstrip("\n"))
        raise SystemExit(begun.status)
    if as_json:
        show({"session": str(session), "process": begun.process, "sentence": UNDER_WAY_ALONE})
        return
    for sentence in begun.sentences:
        terminal.say(sentence.words)
    show(
        f"{UNDER_WAY_ALONE} It is process {begun.process}.\n`fullturn watch {session}` shows it; "
        f"`fullturn tell {session}` and a request (yes, no, pause, go-on, stop) speaks to it."
    )


def _crew(options: dict[str, Any], as_json: bool, *, detached: bool) -> "Crew":
    def tell_check(check: "Check") -> None:
        if not as_json:
            terminal.say(check.text)

    def show_run(program: "Program", now_ns: int, made: set[tuple[int, int]]) -> AbstractContextManager["Display"]:
        return screen.display(program, now_ns, made, options["log"])

    if options["log"] is not None:
        places.must_be_free(options["log"], replace=True, ours=screen.is_own_log)
    yes = options["yes"]
    return crew_work.Crew(
        terminal.people_here(
            yes=yes,
            countdown_s=options["countdown"],
            ask_before_moving=options["ask_before_moving"],
            through_session=detached,
        ),
        tell_check,
        show_run,
        keys=None if yes else _keys(),
        sweep=not options["skip_sweep"],
        tether=options["tether"],
        pauses=planned_pauses.PauseRule(_seconds(options["pause_every"]), options["pause_every_wh"]),
        hang_up=events.EventKind.STOP if options["on_hang_up"] == "stop" else None,
    )


def _seconds(span: str | None) -> float | None:
    return None if span is None else span_of(span).total_seconds()


def _end(summary: "Summary", as_json: bool, more: str, *, status: bool = True) -> None:
    text = "\n".join(part for part in (account_words.account_text(summary), more) if part)
    show(summary.model_dump(mode="json") if as_json else text)
    if status and summary.exit_status:
        raise SystemExit(summary.exit_status)
