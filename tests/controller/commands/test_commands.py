"""The command line from outside: exit status, sentences, files, and that nothing is written by mistake."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from controller.session.session import Session
from tests.controller.commands.shell import HEADLESS, KIT, Shell, refuses


def test_plan_says_what_it_costs_and_proves_it(shell: Shell) -> None:
    told = shell("plan", "kit.toml", "--out", "plan.json")
    assert (told.status, told.err) == (0, "")
    plan = json.loads((shell.folder / "plan.json").read_text(encoding="utf-8"))
    assert f"{len(plan['frames'])} frames" in told.out
    assert "Every direction of the sphere" in told.out
    assert shell.files() == {"kit.toml", "plan.json"}


def test_plan_as_json_is_one_object(shell: Shell) -> None:
    told = shell("plan", "kit.toml", "--out", "plan.json", "--overlap", "0.2", "--json")
    assert (told.status, told.err) == (0, "")
    shown = json.loads(told.out)
    plan = json.loads((shell.folder / "plan.json").read_text(encoding="utf-8"))
    assert shown == {name: plan[name] for name in plan if name not in {"kit", "frames"}} | {
        "out": "plan.json",
        "compared": {},
        "notes": ["Where to focus is not known: state the aperture, f_number under [exposure]."],
    }
    assert {"proof", "budget", "region", "links", "order", "hash", "format_version"} < set(shown)
    assert (plan["format_version"], plan["overlap"], shown["proof"]["covered"]) == (2, 0.2, True)


def test_the_same_kit_gives_the_same_plan(shell: Shell) -> None:
    for name in ("a.json", "b.json"):
        assert shell("plan", "kit.toml", "--out", name).status == 0
    assert (shell.folder / "a.json").read_bytes() == (shell.folder / "b.json").read_bytes()


def test_rehearse_leaves_the_whole_record(planned: Shell) -> None:
    told = planned("rehearse", "plan.json", "--out", "run")
    assert told.status == 0
    assert "The set is complete." in told.out
    names = {"run/session.sqlite", "run/truth.json", "run/report.json", "run/report.html", "run/run.html"}
    assert planned.files() == {"kit.toml", "plan.json", "run", *names}


def test_rehearse_as_json_is_one_object_and_progress_goes_elsewhere(planned: Shell) -> None:
    told = planned("rehearse", "plan.json", "--out", "run", "--seed", "9", "--json")
    assert told.status == 0
    shown = json.loads(told.out)
    assert shown == json.loads((planned.folder / "run/report.json").read_text(encoding="utf-8"))
    assert (shown["seed"], shown["complete"]) == (9, True)
    assert "of" in told.err


def test_missing_files(shell: Shell) -> None:
    for words in (("plan", "nothing.toml", "--out", "p"), ("rehearse", "nothing.json", "--out", "r")):
        assert "nothing" in refuses(shell, 2, *words)[-1]


@pytest.mark.parametrize(
    "words",
    [
        ("plan",),
        ("plan", "kit.toml", "--out", "p", "--overlap", "0.95"),
        ("plan", "kit.toml", "--out", "p", "--overlap", "-0.1"),
        ("plan", "kit.toml", "--out", "p", "--overlap", "nan"),
        ("plan", "kit.toml", "--out", "p", "--overlap", "much"),
        ("plan", "kit.toml", "--out", "p", "--no-such-option"),
        ("rehearse", "kit.toml", "--out", "r", "--seed", "-1"),
        ("no-such-command",),
    ],
)
def test_wrong_use(shell: Shell, words: tuple[str, ...]) -> None:
    assert refuses(shell, 2, *words)


def test_every_mistake_in_a_kit_gets_its_sentence(shell: Shell) -> None:
    shell.write(
        "bad.toml", HEADLESS.replace("12.0", "-3") + "speed = 4\n[head.pan]\nmicrosteps = 0\n[tripod]\nlegs = 3\n"
    )
    lines = refuses(shell, 2, "plan", "bad.toml", "--out", "plan.json")
    assert len(lines) == 4
    for key in ("lens.focal_length_mm = -3", "exposure.speed", "head.pan.microsteps = 0", "tripod"):
        assert sum(key in line for line in lines) == 1
    assert all(line.startswith("bad.toml: ") for line in lines)


def test_a_focal_length_of_nothing(shell: Shell) -> None:
    shell.write("bad.toml", HEADLESS.replace("12.0", "0"))
    (line,) = refuses(shell, 2, "plan", "bad.toml", "--out", "plan.json")
    assert "lens.focal_length_mm = 0" in line


@pytest.mark.parametrize(
    ("text", "words"),
    [("[camera", "not valid TOML"), ("", "camera is missing"), ("[lens]\n", "camera is missing")],
)
def test_a_kit_that_is_none(shell: Shell, text: str, words: str) -> None:
    shell.write("bad.toml", text)
    assert words in "\n".join(refuses(shell, 2, "plan", "bad.toml", "--out", "plan.json"))


def test_a_kit_that_is_not_text(shell: Shell) -> None:
    (shell.folder / "bad.toml").write_bytes(b"\xff\xfe\x00k")
    assert "UTF-8" in refuses(shell, 2, "plan", "bad.toml", "--out", "plan.json")[0]


@pytest.mark.parametrize("text", ["no json", "[]", "{}", '{"format": "something"}', "null", '"text"'])
def test_a_plan_that_is_none(shell: Shell, text: str) -> None:
    shell.write("plan.json", text)
    (line,) = refuses(shell, 2, "rehearse", "plan.json", "--out", "run")
    assert "is not a plan" in line


def test_a_plan_of_another_version(planned: Shell) -> None:
    path = planned.folder / "plan.json"
    content = json.loads(path.read_text(encoding="utf-8"))
    path.write_text(json.dumps(content | {"format_version": 99}), encoding="utf-8")
    (line,) = refuses(planned, 2, "rehearse", "plan.json", "--out", "run")
    assert "99" in line


def test_a_plan_that_was_edited(planned: Shell) -> None:
    path = planned.folder / "plan.json"
    content = json.loads(path.read_text(encoding="utf-8"))
    content["frames"][2]["yaw_deg"] += 0.001
    path.write_text(json.dumps(content), encoding="utf-8")
    (line,) = refuses(planned, 2, "rehearse", "plan.json", "--out", "run")
    assert "changed after it was made" in line


def test_a_plan_with_a_frame_left_out(planned: Shell) -> None:
    path = planned.folder / "plan.json"
    content = json.loads(path.read_text(encoding="utf-8"))
    del content["frames"][3]
    path.write_text(json.dumps(content), encoding="utf-8")
    assert "changed after it was made" in refuses(planned, 2, "rehearse", "plan.json", "--out", "run")[0]


def test_a_plan_may_be_laid_out_anew(planned: Shell) -> None:
    path = planned.folder / "plan.json"
    path.write_text(json.dumps(json.loads(path.read_text(encoding="utf-8"))), encoding="utf-8")
    assert planned("rehearse", "plan.json", "--out", "run").status == 0


def test_places_that_cannot_be_written(planned: Shell) -> None:
    planned.write("file", "in the way")
    (line,) = refuses(planned, 1, "rehearse", "plan.json", "--out", "file/run")
    assert "cannot be made" in line
    assert refuses(planned, 1, "rehearse", "plan.json", "--out", "file")
    assert refuses(planned, 1, "plan", "kit.toml", "--out", ".")
    (line,) = refuses(planned, 1, "plan", "kit.toml", "--out", "no/such/folder/plan.json")
    assert "choose another place" in line


def test_a_result_that_cannot_be_written(planned: Shell) -> None:
    (planned.folder / "run" / "truth.json").mkdir(parents=True)
    for more in ((), ("--replace",)):
        (line,) = refuses(planned, 1, "rehearse", "plan.json", "--out", "run", *more)
        assert "Choose another place" in line


def test_a_rehearsal_is_replaced_when_that_is_asked_for(planned: Shell) -> None:
    assert planned("rehearse", "plan.json", "--out", "run", "--seed", "1").status == 0
    first = (planned.folder / "run/truth.json").read_bytes()
    planned.write("run/notes.txt", "mine")
    (line,) = refuses(planned, 1, "rehearse", "plan.json", "--out", "run", "--seed", "2")
    assert "Add --replace" in line
    assert planned("rehearse", "plan.json", "--out", "run", "--seed", "2", "--replace").status == 0
    assert (planned.folder / "run/truth.json").read_bytes() != first
    assert (planned.folder / "run/notes.txt").read_text(encoding="utf-8") == "mine"
    with Session.open(planned.folder / "run/session.sqlite") as session:
        assert session.about()["seed"] == "2"


def test_the_record_of_a_capture_is_never_replaced(planned: Shell) -> None:
    (planned.folder / "run").mkdir()
    Session.create(planned.folder / "run/session.sqlite", {"kind": "capture"}, durable=True).close()
    before = (planned.folder / "run/session.sqlite").read_bytes()
    for more in ((), ("--replace",)):
        (line,) = refuses(planned, 1, "rehearse", "plan.json", "--out", "run", *more)
        assert "Choose another place" in line
    assert (planned.folder / "run/session.sqlite").read_bytes() == before
    assert "run/truth.json" not in planned.files()


def test_some_other_file_in_the_sessions_place_is_kept(planned: Shell) -> None:
    (planned.folder / "run").mkdir()
    planned.write("run/session.sqlite", "my diary")
    (line,) = refuses(planned, 1, "rehearse", "plan.json", "--out", "run", "--replace")
    assert line.startswith("run/session.sqlite is kept")


HEAVY = ("numpy", "pydantic", "matplotlib", "lensfunpy", "transitions", "jinja2", "rich", "sqlite3", "serial")


def test_help_is_quick_and_lists_the_commands() -> None:
    """Help in a fresh interpreter, which then prints the modules that it imported."""
    code = (
        "import sys, atexit\n"
        f"atexit.register(lambda: print(*[n for n in {HEAVY!r} if n in sys.modules], file=sys.stderr))\n"
        "sys.argv = ['fullturn', '--help']\n"
        "from controller.cli.main import main\n"
        "main()\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False, timeout=60)
    assert done.returncode == 0
    assert done.stderr.strip() == ""
    for command in ("plan", "rehearse"):
        assert f"\n  {command} " in done.stdout
    assert "emergency stop" in done.stdout


def test_python_dash_m_is_the_same_command(tmp_path: Path) -> None:
    def told(*words: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "-m", "controller", *words],
            cwd=tmp_path,
            capture_output=True,
            text=True,
            check=False,
            timeout=60,
        )

    assert told("--version").stdout.startswith("fullturn ")
    wrong = told("plan", "nothing.toml", "--out", "plan.json")
    assert (wrong.returncode, wrong.stdout) == (2, "")
    (tmp_path / "kit.toml").write_text(KIT, encoding="utf-8")
    unable = told("plan", "kit.toml", "--out", "no/plan.json")
    assert (unable.returncode, unable.stdout) == (1, "")
    assert len(unable.stderr.splitlines()) == 1
    assert {path.name for path in tmp_path.iterdir()} == {"kit.toml"}


@pytest.mark.parametrize("command", ["plan", "rehearse"])
def test_each_command_has_help(shell: Shell, command: str) -> None:
    for option in ("-h", "--help"):
        told = shell(command, option)
        assert told.status == 0
        for word in ("--out", "--json"):
            assert word in told.out
    assert shell.files() == {"kit.toml"}
