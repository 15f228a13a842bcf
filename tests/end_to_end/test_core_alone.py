"""The core without any optional part: it plans, rehearses, captures, resumes, accounts, and says what it leaves out."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from controller.extras import EXTRAS, line_to_add
from tests.bench.uses import READS, REHEARSES, SHOOTS
from tests.controller.commands.shell import KIT
from tests.controller.commands.simulated import PATIENT, environment, simulated
from tests.end_to_end.test_at_the_head import WINDOW
from tests.loaded import Loaded, run_loaded

OPTIONAL = sorted({module for extra in EXTRAS.values() for module in extra.modules})
MOST_MB = 80  # of memory, for a capture on a small computer
UNDRAWN = "This page has no drawings"
NAMED = KIT.replace("[camera]", '[camera]\nmake = "Canon"\nmodel = "Canon EOS 6D"')


def alone(folder: Path, words: str, *statuses: int) -> Loaded:
    """A command where no optional part is installed."""
    loaded = run_loaded(folder, words.split(), without=OPTIONAL)
    assert loaded.status in (statuses or (0,)), loaded.out + loaded.err
    return loaded


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a plan that was made without optional parts."""
    folder = tmp_path_factory.mktemp("alone")
    (folder / "kit.toml").write_text(PATIENT, encoding="utf-8")
    alone(folder, f"plan kit.toml --out plan.json {WINDOW}")
    return folder


def headings(page: Path) -> list[str]:
    return re.findall("<h2>(.*?)</h2>", page.read_text(encoding="utf-8"))


def test_a_rehearsal_has_its_report_in_words_and_tables(planned: Path) -> None:
    told = alone(planned, "rehearse plan.json --out run --json")
    assert json.loads(told.out)["exposures_made"] == 8
    assert told.packages == REHEARSES - {"matplotlib", "packaging"}
    page = (planned / "run" / "report.html").read_text(encoding="utf-8")
    assert UNDRAWN in page
    assert line_to_add("report").replace('"', "&#34;") in page
    assert "<figure" not in page
    assert headings(planned / "run" / "report.html") == ["The sphere", "The run in time", "Rows"]
    assert "Kinds of time" in page
    drawn = planned / "drawn"
    subprocess.run(
        [sys.executable, "-m", "controller", "rehearse", "plan.json", "--out", str(drawn)],
        cwd=planned, env=environment(), check=True, capture_output=True,
    )  # fmt: skip
    assert (drawn / "report.json").read_bytes() == (planned / "run" / "report.json").read_bytes()
    assert (drawn / "truth.json").read_bytes() == (planned / "run" / "truth.json").read_bytes()
    assert UNDRAWN not in (drawn / "report.html").read_text(encoding="utf-8")


def test_missing_frames_are_a_table_where_they_cannot_be_drawn(planned: Path) -> None:
    alone(planned, "rehearse plan.json --out spoilt --faults card-full", 1)
    account = json.loads((planned / "spoilt" / "report.json").read_text(encoding="utf-8"))
    missing = account["missing_frames"]
    assert missing
    page = (planned / "spoilt" / "report.html").read_text(encoding="utf-8")
    table = page[page.index("frame not complete") : page.index("</table>")]
    assert [int(number) for number in re.findall(r"<tr><td>(\d+)</td>", table)] == missing


@pytest.fixture
def rig(planned: Path, tmp_path: Path) -> Iterator[tuple[Path, str]]:
    """A folder with the plan, and the port of a simulated rig."""
    with simulated(tmp_path, "--tcp", "127.0.0.1:0", "--truth", "truth.json", "--speed", "4") as (_, served):
        (tmp_path / "plan.json").write_bytes((planned / "plan.json").read_bytes())
        yield tmp_path, served["port"]


@pytest.mark.long
def test_a_set_is_captured_resumed_and_accounted_for(rig: tuple[Path, str]) -> None:
    folder, port = rig
    # On a very busy machine the simulated rig may end the run early; the rest is then shot by resuming.
    told = alone(folder, f"capture plan.json --port {port} --out s.sqlite --yes --countdown 1 --skip-sweep", 0, 1)
    assert (told.packages, told.peak_mb < MOST_MB) == (SHOOTS, True)
    assert alone(folder, "tell s.sqlite retake 0").packages == READS
    told = alone(folder, "resume s.sqlite --yes --countdown 1 --skip-sweep")
    assert "The set is complete." in told.out
    assert (told.packages, told.peak_mb < MOST_MB) == (SHOOTS | {"networkx"}, True)
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))["exposures"]
    assert len(truth) >= 8 + 2
    assert "The set is complete." in alone(folder, "report s.sqlite --out account").out
    assert UNDRAWN in (folder / "account" / "report.html").read_text(encoding="utf-8")


def test_a_kit_that_must_be_looked_up_says_which_part_is_missing(tmp_path: Path) -> None:
    named = NAMED.replace("sensor_width_mm = 36.0\nsensor_height_mm = 24.0\n", "")
    (tmp_path / "kit.toml").write_text(named, encoding="utf-8")
    told = alone(tmp_path, "kit check kit.toml", 2)
    assert told.err.splitlines() == [
        'kit.toml: camera.make = "Canon", camera.model = "Canon EOS 6D": looking them up needs a part that is not '
        f"installed. Add it with: {line_to_add('lenses')}"
    ]
    assert line_to_add("lenses") in alone(tmp_path, "kit find eos", 2).err


def test_names_are_only_labels_where_all_is_stated(tmp_path: Path) -> None:
    (tmp_path / "kit.toml").write_text(NAMED, encoding="utf-8")
    assert "field of view" in alone(tmp_path, "kit check kit.toml").out


def test_a_broken_library_spoils_no_report(planned: Path) -> None:
    """As after an update of one library that another does not fit: it is there, and cannot be loaded."""
    library = planned / "broken" / "matplotlib"
    library.mkdir(parents=True)
    (library / "__init__.py").write_text("raise ImportError('does not fit')\n", encoding="utf-8")
    script = f"import sys\nsys.path.insert(0, {str(library.parent)!r})\nfrom controller.cli.main import main\nmain()\n"
    subprocess.run(
        [sys.executable, "-c", script, "rehearse", "plan.json", "--out", "broken-run"],
        cwd=planned, env=environment(), check=True, capture_output=True,
    )  # fmt: skip
    assert UNDRAWN in (planned / "broken-run" / "report.html").read_text(encoding="utf-8")
