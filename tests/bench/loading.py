"""Start-up and memory of every command, and whether it loads more libraries than it needs."""

import os
import subprocess
import sys
import tempfile
from pathlib import Path
from statistics import median

import click

from controller.cli.main import cli
from tests.bench.figures import Figure, speed
from tests.bench.uses import all_used
from tests.controller.commands.simulated import environment

TIMES = 5
HELP_TIMES = 10  # multiples of Python's piece of work: 0.35 s on the machine that the target was set on


def loading() -> list[Figure]:
    """Every command: `--help`, and its shortest real use from the start of Python to its end, in processor seconds."""
    figures, astray = list[Figure](), list[str]()
    with tempfile.TemporaryDirectory() as folder, all_used(Path(folder)) as uses:
        for use, loaded in uses:
            name = f"fullturn {use.command}"
            figures.append(Figure(f"{name}: peak memory, its children's too", loaded.peak_mb, "MB", use.most_mb))
            figures.append(speed("... processor, from start to end", loaded.seconds, None))
            if loaded.packages != use.loads:
                astray.append(f"{use.command} ({', '.join(sorted(loaded.packages ^ use.loads))})")
    name = ": ".join(("commands that load other libraries than imports.md says", *astray))
    figures.append(Figure(name, len(astray), "", 0))
    return [*figures, _slowest_help()]


def _slowest_help() -> Figure:
    found = {words: _help_s(words) for words in _commands(cli)}
    slowest = max(found, key=lambda words: found[words])
    return speed(f"slowest of {len(found)} helps: {' '.join(('fullturn', *slowest))} --help", found[slowest], HELP_TIMES)


def _commands(command: click.Command, *words: str) -> list[tuple[str, ...]]:
    below = command.commands.items() if isinstance(command, click.Group) else ()
    return [words, *(found for word, one in below for found in _commands(one, *words, word))]


def _help_s(words: tuple[str, ...]) -> float:
    times = []
    for _ in range(TIMES):
        before = os.times()
        command = [sys.executable, "-m", "controller", *words, "--help"]
        subprocess.run(command, env=environment(), check=True, capture_output=True)
        after = os.times()
        times.append(sum(after[2:4]) - sum(before[2:4]))  # of the processor, of children
    return median(times)
