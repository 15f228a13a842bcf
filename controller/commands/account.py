"""`fullturn report`: audit a session, for people and for other programs."""

import json
from dataclasses import asdict
from pathlib import Path

from controller.files import write_new
from controller.folders import appearing_folder
from controller.places import must_be_free_folder
from controller.planning.plan_file import plan_from
from controller.report.html import write_html
from controller.report.own_pages import is_own_account, is_own_page, is_own_table
from controller.report.summary import Summary, account_of
from controller.session.clock import SessionClock
from controller.session.exposure_lines import COLUMNS, EARLIER_COLUMNS, exposure_lines, exposures_csv
from controller.session.rows import with_requests
from controller.session.session import Session
from controller.showing.shown_run import is_active


def _is_own_table(path: Path) -> bool:
    """Whether a table is one of exposures, of this version or of an earlier one."""
    return any(is_own_table(path, columns) for columns in (COLUMNS, *EARLIER_COLUMNS))


OURS = {
    "exposures.csv": _is_own_table,
    "report.html": is_own_page,
    "report.json": is_own_account,
    "exposures.json": _is_own_table,
}
"""The files that a report writes, and how each is recognised."""


def report_command(path: Path, out: Path | None, *, replace: bool = False) -> Summary:
    """The account of a session; with `out`, also write the report to a new folder.

    The files are report.html, report.json, exposures.csv and exposures.json. With `replace`, an older report in the
    folder is replaced. Raises InputError, StorageFailed.
    """
    if out is not None:
        must_be_free_folder(out, replace=replace, ours=OURS)
    under_way = is_active(path)
    with Session.open(path) as session:
        plan = plan_from(session.plan_text(), str(path), begun=True)
        with session.at_one_moment():
            summary = account_of(session, plan, under_way=under_way)
            shots, happenings = session.shots(), session.happenings()
            runs, clocks = session.runs(), session.clocks()
            doubts = with_requests(session.doubts(), shots, session.wanted_again())
    if out is not None:
        exposure = plan.kit.exposure
        times = SessionClock(runs, exposure.focus_ms + exposure.release_lag_ms, clocks)
        lines = exposure_lines(plan, shots, doubts, times)
        with appearing_folder(out, replace=replace, ours=OURS) as folder:
            write_new(folder / "report.json", summary.model_dump_json(indent=1) + "\n")
            write_new(folder / "exposures.csv", exposures_csv(lines))
            text = json.dumps([asdict(line) for line in lines], indent=1, allow_nan=False)
            write_new(folder / "exposures.json", text + "\n")
            write_html(folder / "report.html", plan, summary, happenings)
    return summary
