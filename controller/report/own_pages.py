"""Recognise files that the reports wrote by their content: only these may be replaced."""

from collections.abc import Sequence
from pathlib import Path

from controller.errors import InputError
from controller.reading import OURS, open_file, read_json

HEAD_BYTES = 400  # of a page, that contain its <meta name="generator"> (HTML, section 4.2.5.1)
SPHERE_COMMENT = b"Fullturn: the sphere unrolled"  # in a JPEG's COM segment (ITU-T T.81, B.2.4.5)
GENERATOR = b'<meta name="generator" content="Fullturn">'


def is_own_page(path: Path) -> bool:
    """Whether a file is an HTML page of this program."""
    try:
        with open_file(path, OURS) as file:
            return GENERATOR in file.read(HEAD_BYTES)
    except (InputError, OSError):
        return False


def is_own_sphere(path: Path) -> bool:
    """Whether a file is a sphere that this program unrolled."""
    try:
        with open_file(path, OURS) as file:
            return SPHERE_COMMENT in file.read(HEAD_BYTES)
    except (InputError, OSError):
        return False


def is_own_account(path: Path) -> bool:
    """Whether a file is a report.json of this program, of any version."""
    content = _json(path)
    return isinstance(content, dict) and content.keys() >= {"kind", "plan_hash", "frames_planned", "exposures_planned"}


def is_own_truth(path: Path) -> bool:
    """Whether a file is the simulator's record of the exposures that were really made."""
    content = _json(path)
    return isinstance(content, dict) and content.keys() == {"exposures"} and isinstance(content["exposures"], list)


def is_own_table(path: Path, columns: Sequence[str]) -> bool:
    """Whether a CSV or JSON file is a table with exactly these columns."""
    if path.suffix == ".json":
        content = _json(path)
        return isinstance(content, list) and all(isinstance(row, dict) and list(row) == list(columns) for row in content)
    try:
        with open_file(path, OURS) as file:
            return file.readline(HEAD_BYTES).rstrip() == ",".join(columns).encode()
    except (InputError, OSError):
        return False


def _json(path: Path) -> object:
    try:
        found: object = read_json(path, OURS)
    except InputError:
        return None
    return found
