"""Simulated cards: the exposures of a run, what the camera left of them, and the truth."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from controller.matching.evidence import ExposureStamp, FileStamp


@dataclass(frozen=True)
class Nature:
    """The kind of a card."""

    sub_seconds: bool
    says_shutter: bool
    numbered: bool
    confirmed: bool


@dataclass(frozen=True)
class Card:
    """`truth`: the exposure of each file, -1 for an extra file. The camera's clock is `offset_s` ahead and gains
    `drift`.
    """

    nature: Nature
    files: list[FileStamp]
    exposures: list[ExposureStamp]
    truth: list[int]
    offset_s: float
    drift: float


def card(seed: int, frames: int | None = None, most_wrong: float = 0.05) -> Card:
    """A run with frames about as regular as a head's, and its card: up to this share of the files lost, and as many
    extra.

    The camera's clock is off by up to twelve hours, and by ten seconds a day; it may show whole seconds only. Without a
    sync contact, half of the lost exposures were never made and used no file number. Extra files come at any time.
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
    """The start and duration of each exposure, and the middle one's shutter time."""
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


@dataclass(frozen=True)
class Kind:
    """What happened to a card. Counts and shares are of files; `clock` is the amount of a clock reset during the run."""

    lost: float = 0.0
    deleted: bool = False
    clock: str = ""
    renamed: int = 0
    scrambled: bool = False
    rollover: bool = False
    foreign: bool = False
    other_run: bool = False
    whole_seconds: bool | None = None


KINDS = {
    "sound, whole seconds": Kind(whole_seconds=True),
    "sound, fractions": Kind(whole_seconds=False),
    "3 % lost, whole seconds": Kind(lost=0.03, whole_seconds=True),
    "3 % lost, fractions": Kind(lost=0.03, whole_seconds=False),
    "a few deleted": Kind(deleted=True),
    "clock set by 2 to 20 s": Kind(clock="seconds"),
    "clock set by hours": Kind(clock="hours"),
    "clock set to a zone": Kind(clock="zone"),
    "clock set, 3 % lost": Kind(clock="any", lost=0.03),
    "some renamed or edited": Kind(renamed=3),
    "names scrambled": Kind(scrambled=True),
    "names scrambled, clock set": Kind(scrambled=True, clock="any"),
    "two folders, 9999 to 1": Kind(rollover=True, lost=0.01),
    "foreign among them": Kind(foreign=True, lost=0.01),
    "of another run": Kind(other_run=True),
}


def card_of(kind: Kind, seed: int, frames: int | None = None) -> Card:
    """A card of this kind, numbered like a camera's, in the order of its names."""
    random = np.random.default_rng([seed, sum(map(ord, repr(kind)))])
    whole = bool(random.random() < 0.5) if kind.whole_seconds is None else kind.whole_seconds
    nature = Nature(not whole, bool(random.random() < 0.7), not kind.scrambled, bool(random.random() < 0.5))
    at, shutter, base = _run(random, frames or int(random.integers(15, 60)))
    offset, drift = random.uniform(-12, 12) * 3600, random.uniform(-10, 10) / 86400
    exposures = [ExposureStamp(a, s, True, nature.confirmed) for a, s in zip(at, shutter, strict=True)]
    truth = list(range(len(at)))
    taken = [m + offset + drift * (m - at[0]) + random.normal(0, 0.03) for m in at]
    if kind.other_run:
        at, shutter, base = _run(random, frames or int(random.integers(15, 60)))
        taken, truth = [m + offset for m in at], [-1] * len(at)
    taken = _set_anew(random, kind.clock, taken)
    shots = list(zip(taken, shutter, truth, strict=True))
    if kind.foreign:  # shot by hand, anywhere: three bursts
        for _ in range(3):
            place = int(random.integers(0, len(shots) + 1))
            near = shots[min(place, len(shots) - 1)][0] - (0.5 if place < len(shots) else -3.0)
            burst = [(near + 0.1 * n, base, -1) for n in range(int(random.integers(1, 4)))]
            shots[place:place] = burst
    gone = _gone(random, kind, len(shots))
    first = (
        9999 - int(random.integers(0, len(shots))) if kind.rollover else int(random.integers(1, 9999 - 2 * len(shots)))
    )
    files = []
    for place, (shown, seconds, number) in enumerate(shots):
        if place in gone:
            continue
        says = seconds if nature.says_shutter else 0.0
        moment = round(shown, 2) if nature.sub_seconds else float(np.floor(shown))
        files.append((FileStamp(moment, says, (first - 1 + place) % 9999 + 1), number))
    files = _renamed(random, kind, files)
    return Card(nature, [file for file, _ in files], exposures, [one for _, one in files], offset, drift)


def _set_anew(random: np.random.Generator, clock: str, taken: list[float]) -> list[float]:
    if not clock:
        return taken
    if clock == "any":
        clock = str(random.choice(["seconds", "hours", "zone"]))
    sign = float(random.choice([-1, 1]))
    by_s = {
        "seconds": random.uniform(2, 20),
        "hours": 3600.0,
        "zone": 1800.0 * random.integers(1, 24),
    }[clock]
    change = int(random.integers(1, len(taken)))
    return [shown + (place >= change) * sign * by_s for place, shown in enumerate(taken)]


def _gone(random: np.random.Generator, kind: Kind, count: int) -> set[int]:
    gone = set(np.flatnonzero(random.random(count) < kind.lost).tolist())
    if kind.deleted:
        begin = int(random.integers(0, count))
        gone |= set(range(begin, min(count, begin + int(random.integers(1, 5)))))
        gone.add(int(random.integers(0, count)))
    return gone if len(gone) < count else set()


def _renamed(random: np.random.Generator, kind: Kind, files: list[tuple[FileStamp, int]]) -> list[tuple[FileStamp, int]]:
    """Some without a number, one with another number, one copied (changed, or its content would give it away)."""
    for _ in range(kind.renamed):
        place = int(random.integers(0, len(files)))
        file, number = files[place]
        new = None if random.random() < 0.7 else int(random.integers(1, 9999))
        if random.random() < 0.3:
            files.append((replace(file, number=None), -1))
        else:
            files[place] = (replace(file, number=new), number)
    if kind.scrambled:
        digits = random.random(len(files)) < 0.06  # names of hexadecimal digits that end in four decimal ones
        numbers = random.integers(1, 9999, len(files))
        files = [
            (replace(file, number=int(numbers[n]) if digits[n] else None), number)
            for n, (file, number) in enumerate(files)
        ]
        files = [files[n] for n in random.permutation(len(files))]
    return files
