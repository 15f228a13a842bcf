"""No two classes share a name, so that a reader knows which one is meant."""

import ast
from collections import defaultdict
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
ROOMS = ("controller", "sim", "protocol")


def public_classes() -> dict[str, list[str]]:
    """The files that define each public class of the program, by its name."""
    found: dict[str, list[str]] = defaultdict(list)
    for path in sorted(each for room in ROOMS for each in (ROOT / room).rglob("*.py")):
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                found[node.name].append(str(path.relative_to(ROOT)))
    return found


def test_no_two_classes_share_a_name() -> None:
    found = public_classes()
    assert len(found) > 100
    assert {name: paths for name, paths in found.items() if len(paths) > 1} == {}
