"""The steps of setting up, from steps.toml."""

import tomllib
from enum import StrEnum
from functools import cache
from pathlib import Path
from typing import Annotated

from pydantic import Field

from controller.calibration.records import CalibrationKind
from controller.errors import InputError
from controller.kit.kit import Table

FILE = Path(__file__).with_name("steps.toml")


class Look(StrEnum):
    """How the program can check that a step is done."""

    NOTHING = "nothing"
    CALIBRATION = "calibration"
    STOP_SWITCH = "stop switch"
    ZERO = "zero"
    CABLES = "cables"
    PICTURE = "picture"


class Step(Table):
    """One step: what to do, in sentences, and for how many hours it stays done; without a limit, until the kit changes.

    `look` is how the program can check it; with `Look.CALIBRATION`, these `kinds` of calibration count.
    """

    name: Annotated[str, Field(pattern=r"^[a-z-]+$")]
    title: str
    how: Annotated[list[str], Field(min_length=1)]
    look: Annotated[Look, Field(strict=False)] = Look.NOTHING
    kinds: Annotated[tuple[Annotated[CalibrationKind, Field(strict=False)], ...], Field(strict=False)] = ()
    lasts_h: float | None = None


def step_named(name: str) -> Step:
    """The step with this name. Raises InputError."""
    for step in steps():
        if step.name == name:
            return step
    raise InputError(f"There is no step {name}; the steps are {', '.join(step.name for step in steps())}.")


@cache
def steps() -> tuple[Step, ...]:
    """All steps, in order."""
    return tuple(Step.model_validate(each) for each in tomllib.loads(FILE.read_text(encoding="utf-8"))["step"])
