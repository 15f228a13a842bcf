"""Run every group in its own process, so that the memory is that of the group, and print the table."""

import argparse
import json
import subprocess
import sys
from collections.abc import Callable
from dataclasses import asdict

from rich.console import Console
from rich.table import Table

from tests.bench import (
    calibration,
    capturing,
    figures,
    firmware,
    intervals,
    lens_intervals,
    matching,
    mutants,
    pictures,
    planner,
    wire,
    worlds,
)
from tests.bench.figures import Figure

GROUPS: dict[str, Callable[[], list[Figure]]] = {
    "start_up": figures.start_up,
    "planning": figures.planning,
    "rehearsing": figures.rehearsing,
    "pictures": pictures.pictures,
    "rows": planner.rows,
    "reaching": planner.reaching,
    "mosaics": planner.mosaics,
    "orders": planner.orders,
    "wire": wire.wire,
    "troubled": wire.troubled,
    "calibration": calibration.calibration,
    "intervals": intervals.intervals,
    "lens_intervals": lens_intervals.lens_intervals,
    "matching": matching.matching,
    "cards": matching.cards,
    "newcomer": matching.newcomer,
    "worlds": worlds.worlds,
    **capturing.GROUPS,
    "firmware": firmware.firmware,
    "fewest": planner.fewest,
    "mutants": mutants.mutants,
}
SLOW = {"cards", "fewest", "intervals", "mutants"}  # many minutes: only on request


def measure(group: str) -> list[Figure]:
    """The figures of one group."""
    command = [sys.executable, "-m", "tests.bench", "--group", group]
    printed = subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True).stdout  # its warnings are shown
    return [Figure(**row) for row in json.loads(printed)]


def show(measured: list[Figure]) -> None:
    """Print the table for people."""
    table = Table("figure", "measured", "target", "")
    for figure in measured:
        verdict = "" if not figure.target else "ok" if figure.reached else "MISSED"
        table.add_row(figure.name, figure.measured, figure.target, verdict)
    Console(width=100).print(table)


def main() -> None:
    """Read the options and measure."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench", description="Speed and memory beside targets.")
    parser.add_argument("--json", action="store_true", help="print JSON instead of a table")
    parser.add_argument("--group", choices=sorted(GROUPS), help="measure one group in this process, print JSON")
    parser.add_argument("--all", action="store_true", help="the slow groups too (some minutes)")
    options = parser.parse_args()
    if options.group:
        print(json.dumps([asdict(figure) for figure in GROUPS[options.group]()]))
        return
    measured = [figure for group in GROUPS if options.all or group not in SLOW for figure in measure(group)]
    if options.json:
        print(json.dumps([asdict(figure) for figure in measured]))
    else:
        show(measured)


if __name__ == "__main__":
    main()
