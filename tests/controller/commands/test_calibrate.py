"""`fullturn calibrate` as scripts and people use it."""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from controller.planning.plan_file import load_plan
from tests.controller.calibration.test_backlash import DOWN, TARGETS, UP
from tests.controller.calibration.test_least_squares import B, X
from tests.controller.commands.shell import HEADLESS, Shell, refuses
from tests.controller.report.test_html import Strict
from tests.heads import head_text

STEPS = ("calibrate", "steps", "--axis", "pan")
BACKLASH = ("calibrate", "backlash", "--axis", "tilt")
LEVEL = ("calibrate", "level")
VERIFY = ("calibrate", "verify")


def table(names: str, *columns: Any) -> str:
    rows = (",".join(str(cell) for cell in row) for row in zip(*columns, strict=True))
    return "\n".join((names, *rows)) + "\n"


def turn(rate: float = 323.0, factor: float = 1.0, seed: int = 1) -> str:
    """A turn of readings with an error of about a hundredth of a degree."""
    steps = np.arange(0, 115201, 4800)
    read = (steps / rate + np.random.default_rng(seed).normal(0, 0.01, 25)) * factor
    return table("commanded_steps,angle_deg", steps, read.round(4))


def approaches() -> str:
    rows = [
        (t, word, x)
        for word, sides in (("up", UP), ("down", DOWN))
        for t, xs in zip(TARGETS, sides, strict=True)
        for x in xs
    ]
    return table("target_deg,direction,measured_deg", *zip(*rows, strict=True))


def tilts() -> str:
    yaws = np.arange(0, 360, 45)
    noise = np.random.default_rng(1).normal(0, 0.01, 8)
    return table("yaw_deg,reading_deg", yaws, (0.3 - 0.8 * np.cos(np.radians(yaws - 120)) + noise).round(4))


def visits(scatter: float = 0.01) -> str:
    rng = np.random.default_rng(1)
    target = np.repeat([[10.0, 0.0], [120.0, 45.0], [250.0, -30.0]], 5, axis=0)
    got = target + rng.normal(0, scatter, target.shape)
    return table("target_yaw_deg,target_pitch_deg,yaw_deg,pitch_deg", *target.T, *got.T)


GOOD: dict[tuple[str, ...], Callable[[], str]] = {STEPS: turn, BACKLASH: approaches, LEVEL: tilts, VERIFY: visits}


def found(shell: Shell, words: tuple[str, ...], text: str, *more: str) -> dict[str, Any]:
    """The one JSON object that a procedure prints for these readings."""
    shell.write("f.csv", text)
    told = shell(*words, "--from", "f.csv", *more, "--json")
    assert (told.status, told.err) == (0, "")
    shown: dict[str, Any] = json.loads(told.out)
    return shown


def test_steps_by_the_contract(shell: Shell) -> None:
    """GUM H.3 (JCGM 100:2008): slope 0.00218 with u 0.00067, intercept -0.1712 with u 0.0029, r -0.930, s 0.0035."""
    pan = {"eccentricity_deg": 0.0, "full_steps_per_turn": 8250, "gear_ratio": 1.25}
    shell.write("centred.toml", HEADLESS + head_text(pan=pan))
    shown = found(shell, STEPS, table("commanded_steps,angle_deg", X, B), "--kit", "centred.toml", "--dry")
    assert 1 / shown["steps_per_degree"] == pytest.approx(0.00218, abs=0.5e-5)
    assert shown["u_steps_per_degree"] / shown["steps_per_degree"] ** 2 == pytest.approx(0.00067, abs=0.5e-5)
    assert shown["offset_deg"] == pytest.approx(-0.1712, abs=0.5e-4)
    assert shown["u_offset_deg"] == pytest.approx(0.0029, abs=0.5e-4)
    assert shown["correlation"] == pytest.approx(-0.930, abs=0.5e-3)
    assert shown["residual_sd_deg"] == pytest.approx(0.0035, abs=0.5e-4)
    assert shown["stated"] == "from the scatter alone"  # the readings are in the order of their values
    assert "interval_95" not in shown
    low, high = shown["interval_from_scatter"]["offset_deg"]
    assert (low, high) == pytest.approx((-0.1712 - 2.262 * 0.00288, -0.1712 + 2.262 * 0.00288), abs=1e-4)  # t for 9


def test_backlash_by_the_contract(shell: Shell) -> None:
    """The published ISO 230-2 data (see test_backlash)."""
    shown = found(shell, BACKLASH, approaches())
    wanted = {
        "reversal_deg": 0.051238,
        "mean_reversal_deg": 0.0354444,
        "repeatability_deg": 0.2371489,
        "systematic_deg": 0.063542,
        "mean_deviation_range_deg": 0.022260,
        "accuracy_deg": 0.2433701,
    }
    for name, value in wanted.items():
        assert shown[name] == pytest.approx(value, abs=5e-7)


