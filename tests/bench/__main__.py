"""Run every group in a process of its own, so that memory is that group's, and print the table."""

import argparse
import json
import subprocess
import sys
from dataclasses import asdict

from rich.console import Console
from rich.table import Table

from tests.bench.figures import GROUPS, Figure


def measure(group: str) -> list[Figure]:
    """The figures of one group."""
    command = [sys.executable, "-m", "tests.bench", "--group", group]
    printed = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    return [Figure(**row) for row in json.loads(printed)]


def show(figures: list[Figure]) -> None:
    """The table for people."""
    table = Table("figure", "measured", "target, at most", "")
    for figure in figures:
        reached = "ok" if figure.value <= figure.most else "MISSED"
        table.add_row(figure.name, f"{figure.value:.4g} {figure.unit}", f"{figure.most:g} {figure.unit}", reached)
    Console(width=100).print(table)


def main() -> None:
    """Read the options and measure."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench", description="Speed and memory beside targets.")
    parser.add_argument("--json", action="store_true", help="print JSON instead of a table")
    parser.add_argument("--group", choices=sorted(GROUPS), help="measure one group in this process, print JSON")
    options = parser.parse_args()
    if options.group:
        print(json.dumps([asdict(figure) for figure in GROUPS[options.group]()]))
        return
    figures = [figure for group in GROUPS for figure in measure(group)]
    if options.json:
        print(json.dumps([asdict(figure) for figure in figures]))
    else:
        show(figures)


if __name__ == "__main__":
    main()
