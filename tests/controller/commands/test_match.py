"""`fullturn match`: a session and its card, as files."""

from __future__ import annotations

import csv
import json
import os
import re
import sqlite3
import subprocess
import sys
from contextlib import closing
from datetime import timedelta
from pathlib import Path
from types import SimpleNamespace

import pytest

from controller.kit.load import load_kit
from controller.planning.make import make_plan
from controller.session.rows import Intent
from controller.session.session import Session
from tests.controller.commands.shell import Shell, refuses
from tests.controller.commands.shot_card import BEGIN, EXPOSURES, PLAN, SHUTTERS, card_at, opened_s, session_at, shot
from tests.controller.csv_reader import csv_rows


def content(folder: Path) -> dict[str, tuple[bytes, int]]:
    return {
        str(path.relative_to(folder)): (path.read_bytes(), path.stat().st_mtime_ns)
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def test_a_whole_card(ready: Shell) -> None:
    told = ready("match", "s.sqlite", "card")
    assert told.status == 0
    assert f"{len(EXPOSURES)} files of Anvil One paired" in told.out
    assert "all of them for sure, the least certain of these at more than a million to 1." in told.out
    assert "Every exposure of the set has its file." in told.out
    assert "2:00:03.1 ahead of the session's, including its time zone" in told.out


def test_what_is_missing_is_to_be_shot_once_more(shell: Shell) -> None:
    session_at(shell.folder / "s.sqlite")
    card_at(shell.folder / "card", without=(7, 20))
    told = shell("match", "s.sqlite", "card")
    assert told.status == 1
    frames = ",".join(str(EXPOSURES[number][0]) for number in (7, 20))
    assert f"missing  frame {EXPOSURES[7][0]}, exposure {EXPOSURES[7][1]}" in told.out
    assert f"`fullturn tell s.sqlite retake {frames}`" in told.out
    # `tell` accepts what it prints, as numbers or as the table.
    assert shell("match", "s.sqlite", "card", "--out", "home").status == 1
    by_table = shell("tell", "s.sqlite", "retake", "home/match.json")
    assert by_table.status == 0
    again, told_twice = frames.replace(",", ", "), shell("tell", "s.sqlite", "retake", frames)
    assert f"reshoots frames {again}." in by_table.out
    assert f"Frames {again} are missing anyway" in told_twice.out
    shell.write("other.json", "{}")
    assert "is not a table" in refuses(shell, 2, "tell", "s.sqlite", "retake", "other.json")[0]


def test_frames_told_to_retake_are_not_used_and_the_session_lacks_them(shell: Shell) -> None:
    session_at(shell.folder / "s.sqlite", doubts=(2,))
    card_at(shell.folder / "card")
    told = shell("match", "s.sqlite", "card", "--json")
    found = json.loads(told.out)
    assert found["not_made"] == 3
    assert [line["frame"] for line in found["lines"] if not line["use"]] == [2, 2, 2]


def test_files_that_are_nobody_s_of_another_camera_and_cut_short(ready: Shell) -> None:
    folder = ready.folder / "card" / "100ANVIL"
    for place, second in enumerate((-400, -380)):
        shot(folder / f"TEST_{place}.JPG", 0, timedelta(hours=2, seconds=second))
    shot(folder / "PHONE.JPG", 5, model="Two")
    cut = folder / "FULL0010.JPG"
    cut.write_bytes(cut.read_bytes()[:-20])
    found = json.loads(ready("match", "s.sqlite", "card", "--json").out)
    extra = {line["file"]: line["notes"] for line in found["lines"] if line["verdict"] == "extra"}
    assert extra == {
        "100ANVIL/TEST_0.JPG": [],
        "100ANVIL/TEST_1.JPG": [],
        "100ANVIL/PHONE.JPG": ["is of another camera"],
    }
    assert found["retake"] == [EXPOSURES[9][0]]


def test_another_shutter_time_than_planned(ready: Shell) -> None:
    shot(ready.folder / "card" / "100ANVIL" / "FULL0005.JPG", 4, shutter=SHUTTERS[1] * 8)
    told = ready("match", "s.sqlite", "card")
    assert "look at  100ANVIL/FULL0005.JPG  frame 1, exposure 1  exposed +3.0 EV from what was planned" in told.out


@pytest.mark.parametrize("by", ["frame", "row"])
@pytest.mark.parametrize("how", ["--copy", "--link"])
def test_the_card_is_sorted_and_not_touched(ready: Shell, by: str, how: str) -> None:
    before = content(ready.folder / "card")
    told = ready("match", "s.sqlite", "card", "--out", "home", "--sort", by, how, "--xmp")
    assert told.status == 0
    assert content(ready.folder / "card") == before
    pictures = sorted((ready.folder / "home" / "pictures").rglob("*.JPG"))
    assert len(pictures) == len(EXPOSURES)
    assert {path.read_bytes() for path in pictures} == {data for data, _ in before.values()}
    assert all(path.is_symlink() == (how == "--link") for path in pictures)
    assert all(path.with_suffix(".xmp").is_file() for path in pictures)
    folders = len(PLAN.frames) if by == "frame" else len({frame.row for frame in PLAN.frames})
    assert len(list((ready.folder / "home" / "pictures").iterdir())) == folders


def test_the_table_says_what_the_command_says(ready: Shell) -> None:
    told = ready("match", "s.sqlite", "card", "--out", "home", "--json")
    printed, kept = json.loads(told.out), json.loads((ready.folder / "home" / "match.json").read_text())
    assert printed["lines"] == kept["lines"]
    assert printed["sentences"] == kept["sentences"]
    with (ready.folder / "home" / "match.csv").open() as file:
        rows = list(csv.DictReader(file))
    assert [(row["file"], row["frame"], row["exposure"]) for row in rows] == [
        (line["file"], str(line["frame"]), str(line["exposure"])) for line in kept["lines"]
    ]


@pytest.mark.parametrize("without", [(), (4,), tuple(range(9, 15))], ids=["whole", "one lacks", "two frames lack"])
@pytest.mark.parametrize("doubts", [(), (1, 2)], ids=["all made", "two to retake"])
def test_the_sentences_of_the_result_are_those_that_are_printed(
    shell: Shell, without: tuple[int, ...], doubts: tuple[int, ...]
) -> None:
    """But for the lines that are commands to type, and where the table is: a window has buttons and links for these."""
    session_at(shell.folder / "s.sqlite", doubts)
    card_at(shell.folder / "card", without)
    told = shell("match", "s.sqlite", "card").out.splitlines()
    found = json.loads(shell("match", "s.sqlite", "card", "--json").out)
    instead = [f"The session itself lacks {found['not_made']} exposures."] if found["not_made"] else []
    if found["retake"]:
        number, which = len(found["retake"]), ", ".join(map(str, found["retake"]))
        instead.append(f"To be shot again: {number} frame{'' if number == 1 else 's'} ({which}).")
    assert [each for each in found["sentences"] if each not in instead] == [each for each in told if "`" not in each]
    assert set(instead) <= set(found["sentences"])
    assert len([each for each in told if "`" in each]) == len(instead)


def test_it_refuses_in_one_sentence_and_leaves_nothing(ready: Shell, tmp_path: Path) -> None:
    (ready.folder / "empty").mkdir()
    (ready.folder / "full").mkdir()
    (ready.folder / "full" / "x").write_text("x")
    with Session.create(ready.folder / "none.sqlite", {"plan": PLAN.model_dump_json()}, durable=True):
        pass
    for status, words, part in (
        (2, ["s.sqlite", "empty"], "holds no photographs"),
        (2, ["none.sqlite", "card"], "has no exposures"),
        (1, ["s.sqlite", "card", "--out", "full"], "not empty"),
        (1, ["s.sqlite", "card", "--out", "card/home"], "is inside card"),
        (2, ["kit.toml", "card"], "is not a session"),
    ):
        files = ready.files()
        assert part in " ".join(refuses(ready, status, "match", *words))
        assert ready.files() == files
    assert "--out" in ready("match", "s.sqlite", "card", "--sort", "row").err
    assert "--sort" in ready("match", "s.sqlite", "card", "--xmp", "--out", "o").err


def test_the_card_of_another_run_is_refused(shell: Shell) -> None:
    session_at(shell.folder / "s.sqlite")
    for number in range(30):
        moment = timedelta(seconds=17.3 * number**1.4 - opened_s(0))
        shot(shell.folder / "card" / f"A{number}.JPG", 0, moment, shutter=0.004)
    assert "do not fit the times of s.sqlite; give the card of that run" in " ".join(
        refuses(shell, 2, "match", "s.sqlite", "card")
    )


def test_a_card_of_the_same_plan_on_another_day_is_doubted_first(shell: Shell) -> None:
    """Its times fit perfectly, so a clock that was never set explains it as well."""
    session_at(shell.folder / "s.sqlite")
    for number in range(len(EXPOSURES)):
        shot(shell.folder / "card" / f"FULL{number + 1:04}.JPG", number, timedelta(days=3, seconds=521))
    told = shell("match", "s.sqlite", "card")
    assert told.status == 0
    assert told.out.splitlines()[0] == (
        "By the camera's clock this card was shot 3 days after the session: unless that clock was wrong, it is the card "
        "of another run of the same plan."
    )
    assert json.loads(shell("match", "s.sqlite", "card", "--json").out)["other_run"] in told.out


def test_a_card_that_fits_no_better_than_another_s_is_refused(shell: Shell) -> None:
    """The first row of another plan, at nearly the same pace, two days later."""
    session_at(shell.folder / "s.sqlite")
    for number in range(15):
        at_s = 10 + number * 4.1 - opened_s(0)
        shot(
            shell.folder / "card" / f"A{number:04}.JPG",
            0,
            timedelta(days=2, hours=1.7, seconds=at_s),
            shutter=SHUTTERS[1],
        )
    (said,) = refuses(shell, 2, "match", "s.sqlite", "card")
    assert "its photographs " in said
    assert "card of that run (by the camera's clock they were shot 2026-06-23 06:42 to 06:43, the run was" in said
    assert refuses(shell, 2, "inspect", "s.sqlite", "card") == [said]


def test_copies_are_named_and_take_no_certainty_away(ready: Shell) -> None:
    folder = ready.folder / "card" / "100ANVIL"
    for number, name in ((5, "FULL0006 (1).JPG"), (9, "A.JPG"), (20, "FULL9000.JPG")):
        (folder / name).write_bytes((folder / f"FULL{number + 1:04}.JPG").read_bytes())
    found = json.loads(ready("match", "s.sqlite", "card", "--json").out)
    assert found["counts"]["sure"] == len(EXPOSURES)
    assert {line["file"]: line["notes"] for line in found["lines"] if line["verdict"] == "extra"} == {
        "100ANVIL/FULL0006 (1).JPG": ["is a copy of FULL0006.JPG"],
        "100ANVIL/A.JPG": ["is a copy of FULL0010.JPG"],
        "100ANVIL/FULL9000.JPG": ["is a copy of FULL0021.JPG"],
    }
    assert found["retake"] == []


@pytest.mark.parametrize("by_s", [3600.0, -3600.0, 7.3, -4.1])
def test_a_clock_that_was_set_anew_is_told_in_one_sentence(by_s: float, shell: Shell) -> None:
    """Nothing is missing, nothing extra, and nothing is to be shot again."""
    session_at(shell.folder / "s.sqlite")
    for number in range(len(EXPOSURES)):
        ahead = timedelta(hours=2, seconds=3.25 + by_s * (number >= 22))
        shot(shell.folder / "card" / f"FULL{number + 1:04}.JPG", number, ahead)
    told = shell("match", "s.sqlite", "card", "--out", "home", "--sort", "row", "--xmp")
    assert told.status == 0
    assert "all of them for sure" in told.out
    way, amount = ("forward" if by_s > 0 else "back"), {3600.0: "1:00:00.0", 7.3: "0:07.3", 4.1: "0:04.1"}[abs(by_s)]
    assert f"It was set {way} by {amount} between FULL0022.JPG and FULL0023.JPG." in told.out
    (change,) = json.loads((shell.folder / "home" / "match.json").read_text())["clock"]["changes"]
    assert change["forward_s"] == pytest.approx(by_s, abs=0.1)
    last = next((shell.folder / "home" / "pictures").rglob(f"*FULL{len(EXPOSURES):04}.xmp"))
    opened = BEGIN + timedelta(seconds=opened_s(len(EXPOSURES) - 1))
    assert f"{opened:%Y-%m-%dT%H:%M}" in last.read_text()  # by the session's clock, whatever the camera's said


def test_files_of_a_whole_second_with_names_that_say_nothing_are_no_bracket_out_of_turn(shell: Shell) -> None:
    session_at(shell.folder / "s.sqlite")
    for number in range(len(EXPOSURES)):
        ahead = timedelta(hours=2, seconds=0.3) - timedelta(seconds=(opened_s(number) + 0.3) % 1)
        shot(shell.folder / "card" / f"{(number * 7919) % 997:03x}x.JPG", number, ahead)
    told = shell("match", "s.sqlite", "card")
    assert "out of turn" not in told.out
    assert "Every exposure of the set has" in told.out
    assert told.status == 0


def test_a_card_without_the_kit_s_camera_is_refused(shell: Shell) -> None:
    kit = load_kit(
        shell.write(
            "named.toml",
            'camera = { make = "Nikon Corporation", model = "Nikon D750", pixels_wide = 6016, '
            "pixels_high = 4016 }\nlens = { focal_length_mm = 14.0 }",
        )
    )
    plan = make_plan(kit, 0.3)
    about = {"kind": "capture", "plan": plan.model_dump_json(), "plan_hash": plan.hash}
    with Session.create(shell.folder / "s.sqlite", about, durable=True) as session:
        session.intend(Intent(0, 0, 1, 1, 0.0, 0.0, 0.01), 0)
    card_at(shell.folder / "card")
    (sentence,) = refuses(shell, 2, "match", "s.sqlite", "card")
    assert "no photograph of the kit's camera, Nikon D750, but of Anvil One" in sentence


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="whoever may do anything is refused nothing")
def test_a_place_that_cannot_be_written(ready: Shell) -> None:
    (ready.folder / "shut").mkdir(mode=0o500)
    assert "cannot be written" in " ".join(refuses(ready, 1, "match", "s.sqlite", "card", "--out", "shut/home"))


