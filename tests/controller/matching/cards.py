"""Simulated cards: the exposures of a run, what the camera left of them, and the truth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from controller.matching.evidence import ExposureStamp, FileStamp


@dataclass(frozen=True)
class Nature:
    """What kind of a card it is."""

    sub_seconds: bool
    says_shutter: bool
    numbered: bool
    confirmed: bool


@dataclass(frozen=True)
class Card:
    """`truth`, for each file its exposure, -1 for nobody's. The camera's clock is `offset_s` ahead and gains `drift`."""

    nature: Nature
    files: list[FileStamp]
    exposures: list[ExposureStamp]
    truth: list[int]
    offset_s: float
    drift: float


def card(seed: int, frames: int | None = None, most_wrong: float = 0.05) -> Card:
    """A run whose frames come about as regularly as a head's do, and its card: up to so many of the files lost, and as
    many extra.

    The camera's clock is off by up to twelve hours and ten seconds a day; it may know whole seconds only. Where there is
    no sync contact, half of what is lost was never exposed and used no file number. Extra files come at any time.
    """
    random = np.random.default_rng(seed)
    frames = int(random.integers(20, 200)) if frames is None else frames
    nature = Nature(*(bool(random.random() < share) for share in (0.5, 0.7, 0.7, 0.5)))
    at, shutter, base = _run(random, frames)
    offset, drift = random.uniform(-12, 12) * 3600, random.uniform(-10, 10) / 86400
    lost, extra = random.uniform(0, most_wrong), random.uniform(0, most_wrong)
    shots: list[tuple[float, float, int, bool]] = []
    for number, (moment, seconds) in enumerate(zip(at, shutter, strict=True)):
        gone = random.random() < lost
        if gone and not nature.confirmed and random.random() < 0.5:
            continue
        shown = moment + offset + drift * (moment - at[0]) + random.normal(0, 0.03)
        shots.append((shown, seconds, number, gone))
    for _ in range(int(random.binomial(len(at), extra))):
        shots.append((random.uniform(at[0] - 60, at[-1] + 60) + offset, base, -1, bool(random.random() < lost)))
    shots.sort()
    files: list[tuple[FileStamp, int]] = []
    first = int(random.integers(1, 9999))
    for place, (shown, seconds, number, gone) in enumerate(shots):
        if gone:
            continue
        files.append(
            (
                FileStamp(
                    at_s=round(shown, 2) if nature.sub_seconds else float(np.floor(shown)),
                    shutter_s=seconds if nature.says_shutter else 0.0,
                    number=(first - 1 + place) % 9999 + 1 if nature.numbered else None,
                ),
                number,
            )
        )
    files.sort(key=lambda one: one[0].at_s)
    exposures = [ExposureStamp(a, s, True, nature.confirmed) for a, s in zip(at, shutter, strict=True)]
    return Card(nature, [file for file, _ in files], exposures, [one for _, one in files], offset, drift)


def _run(random: np.random.Generator, frames: int) -> tuple[list[float], list[float], float]:
    """When each exposure began and how long it took, and the middle one's shutter time."""
    members, base = int(random.integers(1, 6)), 2.0 ** -int(random.integers(1, 9))
    row, step, regular = int(random.integers(4, 20)), random.uniform(1.5, 6), random.random() < 0.7
    now, at, shutter = 1e6, [], []
    for frame in range(frames):
        if regular:
            now += step + (random.uniform(0.8, 2.4) if frame % row == 0 else 0.0) + random.normal(0, 0.004)
        else:
            now += random.uniform(1.5, 6)
        for member in range(members):
            seconds = base * 2.0 ** (2 * (member - members // 2))
            at.append(now)
            shutter.append(seconds)
            now += seconds + 0.4 + (random.normal(0, 0.004) if regular else random.uniform(0, 0.2))
    return at, shutter, base
