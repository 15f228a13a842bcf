"""Fixed work to measure speed by: where it takes twice as long, so does the program, and nothing is wrong."""

import hashlib
import os
import tempfile
import time
from collections.abc import Callable
from functools import cache
from pathlib import Path
from statistics import median

import numpy as np

TIMES = 3


def _python() -> None:
    """What Python itself does: words into dictionaries, objects, sorting, text."""
    counts: dict[str, int] = {}
    for number in range(120_000):
        word = f"{number * 7919 % 10_007:x}"
        counts[word] = counts.get(word, 0) + number % 3
    lines = [f"{word}={count}" for word, count in sorted(counts.items(), key=lambda item: (item[1], item[0]))]
    assert len("\n".join(lines)) > len(lines)


def _numpy() -> None:
    """What numpy does for the program: sines, products of small matrices, sorting, all in arrays that fit a cache."""
    angles = np.linspace(0.0, 100.0, 20_000)
    for _ in range(60):
        rays = np.column_stack([np.cos(angles), np.sin(angles), np.cos(angles) * np.sin(angles)])
        np.sort(rays @ rays[:3].T, axis=0)


def _disk() -> None:
    """What the disk does: small files that are there whole, each on the disk before the next one begins."""
    with tempfile.TemporaryDirectory() as name:
        for number in range(20):
            path = Path(name) / f"{number}.part"
            with path.open("wb") as file:
                file.write(hashlib.sha256(bytes([number])).digest() * 500)
                file.flush()
                os.fsync(file.fileno())
            path.replace(path.with_suffix(".whole"))


WORKS: dict[str, Callable[[], None]] = {"python": _python, "numpy": _numpy, "disk": _disk}


@cache
def yardstick_s(work: str) -> float:
    """Seconds that this machine takes for a piece of work, the median of three: processor time, for the disk elapsed."""
    clock = time.perf_counter if work == "disk" else time.process_time
    seconds = []
    for _ in range(TIMES):
        begin = clock()
        WORKS[work]()
        seconds.append(clock() - begin)
    return median(seconds)