def test_a_failure_in_the_middle_leaves_nothing(ready: Shell, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("shutil.copystat", full)
    before = ready.files()
    assert "the disk is full" in " ".join(
        refuses(ready, 1, "match", "s.sqlite", "card", "--out", "home", "--sort", "row")
    )
    assert ready.files() == before


def test_what_is_no_file_of_the_card_is_never_copied(ready: Shell) -> None:
    """Raw companions are never opened earlier: a pipe, a link out of the card, a folder, a link to nothing."""
    card = ready.folder / "card" / "100ANVIL"
    ready.write("secret", "not on the card")
    os.mkfifo(card / "FULL0001.NEF")
    (card / "FULL0002.NEF").symlink_to(ready.folder / "secret")
    (card / "FULL0003.NEF").symlink_to("nowhere")
    (card / "FULL0004.NEF").symlink_to("FULL0004.JPG")  # within the card: its target is copied
    told = ready("match", "s.sqlite", "card", "--out", "home", "--sort", "row", "--json")
    found = json.loads(told.out)
    assert found["sorted"] == len(EXPOSURES) + 1
    left_out = [sentence for sentence in found["checks"] if sentence.startswith("Not sorted")]
    assert [name in sentence for name, sentence in zip(("0001", "0002", "0003"), left_out, strict=True)] == [True] * 3
    copies = [path for path in (ready.folder / "home").rglob("*") if path.suffix in {".JPG", ".NEF"}]
    assert all(path.is_file() and not path.is_symlink() for path in copies)
    assert len(copies) == found["sorted"]


def test_names_that_are_not_utf_8_or_too_long_or_formulas(ready: Shell) -> None:
    card = ready.folder / "card" / "100ANVIL"
    names = (os.fsdecode(b"\xffULL0001.JPG"), "x" * 246 + "0002.JPG", "=cmd;-1+3,@0003.JPG", "\x1b[2Jüß\n0004.JPG")
    for number, name in enumerate(names, start=1):
        (card / f"FULL{number:04}.JPG").rename(card / name)
    told = ready("match", "s.sqlite", "card", "--out", "home", "--sort", "row", "--xmp")
    assert told.status == 0, told.err
    assert "\x1b" not in told.out
    table = csv_rows((ready.folder / "home" / "match.csv").read_text(encoding="utf-8"))
    listed = {row[table[0].index("file")] for row in table}
    assert {f"100ANVIL/{name}" for name in names[1:]} <= listed
    kept = json.loads((ready.folder / "home" / "match.json").read_text(encoding="utf-8"))
    assert {f"100ANVIL/{name}" for name in (r"\xffULL0001.JPG", *names[1:])} <= {line["file"] for line in kept["lines"]}
    assert len([path for path in (ready.folder / "home").rglob("*.JPG") if path.is_file()]) == len(EXPOSURES)


def test_a_killed_match_is_offered_for_removal(ready: Shell) -> None:
    """Without a person to ask, it stays, with its size, unless --yes is given, and hinders nothing."""
    code = (
        "import os, signal, sys\n"
        "import controller.matching.sorting as match\n"
        "from controller.cli.main import main\n"
        "old, left = match.copy_verified, [3]\n"
        "def copy(*two):\n"
        "    left[0] -= 1\n"
        "    old(*two) if left[0] else os.kill(os.getpid(), signal.SIGKILL)\n"
        "match.copy_verified = copy\n"
        "sys.argv = ['fullturn', 'match', 's.sqlite', 'card', '--out', 'home', '--sort', 'row']\n"
        "main()\n"
    )
    done = subprocess.run([sys.executable, "-c", code], check=False, cwd=ready.folder, timeout=60)
    assert done.returncode == -9
    (hidden,) = [name for name in ready.files() if name.endswith(".part")]
    words = ("match", "s.sqlite", "card", "--sort", "row")
    told = ready(*words, "--out", "home")
    assert told.status == 0
    assert "A run that was killed left" in told.err
    assert "kB. It is kept; --yes removes it." in told.err
    assert hidden in ready.files()
    assert ready(*words, "--out", "other", "--yes").err.splitlines()[-1] == f"Removed {ready.folder / hidden}."
    assert hidden not in ready.files()
    assert "killed" not in ready(*words, "--out", "third").err


def test_a_damaged_session_is_said_to_be_damaged(ready: Shell) -> None:
    """The unreadable part may contain exposures, so it is unknown what else is missing."""
    path = ready.folder / "s.sqlite"
    with closing(sqlite3.connect(path)) as db:
        db.execute("UPDATE exposures SET outcome = 'oops' WHERE number = 5")
        db.commit()
    told = ready("match", "s.sqlite", "card")
    assert told.out.startswith("The session is damaged: 1 of ")
    assert "exposures cannot be read" in told.out
    assert json.loads(ready("match", "s.sqlite", "card", "--json").out)["losses"]


def test_room_is_told_in_sizes_that_differ(ready: Shell, monkeypatch: pytest.MonkeyPatch) -> None:
    needed = sum(path.stat().st_size for path in (ready.folder / "card").rglob("*.JPG"))
    free_bytes = iter([10**9, 10**9, needed - 1])  # two checks of the place, then one of the copies
    monkeypatch.setattr("shutil.disk_usage", lambda _: SimpleNamespace(free=next(free_bytes)))
    (line,) = refuses(ready, 1, "match", "s.sqlite", "card", "--out", "home", "--sort", "row")
    needs, free = re.findall(r"[\d.]+ (?:bytes|kB|MB|GB)", line)
    assert needs != free
    assert line.endswith("or --link.")
