"""Run every group in its own process, so that the memory is that of the group, and print the table."""

import argparse
import json
import os
import subprocess
import sys
from collections import deque
from collections.abc import Callable, Collection
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import asdict
from importlib import import_module

from rich.console import Console
from rich.table import Table

from tests.bench.figures import Figure

TIMED = {
    "start_up": "figures",
    "loading": "loading",
    "planning": "figures",
    "rehearsing": "figures",
    "pictures": "pictures",
    "reaching": "planner",
    "mosaics": "planner",
    "wire": "wire",
    "calibration": "calibration",
    "matching": "matching",
    "inspecting_speed": "inspecting_speed",
    "newcomer": "matching",
    "worlds": "worlds",
    "on_the_line": "capturing",
    "large_session": "capturing",
    "page": "page",
    "installing": "installing",
}
"""What is about time: one group after the other, alone on a core. Each is a function of a module beside this one."""
COUNTED = {
    "arriving": "arriving",
    "drawn_rigs": "arriving",
    "lens_intervals": "lens_intervals",
    "set_intervals": "set_intervals",
    "small_cards": "matching",
    "killing": "capturing",
    "attended": "capturing",
    "page_lease": "page_lease",
    "week": "capturing",
    "written": "capturing",
    "firmware": "firmware",
    "orders": "planner",
    "troubled": "wire",
    "rows": "planner",
    "intervals": "intervals",
    "inspecting": "inspecting",
    "cards": "matching",
    "fewest": "planner",
    "mutants": "mutants",
}
"""What is about anything else, the longest first: on the other core meanwhile."""
GROUPS = TIMED | COUNTED
# Many minutes: only on request.
SLOW = {
    "cards",
    "fewest",
    "inspecting",
    "inspecting_speed",
    "installing",
    "intervals",
    "mutants",
    "page",
    "set_intervals",
}
ONE_CORE = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")


def measure(group: str) -> list[Figure]:
    """The figures of one group."""
    command = [sys.executable, "-m", "tests.bench", "--group", group]
    environment = os.environ | ONE_CORE
    printed = subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True, env=environment).stdout
    return [Figure(**row) for row in json.loads(printed)]  # its warnings are shown


def _measuring(group: str) -> Callable[[], list[Figure]]:
    """The function of a group. Only its own module is loaded, so that the memory is that of the group."""
    found: Callable[[], list[Figure]] = getattr(import_module(f"tests.bench.{GROUPS[group]}"), group)
    return found


def measure_all(groups: Collection[str]) -> list[Figure]:
    """The figures of these groups, in the order of GROUPS, on two cores if there are two."""
    timed, counted = (deque(group for group in lane if group in groups) for lane in (TIMED, COUNTED))
    found: dict[str, list[Figure]] = {}

    def work_off(*queues: deque[str]) -> None:
        for queue in queues:
            with suppress(IndexError):  # the other lane has taken the last one
                while True:
                    group = queue.popleft()
                    found[group] = measure(group)

    with ThreadPoolExecutor(min(2, os.cpu_count() or 1)) as lanes:
        for lane in [lanes.submit(work_off, timed, counted), lanes.submit(work_off, counted)]:
            lane.result()
    return [figure for group in GROUPS if group in found for figure in found[group]]


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
    parser.add_argument("--all", action="store_true", help="the slow groups too (an hour or more)")
    options = parser.parse_args()
    if options.group:
        print(json.dumps([asdict(figure) for figure in _measuring(options.group)()]))
        return
    measured = measure_all([group for group in GROUPS if options.all or group not in SLOW])
    if options.json:
        print(json.dumps([asdict(figure) for figure in measured]))
    else:
        show(measured)


if __name__ == "__main__":
    main()
