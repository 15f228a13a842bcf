"""The steps of setting up, from steps.toml."""

import tomllib
from enum import StrEnum
from functools import cache
from pathlib import Path
from typing import Annotated

from pydantic import Field

from controller.calibration.records import CalibrationKind
from controller.kit.kit import Table

FILE = Path(__file__).with_name("steps.toml")


class Look(StrEnum):
    """How the program can see for itself that a step is done."""

    NOTHING = "nothing"
    CALIBRATION = "calibration"
    STOP_SWITCH = "stop switch"
    ZERO = "zero"
    CABLES = "cables"
    PICTURE = "picture"


class Step(Table):
    """One step: what to do, in sentences, and how long it stays done: until the kit changes, without a limit in hours.

    `look` is what the program can make of it itself; `kinds` of calibration stand for it where that is its look.
    """

    name: Annotated[str, Field(pattern=r"^[a-z-]+$")]
    title: str
    how: Annotated[list[str], Field(min_length=1)]
    look: Annotated[Look, Field(strict=False)] = Look.NOTHING
    kinds: Annotated[tuple[Annotated[CalibrationKind, Field(strict=False)], ...], Field(strict=False)] = ()
    lasts_h: float | None = None


@cache
def steps() -> tuple[Step, ...]:
    """All steps, in their order."""
    return tuple(Step.model_validate(each) for each in tomllib.loads(FILE.read_text(encoding="utf-8"))["step"])
