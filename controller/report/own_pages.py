"""Files that the reports write, recognised by what is in them: only these may be replaced."""

import csv
import json
from collections.abc import Sequence
from pathlib import Path

HEAD_BYTES = 400  # of a page, in which its <meta name="generator"> is (HTML, section 4.2.5.1)
GENERATOR = b'<meta name="generator" content="Fullturn">'


def is_own_page(path: Path) -> bool:
    """Whether a file is an HTML page of this program."""
    try:
        with path.open("rb") as file:
            return GENERATOR in file.read(HEAD_BYTES)
    except OSError:
        return False


def is_own_account(path: Path) -> bool:
    """Whether a file is a report.json of this program, of any version."""
    content = _json(path)
    return isinstance(content, dict) and content.keys() >= {"kind", "plan_hash", "frames_planned", "exposures_planned"}


def is_own_truth(path: Path) -> bool:
    """Whether a file is what the simulator wrote of the exposures that were truly made."""
    content = _json(path)
    return isinstance(content, dict) and content.keys() == {"exposures"} and isinstance(content["exposures"], list)


def is_own_table(path: Path, columns: Sequence[str]) -> bool:
    """Whether a CSV or JSON file is a table with these columns and no others."""
    if path.suffix == ".json":
        content = _json(path)
        return isinstance(content, list) and all(isinstance(row, dict) and list(row) == list(columns) for row in content)
    try:
        with path.open(encoding="utf-8", newline="") as file:
            return next(csv.reader(file), None) == list(columns)
    except (OSError, ValueError, csv.Error):
        return False


def _json(path: Path) -> object:
    try:
        found: object = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):
        return None
    return found
