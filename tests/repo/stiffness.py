"""Work out again what a soft rig costs, in the table of hardware_notes/stiffness.md: `python -m tests.repo.stiffness`."""

import re
from pathlib import Path

from controller.kit.kit import Kit
from controller.kit.load import load_kit
from controller.program.neighbour import neighbour_move

PAGE = Path(__file__).resolve().parents[2] / "hardware_notes" / "stiffness.md"
ROW = re.compile(r"^(\|[^|]*\| )([\d.]+) Hz \| (0\.\d+) \| .*\|$", re.MULTILINE)
MOVES = 300


def page() -> str:
    """The page with its times as the program works them out now."""
    kit = load_kit(PAGE.parent / "examples" / "long.toml")

    def row(match: re.Match[str]) -> str:
        rig, hz, damping = match.groups()
        times_s = [_seconds(kit, float(hz), float(damping), shaped=shaped) for shaped in (True, False)]
        each, all_min = (
            (f"{time_s:.1f} s" for time_s in times_s),
            (f"{MOVES * time_s / 60:.0f} min" for time_s in times_s),
        )
        return f"{rig}{hz} Hz | {damping} | {' | '.join([*each, *all_min])} |"

    return ROW.sub(row, PAGE.read_text(encoding="utf-8"))


def _seconds(kit: Kit, ring_hz: float, damping: float, *, shaped: bool) -> float:
    """From one frame to the next, until the picture is still."""
    head = kit.head.model_copy(update={"ring_hz": ring_hz, "ring_damping": damping})
    move = neighbour_move(kit.model_copy(update={"head": head}), shaped=shaped)
    return move.turning_s + move.wait_s


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8", newline="\n")
