"""The steps of setting up that are done: `NAME.setup.json` beside `NAME.toml`."""

import hashlib
import os
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Annotated, Literal

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, ValidationError

from controller.errors import InputError
from controller.files import write_whole
from controller.kit.kit import Kit
from controller.reading import PROGRESS, holds, parse_json, read_text
from controller.setup.steps import Step

FORMAT_VERSION = 1


class Done(BaseModel):
    """One step done: when, with which kit, and what was found.

    `seen`: by the program itself; otherwise the operator stated it.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    at: AwareDatetime
    kit: Annotated[str, Field(max_length=64)]
    found: str
    seen: bool


class StepsDone(BaseModel):
    """The file: every step that was ever done, by its name."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    format_version: Literal[1] = 1
    done: dict[str, Done] = Field(default_factory=dict)

    def still(self, step: Step, kit: Kit, now: datetime) -> Done | None:
        """The step's mark; None if it is too old or the kit has changed since."""
        mark = self.done.get(step.name)
        if mark is None or mark.kit != kit_mark(kit):
            return None
        old_h = (now - mark.at).total_seconds() / 3600
        return mark if step.lasts_h is None or old_h <= step.lasts_h else None

    def with_marks(self, marks: Mapping[str, Done | None]) -> "StepsDone":
        """The progress with these steps done; a step with None is open again."""
        return StepsDone(done={name: mark for name, mark in {**self.done, **marks}.items() if mark is not None})


def kit_mark(kit: Kit) -> str:
    """A digest that changes with the kit."""
    return hashlib.sha256(kit.model_dump_json(exclude={"sources"}).encode()).hexdigest()[:16]


def progress_path(kit_path: Path) -> Path:
    """The path of the progress file that belongs to a kit."""
    return kit_path.with_suffix(".setup.json")


def read_progress(kit_path: Path) -> StepsDone:
    """Read the steps that are done; none if there is no file. Raises InputError if it is unreadable or newer."""
    path = progress_path(kit_path)
    if not os.path.lexists(path):
        return StepsDone()
    text = read_text(path, PROGRESS)
    content = parse_json(text, path, PROGRESS)
    version = content.get("format_version") if isinstance(content, dict) else None
    if type(version) is int and version > FORMAT_VERSION:
        raise InputError(
            f"{path}: is {PROGRESS.name} of version {version}, which is newer; this program reads version "
            f"{FORMAT_VERSION}. Use the version of Fullturn that wrote it, or move it away and set up again."
        )
    try:
        return StepsDone.model_validate_json(text)
    except ValidationError:
        raise InputError(f"{path}: is not {PROGRESS.name}. {PROGRESS.cure}") from None


def write_progress(kit_path: Path, progress: StepsDone) -> None:
    """Write the file, whole or not at all. Raises StorageFailed."""
    text = progress.model_dump_json(indent=1) + "\n"
    write_whole(progress_path(kit_path), text, replace=True, ours=lambda path: holds(path, PROGRESS, StepsDone))
