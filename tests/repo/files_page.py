"""The page of all columns and keys that the program writes, from `file_words.toml`, and what the code really writes."""

import ast
import inspect
import re
import textwrap
import tomllib
from collections.abc import Callable
from dataclasses import fields
from pathlib import Path
from typing import Any

from controller.calibration import settle_session
from controller.commands import calibrate_readings, calibrate_settle
from controller.commands import inspect as inspect_work
from controller.commands.inspect import inspection_values
from controller.display import Display
from controller.inspection import measured_words
from controller.inspection.measured_words import QUANTITIES, measured_values
from controller.inspection.pose_table import CONVENTIONS, PoseRow
from controller.matching.matched import CameraClock, ClockChange, Matched
from controller.matching.sidecar import SPACES, sidecar
from controller.matching.table import MatchLine
from controller.page.devices import Device, Devices
from controller.session.exposure_lines import COLUMNS
from controller.session.migrations import SCHEMA
from controller.setup.progress import Done, StepsDone
from sim.truth import TrueExposure

WORDS = Path(__file__).with_name("file_words.toml")
TITLE = "Columns and keys of every file"
ABOUT = """\
Every file that the program writes, and every column or key in it. Names end in their unit. Some files have a page of
their own: the [kit](kit.md), the [plan](plan.md), the [report](report.md), the [calibration](calibration.md) and
the [faults of a rehearsal](scenario.md). What `fullturn watch --json` prints is in
[the formats](../contributors/formats.md)."""


def files_page(made_by: str) -> str:
    """The page as Markdown."""
    parts = [made_by, f"# {TITLE}", ABOUT]
    for file in described():
        rows = [f"| `{key}` | {meaning} |" for key, meaning in file["keys"].items()]
        parts += [f"## {file['title']}", file["about"], "\n".join(["| name | meaning |", "| --- | --- |", *rows])]
    return "\n\n".join(parts) + "\n"


def described() -> list[dict[str, Any]]:
    """Each file of the page: its title, what it is, and the meaning of its keys."""
    files: list[dict[str, Any]] = tomllib.loads(WORDS.read_text(encoding="utf-8"))["file"]
    return files


def written() -> dict[str, list[str]]:
    """The columns and keys that the code writes, in order, by the title of the page's section."""
    poses = [field.name for field in fields(PoseRow)]
    lines = [field.name for field in fields(MatchLine)]
    found = {
        "exposures.csv and exposures.json": list(COLUMNS),
        "match.csv, and the lines of match.json": lines,
        "match.json": ["session", "folder", "sentences", *_keys(Matched.as_json)],
        "clock in match.json": [each.name for kind in (CameraClock, ClockChange) for each in fields(kind)],
        "poses.csv, and the files of poses.json": poses,
        "conventions in poses.json": list(CONVENTIONS),
        "inspection.json": _keys(inspection_values),
        "frames in inspection.json": _keys(inspect_work._frame),
        "links in inspection.json": _keys(inspect_work._link),
        "measured in inspection.json": [
            *_keys(measured_values)[:5],
            *(name for name, _, _ in QUANTITIES),
            *(key for key in _keys(measured_words._value) if key != "reason"),
            "reason",
        ],
        "Properties of XMP sidecars": _properties(),
        "The log of a run (--log)": [*_keys(Display._write), "run", *_keys(Display.change), *_keys(Display.exposed)],
        "Readings of a calibration (--from FILE.csv)": _readings(),
        "Moves of a settle calibration": [*_keys(settle_session._row_of), *_keys(settle_session._which)],
        "truth.json of a rehearsal": ["exposures", *(field.name for field in fields(TrueExposure))],
        "KIT.setup.json": [*StepsDone.model_fields, *Done.model_fields],
        ".fullturn-page.json": [*Devices.model_fields, *Device.model_fields],
    }
    return found | {f"The session: table {table}": names for table, names in tables().items()}


def tables() -> dict[str, list[str]]:
    """The session's tables, and their columns."""
    bodies = re.findall(r"CREATE TABLE (\w+) \((.*?)\) STRICT", SCHEMA, re.DOTALL)
    return {table: [each.split()[0] for each in body.split(",") if each.split()] for table, body in bodies}


def _keys(function: Callable[..., Any]) -> list[str]:
    """The text keys of all objects that a function's source spells out, each once, in order."""
    tree = ast.parse(textwrap.dedent(inspect.getsource(function)))
    objects = sorted((each for each in ast.walk(tree) if isinstance(each, ast.Dict)), key=lambda each: each.lineno)
    keys = [key.value for each in objects for key in each.keys if isinstance(key, ast.Constant)]
    return list(dict.fromkeys(str(key) for key in keys))


def _readings() -> list[str]:
    """The columns that the calibrations read: all names of columns in the calls of `read_csv`, and in what they name."""
    found: list[str] = []
    for module in (calibrate_readings, calibrate_settle):
        for node in ast.walk(ast.parse(inspect.getsource(module))):
            is_read = isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "read_csv"
            is_named = isinstance(node, ast.Assign) and getattr(node.targets[0], "id", "") in {"columns", "words"}
            if is_read or is_named:
                found += [str(each.value) for each in ast.walk(node) if isinstance(each, ast.Constant) and each.value]
    return list(dict.fromkeys(found))


def _properties() -> list[str]:
    """The properties of a sidecar that are not columns of the pose."""
    text = sidecar({"row": 0, "frame": 0, "exposure": 0}, "2026-06-21T05:30:00.000", label="a label")
    spaces = "|".join(name for name in SPACES if name not in {"x", "rdf", "pose"})
    return list(dict.fromkeys(re.findall(rf"<((?:{spaces}):\w+)", text)))
