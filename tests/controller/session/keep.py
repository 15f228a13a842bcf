"""Keeps sessions of this version for later ones: `python -m tests.controller.session.keep`, before the version changes.

Whole commands write them, in virtual time, with a person beside the head and the clock of an invented day. Beside each
session, `NAME.json` contains what the program of its time reports of it: its report, its table of exposures, and its card
matched. A run that was killed leaves its write-ahead log, which is kept as well. `KEPT` names what is made.
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any
from unittest import mock

from PIL import Image
from PIL.ExifTags import IFD, Base
from PIL.TiffImagePlugin import IFDRational

from controller import clock
from controller.capture.seen import Seen
from controller.commands import account, capture
from controller.commands.account import report_command
from controller.commands.crew import Crew
from controller.commands.match import match_command
from controller.commands.rehearse import rehearse_command
from controller.commands.tell import tell_command
from controller.display import Display
from controller.planning.make import make_plan
from controller.planning.plan import Plan
from controller.program.program import Program
from controller.session.migrations import SESSION_VERSION
from controller.session.rows import RequestRow
from controller.session.session import Session
from protocol.units import NS
from sim.person import PersonSpec
from tests.end_to_end.attended import Attended
from tests.end_to_end.whole_runs import kit_of

OLD = Path(__file__).with_name("old")
BEGAN = datetime(2026, 3, 1, 10, 0, tzinfo=UTC)
TRANSFER_NS = 2 * NS
CALM = PersonSpec(says_no_share=0.0, walks_away_share=0.0, mistypes_share=0.0, types_ahead=0, answers_s=(1.0, 1.1))
SPHERE = make_plan(kit_of(12.0, exposure={"bracket_ev": [0, 1]}), 0.3)
BLIND = make_plan(kit_of(12.0, board={"sync_contact": False}), 0.3)
NO_SWITCHES = make_plan(kit_of(12.0, head={"pan": {"zero_switch": False}, "tilt": {"zero_switch": False}}), 0.3)
BY_HAND = SPHERE.model_copy(
    update={"frames": tuple(frame.model_copy(update={"by_hand": frame.pitch_deg < -40}) for frame in SPHERE.frames)}
).sealed()
Stroke = Callable[["Journey"], bool]
now: list[Callable[[], int]] = [lambda: 0]
"""The clocks of the worlds, in nanoseconds."""


class Killed(BaseException):
    """The program was killed; none of its code runs any more."""


class Arriving:
    """Files that arrive two seconds after each true exposure."""

    def __init__(self, journey: Journey) -> None:
        self._journey, self._told = journey, 0

    def __enter__(self) -> Arriving:
        return self

    def __exit__(self, *_: object) -> None:
        pass

    def new_files(self) -> list[str]:
        """Names of the files that arrived since the last call."""
        rig, names = self._journey.rig, []
        for shot in rig.truth.exposures[self._told :]:
            if shot.t_s * NS + TRANSFER_NS > self._journey.port.now():
                break
            names.append(f"/store/FULL{self._told:04}.JPG")
            self._told += 1
        return names


class Journey(Attended):
    """A capture that `stroke` may kill; it is asked after every exposure and every sentence that is shown."""

    stroke: Stroke = staticmethod(lambda _: False)
    exposed = 0
    tether = False
    dead: dict[str, bytes]

    def crew(self) -> Crew:
        """The person beside the head, who sees the program die."""

        @contextmanager
        def show(program: Program, now_ns: int, made: set[tuple[int, int]]) -> Iterator[Display]:
            yield Watching(self, Seen(program, now_ns, len(made), len(program.exposures)))

        people = replace(self.people, show=self.say)
        return Crew(people, lambda _: None, show, sweep=self.sweep, tether=self.tether)

    def say(self, sentence: str) -> None:
        """Show a sentence to the person."""
        self.person.say(sentence)
        self.look(sentence)

    def look(self, sentence: str = "") -> None:
        """Die here if it is time: the files stay as they are at this moment. Raises Killed."""
        self.sentence = sentence
        if self.stroke(self):
            self.stroke = staticmethod(lambda _: False)
            names = (self.session_path, self.session_path.with_name(f"{self.session_path.name}-wal"))
            self.dead = {path.name: path.read_bytes() for path in names if path.exists()}
            raise Killed

    def until_killed(self, stroke: Stroke, act: Callable[[], object]) -> None:
        """Capture or resume until `stroke`, leaving the files as a killed program leaves them."""
        self.exposed, self.stroke = 0, stroke
        with suppress(Killed):
            act()
        for name, content in self.dead.items():
            (self.folder / name).write_bytes(content)


class Watching(Display):
    """A display that counts exposures."""

    def __init__(self, journey: Journey, seen: Seen) -> None:
        super().__init__(seen, journey.say)
        self._journey = journey

    def exposed(self) -> None:
        """Count one exposure."""
        super().exposed()
        self._journey.exposed += 1
        self._journey.look()


def after(exposures: int) -> Stroke:
    """Death after this many exposures."""
    return lambda journey: journey.exposed == exposures


def at_words(words: str) -> Stroke:
    """Death when a sentence with these words is shown."""
    return lambda journey: words in journey.sentence


def journey(plan: Plan, folder: Path, seed: int = 1, **more: Any) -> Journey:
    """A capture that is about to begin."""
    found = Journey(plan, folder, seed, CALM, **more)
    found.url = "an invented port"
    now.append(found.port.now)
    return found


def finished(folder: Path) -> None:
    """A walk round the extremes, a question answered, and the whole set."""
    assert journey(SPHERE, folder).capture(tries=0)


def killed(folder: Path) -> None:
    """Killed in the middle of the first run."""
    world = journey(SPHERE, folder)
    world.until_killed(after(3), lambda: world.capture(tries=0))


def resumed(folder: Path) -> None:
    """Killed, resumed and killed again."""
    world = journey(SPHERE, folder)
    world.until_killed(after(4), lambda: world.capture(tries=0))
    world.until_killed(after(3), lambda: world.resume(tries=1))


def asking(folder: Path) -> None:
    """Killed while a question is open, with one of its frames by hand shot and others to come."""
    world = journey(BY_HAND, folder)
    world.until_killed(at_words("shot by hand"), lambda: world.capture(tries=0))


def by_hand(folder: Path) -> None:
    """A whole set with frames by hand; then frames are requested again, and a request is left for a run."""
    world = journey(BY_HAND, folder)
    assert world.capture(tries=0)
    tell_command(world.session_path, ["retake", "1,2"])
    with Session.open(world.session_path, to_write=True) as session:
        session.request(RequestRow("retake", (0,)))


def retaken(folder: Path) -> None:
    """A whole set whose first frame was shot again by a second run."""
    world = journey(SPHERE, folder)
    assert world.capture(tries=0)
    tell_command(world.session_path, ["retake", "0"])
    assert world.resume(tries=1)


def tethered(folder: Path) -> None:
    """Exposures confirmed by their files over USB, then killed."""
    world = journey(BLIND, folder)
    world.tether = True
    with mock.patch.object(capture, "UsbCamera", return_value=Arriving(world)):
        world.until_killed(after(4), lambda: world.capture(tries=0))


def no_switches(folder: Path) -> None:
    """Zero set by a person, then killed."""
    world = journey(NO_SWITCHES, folder)
    world.until_killed(after(3), lambda: world.capture(tries=0))


def rehearsed(folder: Path) -> None:
    """A rehearsal: no time of day."""
    (folder / "plan.json").write_text(SPHERE.model_dump_json(), encoding="utf-8")
    rehearse_command(folder / "plan.json", folder / "out", seed=3, progress=lambda _: lambda: None)
    shutil.move(folder / "out" / "session.sqlite", folder / "session.sqlite")


KEPT: dict[str, Callable[[Path], None]] = {
    made.__name__: made
    for made in (finished, killed, resumed, asking, by_hand, retaken, tethered, no_switches, rehearsed)
}


def invented_day() -> str:
    """The time of day by the clock of the latest world."""
    return (BEGAN + timedelta(microseconds=now[-1]() // 1000)).isoformat(timespec="milliseconds")


def card_of(rows: list[dict[str, Any]], folder: Path) -> None:
    """A card with a photograph of each exposure that was made, by a camera whose clock is 3 s ahead."""
    for row in rows:
        if row["opened_utc"] is None or row["outcome"] == "in doubt":
            continue
        moment = datetime.fromisoformat(row["opened_utc"]) + timedelta(seconds=3)
        exif = Image.Exif()
        exif[Base.Make], exif[Base.Model] = "Anvil", "One"
        exif.get_ifd(IFD.Exif).update(
            {
                Base.DateTimeOriginal: f"{moment:%Y:%m:%d %H:%M:%S}",
                Base.SubsecTimeOriginal: f"{moment.microsecond // 10000:02}",
                Base.ExposureTime: IFDRational(round(row["shutter_s"] * 1e6), 1_000_000),
            }
        )
        Image.new("L", (12, 8), row["number"] % 256).save(folder / f"FULL{row['number']:04}.JPG", exif=exif)


def said_of(session: Path) -> dict[str, Any]:
    """What the program reports of a session: report, exposures, and its card matched if there is a time of day."""
    with TemporaryDirectory() as name:
        folder = Path(name)
        for left in (session, session.with_name(f"{session.name}-wal")):
            if left.exists():
                shutil.copy(left, folder / left.name)
        copy = folder / session.name
        with mock.patch.object(account, "write_html"):  # drawing the pictures takes time, and no test looks at them
            summary = report_command(copy, folder / "audit")
        table = (folder / "audit" / "exposures.csv").read_text(encoding="utf-8")
        rows = json.loads((folder / "audit" / "exposures.json").read_text(encoding="utf-8"))
        card = folder / "card"
        card.mkdir()
        card_of(rows, card)
        matched = match_command(copy, card).as_json() if any(card.iterdir()) else None
        return {"report": summary.model_dump(mode="json"), "exposures": table, "match": json.loads(json.dumps(matched))}


def keep(folder: Path) -> None:
    """Write every session of `KEPT` into `folder`, each with what the program reports of it."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, make in KEPT.items():
        with TemporaryDirectory() as made, mock.patch.object(clock, "wall_time", invented_day):
            make(Path(made))
            if name != killed.__name__:
                Session.open(Path(made) / "session.sqlite").close()  # folds the log in, which takes less space
            for written in Path(made).glob("session.sqlite*"):
                shutil.copy(written, folder / written.name.replace("session", name))
            said = said_of(folder / f"{name}.sqlite")
        (folder / f"{name}.json").write_text(json.dumps(said, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    keep(OLD / f"version_{SESSION_VERSION}")
