"""`fullturn match`: the files on the card, paired with the exposures of a session."""

import json
import os
from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from controller.commands.account import Clock, exposure_lines
from controller.errors import InputError, StorageFailed
from controller.files import copy_verified, link_to, write_new
from controller.folders import appearing_folder, make_inner_folder
from controller.matching.card import CardFile, read_card
from controller.matching.evidence import ExposureStamp
from controller.matching.pairing import Pairing, pair_up
from controller.matching.sidecar import sidecar
from controller.matching.sorting import Placed, placed, unfit
from controller.matching.table import (
    MatchedPose,
    MatchLine,
    MatchVerdict,
    Planned,
    file_line,
    frames_to_retake,
    lines_csv,
    match_lines,
)
from controller.places import must_be_free_folder, must_have_room
from controller.planning.plan import Plan, plan_from
from controller.report.wording import counted, moment
from controller.session.rows import CLOCK_FACT, ShotOutcome
from controller.session.session import Session
from controller.shown import shown
from protocol.units import NS

DAY_S, LONG_S = 86_400, 1800
MOST_CHANGES = 5  # of the clock, told in words
MOST_CAMERAS = 5  # named
OTHER_CAMERA = "is of another camera"


@dataclass(frozen=True, slots=True)
class ClockChange:
    """The camera's clock was set forward by so many seconds between two files that follow one another."""

    after: str
    before: str
    forward_s: float


@dataclass(frozen=True, slots=True)
class CameraClock:
    """The camera's clock: `ahead_s` of the session's at its first exposure, gaining `gains_s_per_day`; pairs scatter by
    `scatter_s`, and the clock is read to `tick_s`.

    `ahead_s` holds the camera's zone where its files do not name one; None where the session knows no time of day.
    What it gains is None where the run was too short to tell. `changes` is where it was set anew.
    """

    ahead_s: float | None
    gains_s_per_day: float | None
    scatter_s: float
    tick_s: float
    zone_known: bool
    changes: tuple[ClockChange, ...] = ()


@dataclass(frozen=True, slots=True)
class Matched:
    """What was found: a line for each file and each missing exposure, and frames to shoot once more.

    `not_made` exposures are missing in the session itself. `opened_s` is when each file's shutter opened by the session's
    clock, in seconds of UTC, if that is known. `checks` are sentences about the pictures,
    `losses` a phrase for each part of a damaged session that cannot be read.
    """

    plan: Plan
    camera: str
    clock: CameraClock
    lines: list[MatchLine]
    retake: list[int]
    not_made: int
    opened_s: dict[str, float] = field(default_factory=dict)
    checks: list[str] = field(default_factory=list)
    losses: tuple[str, ...] = ()

    def count(self, *verdicts: MatchVerdict) -> int:
        """How many lines say this."""
        return sum(line.verdict in verdicts for line in self.lines)

    def as_json(self) -> dict[str, object]:
        """What other programs read."""
        return {
            "camera": self.camera,
            "clock": asdict(self.clock),
            "counts": {verdict.value: self.count(verdict) for verdict in MatchVerdict},
            "retake": self.retake,
            "not_made": self.not_made,
            "checks": self.checks,
            "losses": list(self.losses),
            "lines": [line.row() for line in self.lines],
        }


@dataclass(frozen=True, slots=True)
class _Run:
    """What the session says."""

    plan: Plan
    exposures: list[Planned]
    dated: bool
    losses: tuple[str, ...] = ()


