"""`fullturn capture`, `resume` and `report`: options only; the work is imported when it runs."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from controller.shared_options import FILE, PORT_HELP, confirmed, json_option, port_option, show
from protocol.units import NS

if TYPE_CHECKING:
    from controller.commands.capture import Check, Crew
    from controller.report.summary import Summary

SHOWN = 20  # numbers of missing frames in a sentence
yes_option = click.option("--yes", is_flag=True, help="Take every question as answered, for scripts.")
countdown_option = click.option(
    "--countdown", type=click.IntRange(0, 600), default=5, show_default=True, help="Seconds before the first motion."
)


@click.command()
@click.argument("plan", type=FILE)
@port_option
@click.option("--out", type=click.Path(dir_okay=False, path_type=Path), required=True, help="The session to write.")
@yes_option
@countdown_option
@json_option
def capture(plan: Path, port: str, out: Path, yes: bool, countdown: int, as_json: bool) -> None:
    """Make the set of the PLAN with a real head. It moves by itself: read the cautions first."""
    from controller.commands.capture import capture_command  # noqa: PLC0415

    with _crew(yes, countdown, as_json) as crew:
        summary = capture_command(plan, port, out, crew)
    _end(summary, as_json, f"The session is {out}; `fullturn report {out}` audits it")


@click.command(short_help="Go on with a SESSION: make what is missing.")
@click.argument("session", type=FILE)
@click.option("--port", help=PORT_HELP + " Without it, the one the session began with.")
@yes_option
@countdown_option
@json_option
def resume(session: Path, port: str | None, yes: bool, countdown: int, as_json: bool) -> None:
    """Go on with a SESSION: make the exposures that are neither confirmed nor assumed."""
    from controller.commands.capture import resume_command  # noqa: PLC0415

    with _crew(yes, countdown, as_json) as crew:
        summary = resume_command(session, port, crew)
    _end(summary, as_json, f"The session is {session}; `fullturn report {session}` audits it")


@click.command(short_help="Audit a SESSION: what is there, and what is missing.")
@click.argument("session", type=FILE)
@click.option("--out", type=click.Path(file_okay=False, path_type=Path), help="A folder for HTML, JSON and CSV.")
@json_option
def report(session: Path, out: Path | None, as_json: bool) -> None:
    """Audit a SESSION: what was planned, and what is confirmed, assumed, in doubt and missing."""
    from controller.commands.account import report_command  # noqa: PLC0415

    summary = report_command(session, out)
    _end(summary, as_json, f"The report is in {out / 'report.html'}" if out else "", status=False)


@contextmanager
def _crew(yes: bool, countdown: int, as_json: bool) -> Iterator["Crew"]:
    from controller import clock  # noqa: PLC0415
    from controller.commands.capture import Crew  # noqa: PLC0415
    from controller.progress import progress  # noqa: PLC0415

    def tell(check: "Check") -> None:
        if not as_json:
            click.echo(f"{'ok' if check.good else 'NO':3}{check.what}: {check.found}", err=True)

    def confirm(question: str) -> bool:
        return confirmed(question, yes=yes)

    def count_down() -> None:
        for left in range(countdown, 0, -1):
            click.echo(f"The head moves in {left} s. Ctrl-C stops it.", err=True)
            clock.wait_ns(NS)

    def hold(frame: int, yaw_deg: float, pitch_deg: float) -> bool:
        where = f"Frame {frame} is taken by hand: aim at yaw {yaw_deg:.1f}°, pitch {pitch_deg:.1f}° and hold still."
        return confirm(where + " Ready?")

    with progress("Capturing, exposures") as begin:
        yield Crew(tell, confirm, count_down, begin, hold)


def _end(summary: "Summary", as_json: bool, more: str, *, status: bool = True) -> None:
    from controller.report.wording import counted, made_words  # noqa: PLC0415

    text = f"{made_words(summary)}."
    missing = summary.missing_frames
    if missing:
        frames = ", ".join(map(str, missing[:SHOWN])) + (" and more" if len(missing) > SHOWN else "")
        text += f" Missing or in doubt: {counted(len(missing), 'frame')} ({frames})."
    if more:
        text += f"\n{more}"
    show(summary.model_dump(mode="json") if as_json else text)
    if status and not summary.complete:
        raise SystemExit(1)
