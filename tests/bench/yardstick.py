"""Fixed work as a measure of speed: on a machine where it takes twice as long, so does the program."""

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
    """Typical work of Python itself: words into dictionaries, objects, sorting, text."""
    counts: dict[str, int] = {}
    for number in range(120_000):
        word = f"{number * 7919 % 10_007:x}"
        counts[word] = counts.get(word, 0) + number % 3
    lines = [f"{word}={count}" for word, count in sorted(counts.items(), key=lambda item: (item[1], item[0]))]
    assert len("\n".join(lines)) > len(lines)


def _numpy() -> None:
    """Typical work of numpy in the program: sines, products of small matrices, sorting, in arrays that fit a cache."""
    angles = np.linspace(0.0, 100.0, 20_000)
    for _ in range(60):
        rays = np.column_stack([np.cos(angles), np.sin(angles), np.cos(angles) * np.sin(angles)])
        np.sort(rays @ rays[:3].T, axis=0)


def _disk() -> None:
    """Typical work of the disk: small files written whole, each on the disk before the next one begins."""
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
    """Seconds of a piece of work on this machine, the median of three: processor time, or elapsed time for the disk."""
    clock = time.perf_counter if work == "disk" else time.process_time
    seconds = []
    for _ in range(TIMES):
        begin = clock()
        WORKS[work]()
        seconds.append(clock() - begin)
    return median(seconds)
