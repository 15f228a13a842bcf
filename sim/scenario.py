"""Scenarios: the faults of a run, as readable TOML.

    about = "The cable is pulled, and put back after a while."

    [[fault]]
    kind = "line-cut"
    at_s = 40.0
    for_s = 15.0

A fault begins at a time (`at_s`), after a number of exposures (`after_exposure`), or after the first exposure of a frame
(`at_frame`). A table [person] puts somebody beside the head, with habits as in `person.PersonSpec`:

    [person]
    answers_s = [5, 120]
    comes_share = 1.0
    commands = ["pause"]

A table [world] holds for the whole run: a camera, a mechanism or weather other than the kit's, keys as in `world.KEYS`:

    [world]
    buffer_exposures = 4
    write_ms = 2500
"""

import dataclasses
import math
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, fields
from importlib.resources import files
from typing import Any

from sim.person import PersonSpec
from sim.world import KEYS, WorldValue

WHEN = ("at_s", "after_exposure", "at_frame")


class ScenarioError(Exception):
    """What is wrong with a scenario, in one sentence that names the line."""


@dataclass(frozen=True, slots=True)
class FaultKind:
    """One kind of fault: what it is, whether it lasts (`for_s`), and which other fields it needs."""

    says: str
    lasts: bool = False
    needs: tuple[str, ...] = ()
    may_have: tuple[str, ...] = ()


