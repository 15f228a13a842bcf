"""Pairing files with exposures, and the first steps of a newcomer."""

import sys
import tempfile
import time
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pexpect
from PIL import Image
from PIL.ExifTags import IFD, Base
from PIL.TiffImagePlugin import IFDRational

from controller.commands.kit_find import find_command
from controller.commands.match import match_command
from controller.kit.kit import Kit
from controller.matching.pairing import pair_up
from controller.planning.make import make_plan
from controller.session.rows import Intent, Moment, RunReason, ShotOutcome
from controller.session.session import Session
from protocol.units import NS
from tests.bench.figures import Figure, full_frame_kit, speed, work_s
from tests.controller.matching.cards import KINDS, Card, card, card_of

CARDS, SOME_CARDS, MIXED_CARDS = 500, 50, 200  # five hundred of every kind take some minutes: only on request
LEAST_SURE = {"sound, whole seconds": 90.0, "sound, fractions": 90.0, "3 % lost, whole seconds": 60.0}
FILES = 3000
BEGIN = datetime(2026, 6, 21, 5, 0, tzinfo=UTC)
ROOT = Path(__file__).resolve().parents[2]


def matching() -> list[Figure]:
    """Three thousand files; a search in the lens data."""
    return [*_files(), *_find()]


def small_cards() -> list[Figure]:
    """Some cards of every kind."""
    return _kinds(SOME_CARDS)


def cards() -> list[Figure]:
    """Five hundred cards of every kind, and as many with up to 5 % missing and extra files."""
    return [*_kinds(CARDS), *_mixed()]


@dataclass
class _Count:
    """What happened to the files of some cards."""

    files: int = 0
    sure: int = 0
    wrong: int = 0
    wrong_sure: int = 0

    def add(self, one: Card) -> None:
        """Count a card's files."""
        for match, truth in zip(pair_up(one.files, one.exposures).matches, one.truth, strict=True):
            off = (-1 if match.exposure is None else match.exposure) != truth
            self.files += 1
            self.sure += match.sure
            self.wrong += off
            self.wrong_sure += off and match.sure


def _kinds(count: int) -> list[Figure]:
    """Small cards, which have the least to distinguish one alignment from another."""
    figures, begin = list[Figure](), time.process_time()
    for name, kind in KINDS.items():
        counted = _Count()
        for seed in range(count):
            counted.add(card_of(kind, seed, 10 + seed % 16))
        share = 100 * counted.sure / counted.files
        figures.append(Figure(f"{count} cards, {name}: sure", share, "%", least=LEAST_SURE.get(name)))
        figures.append(Figure("... wrongly paired and called sure", counted.wrong_sure, "", most=0))
    each_ms = 1000 * (time.process_time() - begin) / (count * len(KINDS))
    return [*figures, Figure("pairing a small card", each_ms, "ms")]


def _mixed() -> list[Figure]:
    """Up to 5 % missing and extra files, a clock off by hours and drifting up to 10 s a day."""
    counted = _Count()
    for seed in range(MIXED_CARDS):
        counted.add(card(seed))
    return [
        Figure(f"files of {MIXED_CARDS} cards with lost and extra ones", counted.files, ""),
        Figure("... wrongly paired and called sure", counted.wrong_sure, "", most=0),
        Figure("... wrongly paired and called doubtful", 100 * counted.wrong / counted.files, "%"),
        Figure("... called sure", 100 * counted.sure / counted.files, "%"),
    ]


def _files() -> list[Figure]:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        count = _session_and_card(folder)
        seconds, found = work_s(lambda: match_command(folder / "s.sqlite", folder / "card"))
    sure = sum(line.verdict.value == "sure" for line in found.lines)
    return [
        speed(f"match of {count} files", seconds, 400),
        Figure("... of them sure", sure, "files", least=0.95 * count),
    ]


def _session_and_card(folder: Path) -> int:
    kit: Kit = full_frame_kit(100.0, 9)
    plan = make_plan(kit, 0.3)
    exposures, times = sorted(plan.exposures)[:FILES], kit.shutter_times_s()
    random, at_s, row = np.random.default_rng(1), 60.0, 0
    (folder / "card").mkdir()
    with Session.create(folder / "s.sqlite", {"plan": plan.model_dump_json()}, durable=False) as session:
        session.begin_run(RunReason.BEGUN, Moment(0, BEGIN.isoformat()))
        for number, (frame, exposure) in enumerate(exposures):
            at_s += times[exposure] + 0.4 + (2.6 if exposure == 0 else 0.0)
            row += exposure == 0
            at_s += 1.5 if row % 20 == 0 and exposure == 0 else 0.0
            at_ns = round(at_s * NS)
            session.intend(Intent(frame, exposure, 1, number + 1, 0.0, 0.0, times[exposure]), at_ns)
            session.conclude(number + 1, ShotOutcome.CONFIRMED, at_ns + NS // 10, None)
            shown = BEGIN + timedelta(seconds=at_s * (1 + 8e-5) + 7203.2 + random.normal(0, 0.02))
            exif = Image.Exif()
            exif[Base.Model] = "One"
            exif.get_ifd(IFD.Exif).update({
                Base.DateTimeOriginal: f"{shown:%Y:%m:%d %H:%M:%S}",
                Base.SubsecTimeOriginal: f"{shown.microsecond // 10000:02}",
                Base.ExposureTime: IFDRational(round(times[exposure] * 1e6), 1_000_000),
            })  # fmt: skip
            Image.new("L", (24, 16), number % 256).save(folder / "card" / f"FULL{number + 1:04}.JPG", exif=exif)
    return len(exposures)


def _find() -> list[Figure]:
    find_command(["nikon"], ("camera", "lens"))  # warm up
    seconds, _ = work_s(lambda: find_command(["sigma", "24"], ("camera", "lens")))
    start = time.perf_counter()
    at_terminal(f"{sys.executable} -m controller kit find d750", str(ROOT))
    return [
        speed("kit find, the search", seconds, 20),
        speed("kit find, with the program's start", time.perf_counter() - start, 20),
    ]


def at_terminal(command: str, folder: str) -> str:
    """What a command prints at a terminal."""
    child = pexpect.spawn(command, cwd=folder, timeout=600, encoding="utf-8")
    said = str(child.read())
    child.close()
    return said


def newcomer() -> list[Figure]:
    """From clone to the first report, at a terminal: the README's first command in an empty folder."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "fullturn"
        start = time.perf_counter()
        said = at_terminal(f"git clone --quiet {ROOT} {folder}", name) + at_terminal("python3 start.py demo", str(folder))
        seconds = time.perf_counter() - start
        if not (folder / "demo-out" / "report.html").is_file():
            raise RuntimeError(f"the newcomer did not get to a report: {said}")
    return [Figure("a newcomer, from clone to the first report", seconds, "s", 180.0)]
