"""Draw the state diagram into DEVELOPERS.md anew: `python -m tests.repo.diagram`."""

import re
from pathlib import Path

from controller.capture.states import mermaid

DOCUMENT = Path(__file__).resolve().parents[2] / "DEVELOPERS.md"

if __name__ == "__main__":
    text = DOCUMENT.read_text(encoding="utf-8")
    drawn = f"```mermaid\n{mermaid()}```"
    DOCUMENT.write_text(re.sub(r"```mermaid\n.*?```", lambda _: drawn, text, flags=re.DOTALL), encoding="utf-8")
