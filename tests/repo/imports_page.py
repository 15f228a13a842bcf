"""The page of the libraries that each command loads, from the uses that the bench measures.

`python -m tests.repo.imports_page` writes it.
"""

from tests.bench.uses import USES
from tests.repo.test_layers import ROOT

PAGE = ROOT / "docs" / "contributors" / "imports.md"
MADE_BY = "<!-- Written by `python -m tests.repo.imports_page`: change tests/bench/uses.py, not this page. -->"

TITLE = "What each command loads"
ABOUT = """\
A command loads the libraries that it uses, when it uses them. So help is quick, a capture is small, and the core runs
where an optional library cannot be installed. The table has the shortest real use of most commands, and which of our
requirements are loaded by then. Libraries that these load in turn are left out. `--help` and wrong use load click alone.

`python -m tests.bench --group loading` runs all of them. It prints time and peak memory, and counts commands that load
anything else. The peak is VmHWM of the command, from proc(5), plus the peak of the largest process that it started.
The suite checks the commands of a run.

How it is done: `cli/later.py` delays our own modules until a command runs. A library that only some uses of a module
need is imported inside the function that needs it; `tests/controller/cli/test_later.py` lists these. An optional part is
asked for with `controller/extras.py`."""


def imports_page() -> str:
    """The page as Markdown."""
    rows = [f"| `fullturn {use.words.format(port='PORT')}` | {', '.join(sorted(use.loads))} |" for use in USES]
    return "\n".join([MADE_BY, "", f"# {TITLE}", "", ABOUT, "", "| use | loads |", "| --- | --- |", *rows, ""])


if __name__ == "__main__":
    PAGE.write_text(imports_page(), encoding="utf-8", newline="\n")
