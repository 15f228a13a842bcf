"""An example of a head can be planned for and rehearsed, but no command moves a real head with it."""

from __future__ import annotations

import io
import json
import sys
from collections.abc import Iterator

import click
import pytest

from controller.calibration.validity import calibrated
from controller.cli.main import cli
from controller.kit.load import load_kit
from controller.kit.own_head import GEARING, MOTION
from controller.planning.plan_file import load_plan
from controller.ports import serial_port
from controller.session.session import Session
from tests.controller.commands.shell import HEADLESS, KIT, Shell, Told, refuses
from tests.heads import head_text

PORT = ("--port", "virtual-port", "--yes")
AXIS = ("--axis", "pan")
# What is typed for each command that needs a board and a kit. Commands without a kit move what they are told.
MOVERS = {
    "capture": ("plan.json", *PORT, "--out", "s.sqlite"),
    "resume": ("begun.sqlite", *PORT),
    "jog": ("kit.toml", *PORT, "--to", "10", "10"),
    "calibrate steps": (*AXIS, "--kit", "kit.toml", *PORT),
    "calibrate backlash": (*AXIS, "--kit", "kit.toml", *PORT),
    "calibrate level": ("--kit", "kit.toml", *PORT),
    "calibrate settle": ("--kit", "kit.toml", *PORT),
    "calibrate verify": ("--kit", "kit.toml", "--plan", "plan.json", *PORT),
    "board check": ("--kit", "kit.toml", *PORT),
    "kit setup": ("kit.toml", *PORT[:2]),
}
# These move nothing; the page begins commands that do.
WITHOUT_KIT = {"doctor", "board find", "board flash", "board listen", "board soak", "page", "install-service"}


class Terminal(io.StringIO):
    """A terminal at which nobody answers."""

    def isatty(self) -> bool:
        return True