def test_turns_by_their_columns(shell: Shell) -> None:
    shown = found(shell, STEPS, "turns,steps\n1,116280\n2,232561\n1,116281\n")
    assert shown["steps_per_degree"] == pytest.approx(323, rel=1e-4)


@pytest.mark.parametrize("words", GOOD)
def test_without_a_kit_or_dry_nothing_is_stored(shell: Shell, words: tuple[str, ...]) -> None:
    found(shell, words, GOOD[words]())
    assert found(shell, words, GOOD[words](), "--kit", "kit.toml", "--dry")["record_id"] is None
    assert shell.files() == {"kit.toml", "f.csv"}
    assert "Nothing was stored, because no kit was named" in shell(*words, "--from", "f.csv").out
    assert "Nothing was stored (--dry)" in shell(*words, "--from", "f.csv", "--kit", "kit.toml", "--dry").out


@pytest.mark.parametrize("words", GOOD)
def test_with_a_kit_a_record_is_stored_and_a_page_written(shell: Shell, words: tuple[str, ...]) -> None:
    shown = found(shell, words, GOOD[words](), "--kit", "kit.toml", "--with", "a dial", "--page", "p.html")
    assert shown["record_id"] == 1
    assert shell.files() == {"kit.toml", "f.csv", "kit.calibration.json", "p.html"}
    told = shell("calibrate", "show", "kit.toml", "--json")
    record = json.loads(told.out)
    assert (record["kind"], record["with_what"], record["standing"]) == (words[1], "a dial", "counts")
    for name, value in record["values"].items():
        assert shown[name] == value
    page = Strict()
    page.feed((shell.folder / "p.html").read_text(encoding="utf-8"))
    page.close()
    assert page.open == []
    assert "svg" in page.tags
    assert next(iter(record["values"])) in page.text
    assert not [value for name, value in page.attributes if name in {"src", "href"} and not value.startswith("#")]


def test_text_for_people(shell: Shell) -> None:
    shell.write("f.csv", turn())
    said = shell(*STEPS, "--from", "f.csv", "--kit", "kit.toml").out
    assert said.startswith("32")
    assert "± " in said
    assert "+0.9" in said  # 323 against the kit's 320
    assert "Stored as record 1 in kit.calibration.json." in said
    shell.write("l.csv", tilts())
    said = shell(*LEVEL, "--from", "l.csv", "--leg-yaw-deg", "120").out
    assert "Raise the leg at yaw 120°" in said
    shell.write("b.csv", approaches())
    assert "ISO 230-2" in shell(*BACKLASH, "--from", "b.csv").out


def test_an_outlier_is_named_by_its_line(shell: Shell) -> None:
    lines = turn(seed=2).splitlines()
    steps = lines[9].split(",")[0]
    lines[9] = f"{steps},{int(steps) / 323 + 2}"
    shown = found(shell, STEPS, "\n".join(lines))
    assert [outlier["line"] for outlier in shown["outliers"]] == [10]
    assert "line 10 (+2°)" in shell(*STEPS, "--from", "f.csv").out


def test_list_show_undo(shell: Shell) -> None:
    assert shell("calibrate", "list", "kit.toml").out == "Nothing was calibrated yet.\n"
    for seed in (1, 2):
        found(shell, STEPS, turn(seed=seed), "--kit", "kit.toml")

    def standings() -> list[str]:
        return [each["standing"] for each in json.loads(shell("calibrate", "list", "kit.toml", "--json").out)]

    assert standings() == ["older", "counts"]
    assert "undone" in shell("calibrate", "undo", "kit.toml").out
    assert standings() == ["counts", "undone"]
    assert shell("calibrate", "show", "kit.toml", "1").out.startswith("   1  ")
    shell.write("kit.toml", HEADLESS + head_text(pan={"gear_ratio": 40.0}))
    assert standings() == ["kit changed", "undone"]
    assert refuses(shell, 2, "calibrate", "show", "kit.toml", "9")[0].startswith("kit.calibration.json: has no record 9")
    assert refuses(shell, 2, "calibrate", "undo", "kit.toml", "2") == [
        "kit.calibration.json: record 2 is already undone."
    ]


def test_show_and_undo_where_nothing_is(shell: Shell) -> None:
    for what in ("show", "undo"):
        (line,) = refuses(shell, 2, "calibrate", what, "kit.toml")
        assert line.endswith(".")


