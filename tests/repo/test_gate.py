"""Nothing bypasses the gate: whatever sends commands to a real board passes a gate, and says which."""

import ast
from pathlib import Path

ROOT = Path(__file__).parents[2]
SPEAKERS = {"Hand": 3, "Talk": 99, "Runner": 99}
"""Constructors that send commands to a board, and the position of the gate among their arguments, from 0."""
WITHOUT = {"controller/commands/rehearse.py", "controller/commands/calibrate_rehearsal.py"}
"""Simulated heads, with nobody near. Without a gate a `BoardLine` sends nothing that moves; its own tests check that."""


def calls_without_a_gate() -> list[str]:
    found = []
    for path in sorted((ROOT / "controller").rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not (isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in SPEAKERS):
                continue
            named = {word.arg for word in node.keywords}
            if "gate" not in named and len(node.args) <= SPEAKERS[node.func.id]:
                found.append(f"{path.relative_to(ROOT).as_posix()}:{node.func.id}")
    return found


def test_every_conversation_with_a_real_board_passes_a_gate() -> None:
    found = calls_without_a_gate()
    assert [each for each in found if each.partition(":")[0] not in WITHOUT] == []
    assert found, "the rule must have something to find"