def match_command(session: Path, folder: Path) -> Matched:
    """Pair the files in the folder with the session's exposures. Raises InputError. Nothing is written."""
    run = _read_session(session)
    files, others, camera = _of_the_camera(read_card(folder), run.plan, folder)
    dated = [file for file in files if file.taken_s is not None]
    if not dated:
        raise InputError(f"{folder}: none of its {counted(len(files), 'photograph')} says when it was taken.")
    stamps = [file.stamp for file in dated]
    exposures = [ExposureStamp(one.opened_s, one.shutter_s, one.made, one.confirmed) for one in run.exposures]
    pairing = pair_up(stamps, exposures, run.dated)
    if not pairing.related:
        raise InputError(f"{folder}: its photographs do not fit the times of {session}; is it the card of another run?")
    lines = match_lines(dated, pairing, run.exposures, folder)
    for file in others:
        lines.append(file_line(file, folder))
        lines[-1].notes.append(OTHER_CAMERA)
    lines += [file_line(file, folder) for file in files if file.taken_s is None]
    made = {(one.frame, one.exposure) for one in run.exposures if one.counts}
    planned = len(run.plan.frames) * len(run.plan.kit.exposure.bracket_ev)
    opened = {
        file.paths[0].relative_to(folder).as_posix(): run.exposures[match.exposure].opened_s
        for file, match in zip(dated, pairing.matches, strict=True)
        if run.dated and match.exposure is not None
    }
    clock = _clock(pairing, run, dated)
    retake = frames_to_retake(lines, made)
    return Matched(run.plan, camera, clock, lines, retake, planned - len(made), opened, losses=run.losses)


def _clock(pairing: Pairing, run: _Run, files: Sequence[CardFile]) -> CameraClock:
    fit = pairing.fit
    ahead = round(fit.offset_s - run.exposures[0].opened_s, 2) if run.dated else None
    zone_known = all(file.has_zone for file in files)
    long = run.exposures[-1].opened_s - run.exposures[0].opened_s > LONG_S
    gains = round(fit.drift * DAY_S, 1) if long else None
    changes = tuple(
        ClockChange(files[before].name, files[after].name, round(by_s, 2)) for before, after, by_s in pairing.changes()
    )
    return CameraClock(ahead, gains, round(fit.spread_s, 3), pairing.tick_s, zone_known, changes)


def _read_session(path: Path) -> _Run:
    with Session.open(path) as session:
        about, shots, doubts, losses = session.about(), session.shots(), session.doubts(), session.losses
        plan = plan_from(session.plan_text(), str(path), begun=True)
    if not shots:
        raise InputError(f"{path}: holds no exposures, so there is nothing to pair.")
    exposure = plan.kit.exposure
    clock = Clock(about, exposure.focus_ms + exposure.release_lag_ms)
    dated = any(name.startswith(CLOCK_FACT) for name in about)
    planned = []
    for shot, line in zip(shots, exposure_lines(plan, shots, doubts, clock), strict=True):
        opened = shot.intended_ns / NS if line.opened_utc is None else datetime.fromisoformat(line.opened_utc).timestamp()
        made, confirmed = shot.outcome is not None and shot.outcome.made, shot.outcome is ShotOutcome.CONFIRMED
        planned.append(
            Planned(
                line.frame, line.exposure, line.attempt, line.outcome, opened, line.shutter_s,
                made, confirmed, line.outcome in {"confirmed", "assumed"},
                MatchedPose(line.yaw_deg, line.pitch_deg, line.roll_deg, line.pan_deg, line.tilt_deg),
            )
        )  # fmt: skip
    return _Run(plan, sorted(planned, key=lambda one: one.opened_s), dated, losses)


def _of_the_camera(files: Sequence[CardFile], plan: Plan, folder: Path) -> tuple[list[CardFile], list[CardFile], str]:
    """The files of the run's camera, those of others, and its name: the kit's, else the one that most are of."""
    named = Counter(file.camera for file in files if file.trouble is None)
    if not named:
        raise InputError(f"{folder}: none of its {counted(len(files), 'photograph')} can be read.")
    wanted = (plan.kit.camera.model or "").casefold()
    of_kit = [name for name in named if wanted and wanted in name.casefold()]
    if wanted and not of_kit and any(named):
        seen = ", ".join(sorted(shown(name) or "one that does not say" for name in named)[:MOST_CAMERAS])
        model = shown(plan.kit.camera.model or "")
        raise InputError(f"{folder}: holds no photograph of the kit's camera, {model}, but of {seen}.")
    camera = max(of_kit or named, key=lambda name: named[name])
    mine: list[CardFile] = []
    others: list[CardFile] = []
    for file in files:
        is_mine = file.camera == camera or (file.trouble is not None and not file.camera)
        (mine if is_mine else others).append(file)
    return mine, others, camera


