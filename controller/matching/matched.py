"""The files on the card, paired with the exposures of a session, and how the camera's clock differs."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path

from controller.amounts import counted, moment
from controller.errors import InputError
from controller.matching.card import CardFile, read_card
from controller.matching.evidence import ExposureStamp
from controller.matching.pairing import Pairing, pair_up
from controller.matching.recorded import Recorded
from controller.matching.table import (
    MatchLine,
    MatchVerdict,
    file_line,
    frames_to_retake,
    match_lines,
)
from controller.matching.vouching import believable, other_day, when
from controller.planning.plan import Plan
from controller.shown import shown

DAY_S, LONG_S = 86_400, 1800
MOST_CHANGES = 5  # the most changes of the clock that a sentence names
MOST_CAMERAS = 5  # the most cameras that a sentence names
CLOCK_UNSURE = "The session's own clock was unsure: no file is judged by its time of day."
OTHER_CAMERA = "is of another camera"


@dataclass(frozen=True, slots=True)
class ClockChange:
    """The camera's clock was set forward by this many seconds between two consecutive files."""

    after: str
    before: str
    forward_s: float


@dataclass(frozen=True, slots=True)
class CameraClock:
    """How the camera's clock differs from the session's.

    It is `ahead_s` of it at the first exposure and gains `gains_s_per_day`. Pairs scatter by `scatter_s`, and the clock
    is read to `tick_s`. `ahead_s` includes the camera's time zone if its files do not name one; it is None if the session
    has no time of day. The gain is None if the run was too short to tell. `changes` is where the clock was set.
    """

    ahead_s: float | None
    gains_s_per_day: float | None
    scatter_s: float
    tick_s: float
    zone_known: bool
    changes: tuple[ClockChange, ...] = ()


@dataclass(frozen=True, slots=True)
class Matched:
    """The result: a line for each file and each missing exposure, and the frames to shoot again.

    `not_made` exposures are missing in the session itself. `opened_s` is when each file's shutter opened by the session's
    clock, in seconds of UTC, if known. `checks` are sentences about the files, `losses` a phrase for each part of a
    damaged session that cannot be read. `other_run` is a sentence if the card may be of another run, to be said first.
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
    other_run: str | None = None

    def count(self, *verdicts: MatchVerdict) -> int:
        """The number of lines with one of these verdicts."""
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
            "other_run": self.other_run,
            "lines": [line.row() for line in self.lines],
        }


def match_files(run: Recorded, session: Path, folder: Path) -> Matched:
    """Pair the files in the folder with the session's exposures. Raises InputError."""
    files, others, camera = _of_the_camera(read_card(folder), run.plan, folder)
    dated = [file for file in files if file.taken_s is not None]
    if not dated:
        raise InputError(f"{folder}: none of its {counted(len(files), 'photograph')} says when it was taken.")
    stamps = [file.stamp for file in dated]
    exposures = [ExposureStamp(one.opened_s, one.shutter_s, one.made, one.confirmed) for one in run.exposures]
    pairing = pair_up(stamps, exposures, run.dated)
    _must_be_of(run, pairing, dated, session, folder)
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
    return Matched(
        run.plan, camera, clock, lines, retake, planned - len(made), opened,
        checks=[CLOCK_UNSURE] if run.unsure else [], losses=run.losses, other_run=other_day(clock.ahead_s),
    )  # fmt: skip


def _must_be_of(run: Recorded, pairing: Pairing, files: Sequence[CardFile], session: Path, folder: Path) -> None:
    """Refuse the card of another run. Raises InputError."""
    begun_s = run.exposures[0].opened_s if run.dated else None
    believed = believable(pairing, begun_s, zone_known=all(file.has_zone for file in files))
    if pairing.related and believed:
        return
    fit = (
        f"fit the times of {session} no better than another run's would; give the whole card of that run"
        if pairing.related
        else f"do not fit the times of {session}; give the card of that run"
    )
    times = when([file.stamp.at_s for file in files], [one.opened_s for one in run.exposures] if run.dated else None)
    raise InputError(f"{folder}: its photographs {fit} ({times}).")


def _clock(pairing: Pairing, run: Recorded, files: Sequence[CardFile]) -> CameraClock:
    fit = pairing.fit
    ahead = round(fit.offset_s - run.exposures[0].opened_s, 2) if run.dated else None
    zone_known = all(file.has_zone for file in files)
    long = run.exposures[-1].opened_s - run.exposures[0].opened_s > LONG_S
    gains = round(fit.drift * DAY_S, 1) if long else None
    changes = tuple(
        ClockChange(files[before].name, files[after].name, round(by_s, 2))
        for before, after, by_s in pairing.changes()
        if not (run.unsure and _piece(run, pairing, before) != _piece(run, pairing, after))
    )
    return CameraClock(ahead, gains, round(fit.spread_s, 3), pairing.tick_s, zone_known, changes)


def _piece(run: Recorded, pairing: Pairing, file: int) -> int:
    """The piece of the session that a paired file belongs to."""
    exposure = pairing.matches[file].exposure
    assert exposure is not None
    return run.pieces[exposure]


def _of_the_camera(files: Sequence[CardFile], plan: Plan, folder: Path) -> tuple[list[CardFile], list[CardFile], str]:
    """The files of the run's camera, those of others, and its name: from the kit, otherwise the most frequent one."""
    named = Counter(file.camera for file in files if file.trouble is None)
    if not named:
        raise InputError(f"{folder}: none of its {counted(len(files), 'photograph')} can be read.")
    wanted = (plan.kit.camera.model or "").casefold()
    of_kit = [name for name in named if wanted and wanted in name.casefold()]
    if wanted and not of_kit and any(named):
        seen = ", ".join(sorted(shown(name) or "one that does not say" for name in named)[:MOST_CAMERAS])
        model = shown(plan.kit.camera.model or "")
        raise InputError(f"{folder}: has no photograph of the kit's camera, {model}, but of {seen}.")
    camera = max(of_kit or named, key=lambda name: named[name])
    mine: list[CardFile] = []
    others: list[CardFile] = []
    for file in files:
        is_mine = file.camera == camera or (file.trouble is not None and not file.camera)
        (mine if is_mine else others).append(file)
    return mine, others, camera


def ahead_text(clock: CameraClock) -> str:
    """The camera's clock in one sentence."""
    said = []
    if clock.ahead_s is not None:
        zone = "" if clock.zone_known else ", including its time zone"
        amount = f"{moment(abs(clock.ahead_s))} {'ahead' if clock.ahead_s >= 0 else 'behind'}"
        said.append(f"is {amount} of the session's{zone}")
    if clock.gains_s_per_day is not None:
        said.append(f"{'gains' if clock.gains_s_per_day >= 0 else 'loses'} {abs(clock.gains_s_per_day):.1f} s a day")
    tick = " plus its tick of a second" if clock.tick_s == 1 else ""
    said.append(f"agrees to {clock.scatter_s:.2f} s{tick} once corrected")
    text = [f"The camera's clock {'; '.join(said)}."]
    for change in clock.changes[:MOST_CHANGES]:
        way = "forward" if change.forward_s > 0 else "back"
        text.append(f"It was set {way} by {moment(abs(change.forward_s))} between {change.after} and {change.before}.")
    return " ".join(text)