BAD = {
    (STEPS, "", 2, "f.csv: is empty"),
    (STEPS, "commanded_steps,angle_deg\n", 2, "no readings"),
    (STEPS, "commanded_steps,angle_deg\n0,0\n", 1, "too few"),
    (STEPS, "commanded_steps,angle_deg\n0,0\n1,x\n", 2, "f.csv line 3: angle_deg = x"),
    (STEPS, turn(factor=np.pi / 180), 1, "radians"),
    (STEPS, turn(factor=60), 1, "arc minutes"),
    (STEPS, turn(rate=400.0), 1, "off the kit's gearing"),
    (
        STEPS,
        table("commanded_steps,angle_deg", range(0, 8000, 320), np.random.default_rng(0).permutation(25)),
        1,
        "follow",
    ),
    (STEPS, "commanded_steps,angle_deg,u_angle_deg\n0,0,1\n1,1,0\n", 2, "f.csv line 3: u_angle_deg = 0"),
    (STEPS, "turns,steps\n1,5\n0,5\n", 2, "f.csv line 3: turns = 0"),
    (STEPS, "turns,steps\n1,115200\n", 1, "too few"),
    (BACKLASH, "", 2, "f.csv: is empty"),
    (BACKLASH, "target_deg,direction,measured_deg\n1,up,1\n", 1, "approached 1 times"),
    (BACKLASH, "target_deg,direction,measured_deg\n1,left,1\n", 2, "f.csv line 2: direction = left"),
    (LEVEL, "yaw_deg,reading_deg\n0,0\n", 1, "too few"),
    (LEVEL, "yaw_deg,tilt_deg\n0,0\n", 2, "has no column reading_deg"),
    (VERIFY, "target_yaw_deg,target_pitch_deg,yaw_deg,pitch_deg\n1,1,1,1\n", 1, "visited 1 times"),
    (VERIFY, "target_yaw_deg,target_pitch_deg,yaw_deg,pitch_deg\n90,0,1.57,0\n", 1, "f.csv line 2: the pose was missed"),
}


@pytest.mark.parametrize(("words", "text", "status", "says"), sorted(BAD), ids=lambda value: str(value)[:30])
def test_bad_readings_are_one_sentence_and_nothing_is_stored(
    shell: Shell, words: tuple[str, ...], text: str, status: int, says: str
) -> None:
    shell.write("f.csv", text)
    (line,) = refuses(shell, status, *words, "--from", "f.csv", "--kit", "kit.toml", "--page", "p.html")
    assert says in line
    assert line.endswith((".", "?"))


def test_a_head_that_is_not_good_enough(shell: Shell) -> None:
    shell.write("f.csv", visits())
    told = shell(*VERIFY, "--from", "f.csv", "--needed-deg", "0.01", "--json")
    assert told.status == 1
    assert json.loads(told.out)["passed"] is False
    assert shell(*VERIFY, "--from", "f.csv", "--needed-deg", "0.01").out.startswith("FAILED")
    assert shell(*VERIFY, "--from", "f.csv", "--needed-deg", "0.5").out.startswith("Passed")


def test_verify_takes_the_plans_word(planned: Shell) -> None:
    planned.write("f.csv", visits())
    told = planned(*VERIFY, "--from", "f.csv", "--plan", "plan.json", "--json")
    proof = load_plan(planned.folder / "plan.json").proof
    assert json.loads(told.out)["needed_deg"] == max(proof.worst_margin_deg, proof.pointing_error_deg)


def test_a_plan_is_made_with_what_was_calibrated(shell: Shell) -> None:
    found(shell, STEPS, turn(), "--kit", "kit.toml")
    told = shell("plan", "kit.toml", "--out", "plan.json")
    assert "Calibration of steps of the pan axis: calibrated 0.0 days ago (record 1)." in told.out
    pan = load_plan(shell.folder / "plan.json").kit.head.pan
    assert pan.steps_per_degree == pytest.approx(323, rel=1e-3)
    assert shell("rehearse", "plan.json", "--out", "r").status == 0
    shell("calibrate", "undo", "kit.toml")
    assert "Calibration" not in shell("plan", "kit.toml", "--out", "plan.json").out


def test_a_damaged_calibration_file_stops_a_plan(shell: Shell) -> None:
    shell.write("kit.calibration.json", "{")
    (line,) = refuses(shell, 2, "plan", "kit.toml", "--out", "plan.json")
    assert line.startswith("kit.calibration.json: is not a calibration file (not valid JSON at line 1, column 2: {).")


def test_typed_in(shell: Shell, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO("1\n115200\n1\n115202\n2\n230402\n\n"))
    told = shell(*STEPS, "--by", "turns", "--kit", "kit.toml", "--json")
    assert told.status == 0
    assert json.loads(told.out)["steps_per_degree"] == pytest.approx(320, rel=1e-4)
    assert "Choose a far mark with a sharp edge, 200 m away or more." in told.err  # 12 mm, pixels of 6 µm


def test_nobody_there_to_type(shell: Shell, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    told = shell(*LEVEL, "--kit", "kit.toml")
    assert told.status == 1
    assert "Traceback" not in told.err
    assert shell.files() == {"kit.toml"}
