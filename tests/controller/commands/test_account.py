"""The audit of a session: what it says of the end is what the run said, not how its sentence sounds."""

from pathlib import Path

import pytest

from controller.commands.account import report_command
from controller.planning.make import make_plan
from controller.session.rows import Intent, ShotOutcome
from controller.session.session import Session
from tests.end_to_end.whole_runs import kit_of

PLAN = make_plan(kit_of(14.0), 0.3)


def recorded(path: Path, *, complete: bool | None) -> Path:
    """A session in which every exposure was made; `complete` is what the run said at its end, None if it never came."""
    about = {"kind": "capture", "plan": PLAN.model_dump_json(), "plan_hash": PLAN.hash}
    with Session.create(path, about, durable=True) as session:
        for number, (frame, exposure) in enumerate(sorted(PLAN.exposures), 1):
            session.intend(Intent(frame, exposure, 1, number, 0.0, 0.0, 0.01), number)
            session.conclude(number, ShotOutcome.CONFIRMED, number + 1, None)
        if complete is not None:
            session.note_end("The set is nearly complete.", complete=complete)
    return path


@pytest.mark.parametrize("complete", [True, False, None])
def test_a_set_is_complete_when_its_run_said_so(tmp_path: Path, complete: bool | None) -> None:
    summary = report_command(recorded(tmp_path / "s.sqlite", complete=complete), None)
    assert summary.complete == bool(complete)
    assert summary.exposures_confirmed == summary.exposures_planned == len(PLAN.exposures)
    assert (summary.sentence == "The run has not come to its end.") == (complete is None)