def commands_with_a_port(command: click.Command, name: str = "") -> Iterator[str]:
    if isinstance(command, click.Group):
        for below, each in command.commands.items():
            yield from commands_with_a_port(each, f"{name} {below}".strip())
    elif any("--port" in each.opts for each in command.params):
        yield name


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The ports that were opened."""
    lines: list[str] = []

    def open_line(url: str, _: int) -> None:
        lines.append(url)
        raise OSError("there is no such line")

    monkeypatch.setattr(serial_port, "_open", open_line)
    monkeypatch.setattr(sys, "stdin", Terminal())
    return lines


def begin(shell: Shell, kit: str) -> None:
    """A plan of this kit, and a session that was begun with it."""
    shell.write("kit.toml", kit)
    assert shell("plan", "kit.toml", "--out", "plan.json").status == 0
    plan = load_plan(shell.folder / "plan.json")
    about = {"kind": "capture", "port": PORT[1], "plan": plan.model_dump_json(), "plan_hash": plan.hash, "began": "now"}
    with Session.create(shell.folder / "begun.sqlite", about, durable=False):
        pass


def test_every_command_with_a_port_is_thought_of() -> None:
    assert set(commands_with_a_port(cli)) == MOVERS.keys() | WITHOUT_KIT


def test_no_command_moves_an_example(shell: Shell, opened: list[str]) -> None:
    begin(shell, HEADLESS)
    before = shell.files()
    for name, words in MOVERS.items():
        told = shell(*name.split(), *words)
        assert (told.status, told.out) == (2, ""), name
        (sentence,) = told.err.splitlines()
        assert "the head is an example, so this program moves no real head with it" in sentence, name
        assert f"{', '.join((*GEARING, *MOTION))} under [head.pan] and the same under [head.tilt]" in sentence, name
    assert opened == []
    assert shell.files() == before


def test_a_stated_head_gets_as_far_as_the_line(shell: Shell, opened: list[str]) -> None:
    begin(shell, KIT)
    for count, (name, words) in enumerate(MOVERS.items(), 1):
        if name == "kit setup":  # it asks step by step first
            continue
        told: Told | OSError
        try:
            told = shell(*name.split(), *words)
        except OSError as error:
            told = error
        assert len(opened) == count, (name, told)


def test_a_kit_of_today_counts_and_not_the_plans(shell: Shell, opened: list[str]) -> None:
    """The same figures, stated since the plan was made; and an aperture, on which the plan does not depend."""
    begin(shell, HEADLESS)
    shell.write("today.toml", HEADLESS.replace("bracket_ev", "f_number = 8.0\nbracket_ev") + head_text())
    assert "is an example" in refuses(shell, 2, "capture", *MOVERS["capture"])[0]
    with pytest.raises(OSError, match="no such line"):
        shell("capture", *MOVERS["capture"], "--kit", "today.toml")
    assert opened == [PORT[1]]


def test_an_example_is_planned_for_rehearsed_and_called_one(shell: Shell) -> None:
    shell.write("kit.toml", HEADLESS)
    planned = shell("plan", "kit.toml", "--out", "plan.json")
    rehearsed = shell("rehearse", "plan.json", "--out", "rehearsal")
    assert (planned.status, rehearsed.status) == (0, 0)
    tried = shell("calibrate", "steps", "--axis", "pan", "--kit", "kit.toml", "--rehearse", "1")
    assert tried.status == 0
    for told in (
        planned.out,
        rehearsed.out,
        tried.out + tried.err,
        (shell.folder / "rehearsal/report.html").read_text(encoding="utf-8"),
    ):
        assert "The head is an example: its times and limits are not yours" in told
    shell.write("kit.toml", KIT)
    assert "is an example" not in shell("plan", "kit.toml", "--out", "own.json").out


def test_check_says_of_each_figure_where_it_comes_from(shell: Shell) -> None:
    shell.write("kit.toml", HEADLESS)
    lines = {line["what"]: line for line in json.loads(shell("kit", "check", "kit.toml", "--json").out)}
    assert lines["pan: steps per degree"]["source"] == "example"
    assert lines["field of view"]["source"] == "stated"
    assert set(lines["your head"]["sources"]) == {
        f"head.{axis}.{key}" for axis in ("pan", "tilt") for key in (*GEARING, *MOTION)
    }
    shell.write("kit.toml", HEADLESS + "[head.pan]\ngear_ratio = 36.0\n")
    lines = {line["what"]: line for line in json.loads(shell("kit", "check", "kit.toml", "--json").out)}
    assert lines["pan: steps per degree"]["sources"] == {
        "head.pan.full_steps_per_turn": "example", "head.pan.microsteps": "example", "head.pan.gear_ratio": "stated",
    }  # fmt: skip
    assert lines["pan: steps per degree"]["source"] == "example"
    assert (
        "(200 x 16 x 36 / 360; example: full_steps_per_turn, microsteps; stated: gear_ratio)"
        in shell("kit", "check", "kit.toml").out
    )
    shell.write("kit.toml", KIT)
    assert "your head" not in shell("kit", "check", "kit.toml").out


def test_a_new_kit_states_nothing_that_nobody_has_said(shell: Shell) -> None:
    words = ("--camera", "Nikon D750", "--lens", "Nikon AI-S Nikkor 24mm f/2.8", "--pixels", "6016x4016")
    assert "not stated yet" in shell("kit", "new", *words, "--out", "new.toml").out
    kit = calibrated(load_kit(shell.folder / "new.toml"), [])
    stated = {"camera.make", "camera.model", "camera.pixels_wide", "camera.pixels_high", "lens.make", "lens.model",
              "lens.focal_length_mm"}  # fmt: skip
    tables = kit.model_dump(exclude={"sources"}, exclude_none=True)
    keys = {
        f"{table}.{key}" for table, keys in tables.items() for key, value in keys.items() if not isinstance(value, dict)
    }
    assert {key for key in keys if kit.source(key).value == "stated"} == stated
    assert "is an example" in refuses(shell, 2, "jog", "new.toml", *PORT, "--to", "10", "10")[0]
    text = (shell.folder / "new.toml").read_text(encoding="utf-8")
    shell.write("own.toml", "\n".join(line.removeprefix("# ") if " = " in line else line for line in text.splitlines()))
    assert "your head" not in shell("kit", "check", "own.toml").out  # each line without its # is a key of the kit
