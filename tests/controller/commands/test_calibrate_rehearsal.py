"""Calibrations rehearsed on simulated heads that differ from their kit, and made on one behind a port."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path

import pytest

from controller.calibration.records import AxisName
from controller.commands.calibrate import Keeping
from controller.commands.calibrate_readings import ReadingSource, backlash_command, level_command, steps_command
from controller.commands.calibrate_rehearsal import rehearsed
from controller.kit.load import load_kit
from tests.controller.commands.shell import KIT, Shell
from tests.controller.commands.simulated import environment, simulated

SEEDS = range(40)
LEAST_INSIDE = 34  # of 40: with 95 in 100, fewer occur about once in a thousand times (binomial distribution)


def truth_of(said: str) -> dict[str, float]:
    """The numbers in the sentence that states the truth, in order."""
    numbers = [float(number) for number in re.findall(r"\d+\.\d+", said)]
    names = ("pan", "tilt", "pan_play", "tilt_play", "lean", "toward", "instrument")
    return dict(zip(names, numbers, strict=True))


@pytest.mark.long
@pytest.mark.parametrize("axis", AxisName)
def test_the_truth_lies_in_the_stated_interval(tmp_path: Path, axis: AxisName) -> None:
    path = tmp_path / "kit.toml"
    path.write_text(KIT, encoding="utf-8")
    inside = 0
    for seed in SEEDS:
        said: list[str] = []
        source = ReadingSource(None, rehearsed(load_kit(path), seed, said.append, leans=False))
        finding = steps_command(Keeping(path), source, axis, None, by_turns=False)
        low, high = finding.interval("steps_per_degree")  # in whatever order the operator is asked
        inside += low <= truth_of(said[0])[axis.value] <= high
    assert inside >= LEAST_INSIDE


def test_play_and_lean_are_found(tmp_path: Path) -> None:
    path = tmp_path / "kit.toml"
    path.write_text(KIT, encoding="utf-8")
    said: list[str] = []
    source = ReadingSource(None, rehearsed(load_kit(path), 5, said.append, leans=False))
    play = backlash_command(Keeping(path), source, AxisName.TILT, 5, 5).as_json()
    assert abs(play["mean_reversal_deg"]) == pytest.approx(truth_of(said[0])["tilt_play"], abs=0.01)
    source = ReadingSource(None, rehearsed(load_kit(path), 5, said.append, leans=True))
    level = level_command(Keeping(path), source, None, 0.0, 500.0).as_json()
    assert level["lean_deg"] == pytest.approx(truth_of(said[1])["lean"], abs=0.02)


def test_a_rehearsal_stores_nothing_and_needs_a_kit(shell: Shell) -> None:
    before = shell.files()
    told = shell("calibrate", "steps", "--axis", "pan", "--kit", "kit.toml", "--rehearse", "1", "--json")
    assert told.status == 0, told.err
    assert json.loads(told.out)["record_id"] is None
    assert shell.files() == before
    assert shell("calibrate", "steps", "--axis", "pan", "--rehearse", "1").status == 2
    turns = shell("calibrate", "steps", "--axis", "pan", "--kit", "kit.toml", "--rehearse", "1", "--by", "turns")
    assert (turns.status, "--rehearse has no effect with --by turns" in turns.err) == (2, True)


@pytest.mark.long
@pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminals")
def test_the_head_moves_by_itself_between_readings(tmp_path: Path) -> None:
    words = ["calibrate", "level", "--kit", "kit.toml", "--port", "port", "--yes", "--countdown", "1", "--json"]
    with simulated(tmp_path, "--port-name", "port", "--speed", "20"):
        typed = "\n".join(f"{0.1 * number:.2f}" for number in (3, -2, 1, 0, -3, 2, -1, 0, 3)) + "\n"
        done = subprocess.run(
            [sys.executable, "-m", "controller", *words],
            cwd=tmp_path,
            env=environment(),
            input=typed,
            capture_output=True,
            text=True,
            check=False,
        )
    assert done.returncode == 0, done.stderr
    assert "Send the pan axis" not in done.stderr  # the head goes there by itself
    assert json.loads(done.stdout)["lean_deg"] > 0
