"""The state of each step of setting up, and marking steps as done."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

from controller import clock
from controller.calibration.records import read
from controller.kit.load import load_kit
from controller.setup.inspection import Observation, calibration_found, picture_found
from controller.setup.progress import Done, kit_mark, read_progress, write_progress
from controller.setup.steps import Look, step_named, steps


@dataclass(frozen=True, slots=True)
class StepStanding:
    """The state of a step, `done` or `open`; if done, when, and what was found.

    `seen`: by the program itself; otherwise the operator stated it.
    """

    step: str
    title: str
    state: str
    seen: bool = False
    at: str | None = None
    found: str = ""

    def text(self) -> str:
        """One line for people."""
        how = "" if self.state == "open" else f"  {'seen' if self.seen else 'said'} {self.at}"
        return f"{self.state:5} {self.step:12} {self.title}{how}"


def setup_state(kit_path: Path) -> list[StepStanding]:
    """The state of each step. Calibration counts as soon as it is recorded. Raises InputError."""
    kit, progress, now = load_kit(kit_path), read_progress(kit_path), clock.wall_moment()
    standings = []
    for step in steps():
        mark = progress.still(step, kit, now)
        if step.look is Look.CALIBRATION:
            found = calibration_found(kit, read(kit_path), now, step.kinds)
            if found.good:
                mark = Done(at=now, kit=kit_mark(kit), found=found.sentence, seen=True)
        if mark is None:
            standings.append(StepStanding(step.name, step.title, "open"))
        else:
            at = mark.at.astimezone().isoformat(" ", "minutes")
            standings.append(StepStanding(step.name, step.title, "done", mark.seen, at, mark.found))
    return standings


def mark_steps(kit_path: Path, done: Sequence[str], again: Sequence[str]) -> None:
    """Mark the steps `done` on the operator's word, and reopen those in `again`. Raises InputError, StorageFailed."""
    for name in (*done, *again):
        step_named(name)
    kit = load_kit(kit_path)
    said = Done(at=clock.wall_moment(), kit=kit_mark(kit), found="", seen=False)
    marks: dict[str, Done | None] = dict.fromkeys(again, None) | dict.fromkeys(done, said)
    write_progress(kit_path, read_progress(kit_path).with_marks(marks))


def see_picture(kit_path: Path, picture: Path) -> Observation:
    """Look at a picture for the step that it shows; mark the step if the picture shows all of it.

    Raises InputError, StorageFailed.
    """
    kit = load_kit(kit_path)
    found = picture_found(picture, kit, clock.wall_moment())
    if found.good and found.looked:
        done = Done(at=clock.wall_moment(), kit=kit_mark(kit), found=found.sentence, seen=True)
        shown = {step.name: done for step in steps() if step.look is Look.PICTURE}
        write_progress(kit_path, read_progress(kit_path).with_marks(shown))
    return found


def as_json(standings: Sequence[StepStanding]) -> list[dict[str, object]]:
    """For other programs."""
    return [asdict(standing) for standing in standings]
