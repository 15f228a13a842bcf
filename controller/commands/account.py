"""`fullturn report`: a session audited, for people and for other programs."""

import csv
import io
from pathlib import Path

from controller.errors import InputError
from controller.files import make_folder, write_whole
from controller.planning.plan import Plan, plan_from
from controller.report.html import write_html
from controller.report.summary import Summary, summarise
from controller.session.session import Session, ShotRow
from protocol.units import NS

COLUMNS = (
    *("number", "frame", "exposure", "attempt", "outcome"),
    *("yaw_deg", "pitch_deg", "shutter_s", "intended_ns", "ended_ns"),
)


def report_command(path: Path, out: Path | None) -> Summary:
    """The account of a session; with `out`, report.html, report.json and exposures.csv in that folder.

    Raises InputError, StorageFailed.
    """
    with Session.open(path) as session:
        about, shots, happenings = session.about(), session.shots(), session.happenings()
    if "plan" not in about:
        raise InputError(f"{path}: does not hold its plan, so it cannot be audited.")
    plan = plan_from(about["plan"], str(path))
    summary = _summary(plan, shots, about)
    if out is not None:
        make_folder(out)
        write_whole(out / "report.json", summary.model_dump_json(indent=1) + "\n")
        write_whole(out / "exposures.csv", exposures_csv(shots))
        write_html(out / "report.html", plan, summary, happenings)
    return summary


def _summary(plan: Plan, shots: list[ShotRow], about: dict[str, str]) -> Summary:
    begun = min((shot.intended_ns for shot in shots), default=0)
    ended = max((shot.ended_ns for shot in shots if shot.ended_ns is not None), default=begun)
    return summarise(
        plan,
        shots,
        kind=about.get("kind", "run"),
        seed=int(about["seed"]) if about.get("seed", "").isdecimal() else None,
        run_complete=about.get("complete") == "yes",
        sentence=about.get("sentence", "The run has not come to its end."),
        seconds=(ended - begun) / NS,
    )


def exposures_csv(shots: list[ShotRow]) -> str:
    """One line for each intent in its order; an exposure in doubt has no outcome."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(COLUMNS)
    for shot in shots:
        intent = shot.intent
        writer.writerow(
            (
                shot.number, intent.frame, intent.exposure, intent.attempt, shot.outcome.value if shot.outcome else "",
                intent.yaw_deg, intent.pitch_deg, intent.shutter_s, shot.intended_ns,
                "" if shot.ended_ns is None else shot.ended_ns,
            )
        )  # fmt: skip
    return text.getvalue()