KINDS: dict[str, FaultKind] = {
    "bytes-damaged": FaultKind("a share of the bytes on the line is damaged", lasts=True, needs=("share",)),
    "bytes-dropped": FaultKind("a share of the bytes on the line is lost", lasts=True, needs=("share",)),
    "bytes-doubled": FaultKind("a share of the bytes on the line arrives twice", lasts=True, needs=("share",)),
    "bytes-delayed": FaultKind("every byte comes later", lasts=True, needs=("delay_ms",)),
    "line-cut": FaultKind("the cable is pulled", lasts=True),
    "board-reset": FaultKind("the board restarts"),
    "supply-dip": FaultKind("the motors' supply is low", lasts=True),
    "stop-switch": FaultKind("the stop switch is open", lasts=True),
    "steps-lost": FaultKind("a motor slips", needs=("axis", "steps")),
    "stall": FaultKind("a motor stands still until its next move", needs=("axis",), may_have=("sensed",)),
    "limit-hit": FaultKind("a limit switch is met"),
    "index-moved": FaultKind("the flag at zero is found elsewhere from now on", needs=("axis", "degrees")),
    "gust": FaultKind("a gust shakes the head", lasts=True, needs=("degrees",)),
    "camera-silent": FaultKind("the camera does not hear its release", lasts=True),
    "misfire": FaultKind("the camera misfires", may_have=("times",)),
    "card-full": FaultKind("the card is full"),
    "battery-flat": FaultKind("the camera's battery is flat"),
    "clock-jump": FaultKind("the host's clock jumps ahead", needs=("seconds",)),
    "host-asleep": FaultKind("the host sleeps", lasts=True),
    "host-killed": FaultKind("the host's program is killed"),
}
TEXTS: dict[str, type] = {"kind": str, "axis": str, "sensed": bool}


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault: its kind, time and amount."""

    kind: str
    at_s: float | None = None
    after_exposure: int | None = None
    at_frame: int | None = None
    for_s: float | None = None
    share: float = 0.0
    delay_ms: float = 0.0
    axis: str = "pan"
    steps: float = 0.0
    degrees: float = 0.0
    seconds: float = 0.0
    times: int = 1
    sensed: bool = False


@dataclass(frozen=True, slots=True)
class Scenario:
    """The faults of a run. `line_of` is the line of the text where each fault begins."""

    name: str
    about: str
    faults: tuple[Fault, ...]
    lines: tuple[int, ...] = ()
    person: PersonSpec | None = None
    world: Mapping[str, WorldValue] = dataclasses.field(default_factory=dict)


def library() -> dict[str, Scenario]:
    """The scenarios that come with the program, by name."""
    folder = files("sim").joinpath("scenarios")
    names = sorted(entry.name for entry in folder.iterdir() if entry.name.endswith(".toml"))
    return {
        name.removesuffix(".toml"): parse(folder.joinpath(name).read_text(encoding="utf-8"), name.removesuffix(".toml"))
        for name in names
    }


def parse(text: str, name: str) -> Scenario:
    """Read a scenario from TOML; `name` begins every error sentence. Raises ScenarioError."""
    try:
        tables = tomllib.loads(text)
    except RecursionError:
        raise ScenarioError(f"{name}: is nested too deeply.") from None
    except ValueError as error:  # malformed TOML, or a whole number of thousands of digits
        raise ScenarioError(f"{name}: is not valid TOML: {str(error).rstrip('.')}.") from None
    unknown = set(tables) - {"about", "fault", "person", "world"}
    if unknown:
        word, line = min(unknown) or "an empty name", _line(text, 0, min(unknown))
        raise ScenarioError(
            f"{name}: line {line}: {word} is not known; a scenario has about, [[fault]], [person] and [world]."
        )
    about, rows = tables.get("about", ""), tables.get("fault", [])
    if not isinstance(about, str) or not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
        raise ScenarioError(f"{name}: about is a sentence, and each fault begins with [[fault]].")
    begins = [number for number, line in enumerate(text.splitlines(), 1) if re.match(r"\s*\[\[\s*fault\s*\]\]", line)]
    begins += [1] * (len(rows) - len(begins))  # faults written in another form
    faults = tuple(_fault(row, text, begin, name) for row, begin in zip(rows, begins, strict=False))
    person = _person(tables["person"], text, name) if "person" in tables else None
    world = _world(tables.get("world", {}), text, name)
    return Scenario(name, about, faults, tuple(begins[: len(faults)]), person, world)


def _world(row: object, text: str, name: str) -> dict[str, WorldValue]:
    if not isinstance(row, dict):
        raise ScenarioError(f"{name}: the world is a table that begins with [world].")
    for key, value in row.items():
        line = _line(text, 0, key)
        if key not in KEYS:
            raise ScenarioError(
                f"{name}: line {line}: {key or 'an empty name'} is not known; [world] has {', '.join(KEYS)}."
            )
        if (why := KEYS[key].mistake(value)) is not None:
            raise ScenarioError(f"{name}: line {line}: {key} = {value!r} {why}.")
        if (lacking := next((one for one in KEYS[key].needs if one not in row), None)) is not None:
            raise ScenarioError(f"{name}: line {line}: {key} has no effect without {lacking}; state that as well.")
    return {key: tuple(value) if isinstance(value, list) else value for key, value in row.items()}


def _person(row: object, text: str, name: str) -> PersonSpec:
    if not isinstance(row, dict):
        raise ScenarioError(f"{name}: the person is a table that begins with [person].")
    known = {field.name: field.default for field in fields(PersonSpec)}
    habits: dict[str, Any] = {}
    for field, value in row.items():
        line = _line(text, 0, field)
        if field not in known:
            raise ScenarioError(f"{name}: line {line}: {field} says nothing of a person; there is {', '.join(known)}.")
        why = _person_mistake(field, value)
        if why is not None:
            raise ScenarioError(f"{name}: line {line}: {field} = {value!r} {why}.")
        habits[field] = tuple(value) if isinstance(value, list) else value
    return PersonSpec(**habits)


def _person_mistake(field: str, value: object) -> str | None:
    """What is wrong with a habit, None if nothing."""
    if field == "commands":
        words = isinstance(value, list) and all(isinstance(one, str) for one in value)
        return None if words else "must be a list of words"
    if field in {"answers_s", "leaves_s"}:
        if not isinstance(value, list) or len(value) != len(("least", "most")):
            return "must be two numbers, the least and the most"
        if any(_mistake(field, one) for one in value) or not 0 < value[0] <= value[1]:
            return "must be two numbers above 0, the least first"
        return None
    if field == "types_ahead":
        return _mistake("times", value)
    return _mistake("at_s" if field == "within_s" else "share", value)


def _fault(row: dict[str, Any], text: str, begin: int, name: str) -> Fault:
    def wrong(field: str, why: str) -> ScenarioError:
        return ScenarioError(f"{name}: line {_line(text, begin, field)}: {why}.")

    word = row.get("kind")
    kind = KINDS.get(word) if isinstance(word, str) else None
    if kind is None:
        raise wrong("kind", f"{word!r} is no kind of fault; there are {', '.join(KINDS)}")
    known = {"kind", *WHEN, *kind.needs, *kind.may_have, *(["for_s"] if kind.lasts else [])}
    for field, value in row.items():
        if field not in known:
            raise wrong(field, f"{field} says nothing of a {word}; it may have {', '.join(sorted(known - {'kind'}))}")
        if (why := _mistake(field, value)) is not None:
            raise wrong(field, f"{field} = {value!r} {why}")
    if sum(when in row for when in WHEN) != 1:
        raise wrong("kind", f"say of the {word} either {', '.join(WHEN[:-1])} or {WHEN[-1]}")
    for field in kind.needs:
        if field not in row:
            raise wrong("kind", f"say {field} of the {word} as well")
    return Fault(**row)


def _mistake(field: str, value: object) -> str | None:
    """What is wrong with a value, None if nothing."""
    wanted = TEXTS.get(field)
    if field == "axis":
        return None if value in ("pan", "tilt") else 'must be "pan" or "tilt"'
    if wanted is not None:
        return None if isinstance(value, wanted) else f"must be {'true or false' if wanted is bool else 'a word'}"
    if isinstance(value, bool) or not isinstance(value, int | float) or (isinstance(value, float) and math.isnan(value)):
        return "must be a number"
    if field in {"after_exposure", "at_frame", "times"} and not (isinstance(value, int) and 0 <= value < 10**9):
        return "must be a whole number from 0"
    if field in {"at_s", "for_s", "delay_ms", "seconds"} and not 0 <= value <= 10**7:
        return "must be from 0 to 10000000"
    if field == "share" and not 0 <= value <= 1:
        return "must be from 0 to 1"
    return None if abs(value) <= 10**7 else "is too large"


def _line(text: str, begin: int, field: str) -> int:
    """The line of `field`, from line `begin` on; `begin` if it is not found."""
    for number, line in enumerate(text.splitlines()[begin:], begin + 1):
        if re.match(rf"\s*{re.escape(field)}\s*=", line):
            return number
        if begin and line.lstrip().startswith("[["):
            break
    return max(begin, 1)