def must_be_free_for(out: Path, folder: Path) -> None:
    """Check before the work begins that `out` can be written: a new folder, outside the card. Raises StorageFailed."""
    card, home = (Path(os.path.realpath(path)) for path in (folder, out))
    if home == card or card in home.parents:
        raise StorageFailed(
            f"{shown(out)} lies within {shown(folder)}, whose files are not to be touched. Choose another place."
        )
    must_be_free_folder(out)


def write_match(
    matched: Matched, session: Path, folder: Path, out: Path, *, by: str | None, link: bool, xmp: bool
) -> int:
    """Write the table and, where asked, the sorted files into the new folder `out`; how many files were sorted.

    The folder appears when all is written. A file that is a pipe, a device or a link out of the card is left out, and
    `matched.checks` says so. Raises StorageFailed.
    """
    must_be_free_for(out, folder)
    files = [] if by is None else placed(matched.lines, folder, matched.plan.frames, by)
    fit = []
    for one in files:
        why = unfit(one.source, folder)
        if why is None:
            fit.append(one)
        else:
            matched.checks.append(f"Not sorted: {shown(one.source)} {why}.")
    if not link:
        needs_bytes = sum(one.source.stat().st_size for one in fit)
        must_have_room(out, needs_bytes, ", or --link")
    with appearing_folder(out) as hidden:
        write_new(hidden / "match.csv", lines_csv(matched.lines))
        found = {"session": str(session), "folder": str(folder), **matched.as_json()}
        text = json.dumps(found, indent=1, allow_nan=False)
        write_new(hidden / "match.json", text + "\n")
        _sort(fit, hidden / "pictures", matched, link=link, xmp=xmp)
    return len(fit)


def _sort(files: Sequence[Placed], folder: Path, matched: Matched, *, link: bool, xmp: bool) -> None:
    frames = {frame.id: frame for frame in matched.plan.frames}
    described: set[Path] = set()  # a raw file and its JPEG have one sidecar
    for one in files:
        target = folder / one.target
        make_inner_folder(target.parent)
        if link:
            link_to(one.source.resolve(), target)
        else:
            copy_verified(one.source.resolve(), target)
        beside = target.with_suffix(".xmp")
        if xmp and one.line.frame is not None and beside not in described:
            described.add(beside)
            write_new(beside, sidecar(one.line, frames[one.line.frame], _opened(one.line, matched)))


def _opened(line: MatchLine, matched: Matched) -> str | None:
    """When its shutter opened by the session's clock, in UTC."""
    opened = matched.opened_s.get(line.file or "")
    return None if opened is None else datetime.fromtimestamp(opened, UTC).isoformat(timespec="seconds")


def ahead_text(clock: CameraClock) -> str:
    """The camera's clock in one sentence."""
    said = []
    if clock.ahead_s is not None:
        zone = "" if clock.zone_known else ", its zone counted in"
        amount = f"{moment(abs(clock.ahead_s))} {'ahead' if clock.ahead_s >= 0 else 'behind'}"
        said.append(f"is {amount} of the session's{zone}")
    if clock.gains_s_per_day is not None:
        said.append(f"{'gains' if clock.gains_s_per_day >= 0 else 'loses'} {abs(clock.gains_s_per_day):.1f} s a day")
    said.append(
        f"agrees, once put right, to {clock.scatter_s:.2f} s" + (" and its tick of a second" if clock.tick_s == 1 else "")
    )
    text = [f"The camera's clock {'; '.join(said)}."]
    for change in clock.changes[:MOST_CHANGES]:
        way = "forward" if change.forward_s > 0 else "back"
        text.append(f"It was set {way} by {moment(abs(change.forward_s))} between {change.after} and {change.before}.")
    return " ".join(text)
