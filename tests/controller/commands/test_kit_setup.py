"""The guide: what it keeps, what it checks, and how long that counts."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from PIL.ExifTags import IFD, Base
from PIL.TiffImagePlugin import IFDRational

from controller import clock
from controller.calibration.records import CalibrationKind, Record, add, kit_digest
from controller.capture.gate import Gate
from controller.capture.hand import Hand
from controller.capture.interrupts import Interrupts
from controller.capture.operator import Operator
from controller.capture.people import People
from controller.commands import kit_setup
from controller.commands.kit_setup import Guide, setup_command
from controller.errors import InputError, WorldError
from controller.kit.load import load_kit
from controller.setup import at_head
from controller.setup.inspection import picture_found
from controller.setup.progress import progress_path
from controller.setup.standing import mark_steps, see_picture, setup_state
from controller.setup.steps import Look, steps
from protocol.messages import Cause
from tests.controller.commands.shell import KIT, Shell, refuses
from tests.end_to_end.whole_runs import World, kit_of, world_of
from tests.people import Typist

NAMES = [step.name for step in steps()]
BY_WORD = [step.name for step in steps() if step.look is not Look.CALIBRATION]
NOW = datetime(2026, 6, 21, 9, 0, tzinfo=UTC)


class Person:
    """A person who types these answers in order, then ends; and the sentences shown to them."""

    def __init__(self, *answers: str, agrees: bool = True) -> None:
        self._left, self._agrees = iter(answers), agrees
        self.said: list[str] = []

    def guide(self, **more: Any) -> Guide:
        return Guide(
            self.said.append, lambda _: next(self._left, "end"), lambda _: self._agrees, People(self.said.append), **more
        )


def standing(kit: Path) -> dict[str, tuple[str, bool]]:
    return {one.step: (one.state, one.seen) for one in setup_state(kit)}


def test_each_step_is_kept_as_soon_as_it_is_done_and_the_guide_goes_on_from_there(shell: Shell) -> None:
    kit = shell.folder / "kit.toml"
    first = Person("", "done")
    setup_command(kit, first.guide())
    assert [name for name, (state, _) in standing(kit).items() if state == "done"] == ["ground", "level"]
    second = Person("end")
    setup_command(kit, second.guide())
    assert second.said[0] == f"\n3 of {len(NAMES)}: Lens over the pan axis"


def test_a_step_left_out_stays_open(shell: Shell) -> None:
    kit = shell.folder / "kit.toml"
    setup_command(kit, Person("skip", "done").guide())
    assert standing(kit)["ground"] == ("open", False)
    assert standing(kit)["level"] == ("done", False)


def test_what_was_said_here_is_open_again_the_next_day(shell: Shell, monkeypatch: pytest.MonkeyPatch) -> None:
    kit = shell.folder / "kit.toml"
    monkeypatch.setattr(clock, "wall_moment", lambda: NOW)
    mark_steps(kit, ["ground", "centre"], [])
    monkeypatch.setattr(clock, "wall_moment", lambda: NOW + timedelta(hours=11))
    assert standing(kit)["ground"][0] == "done"
    monkeypatch.setattr(clock, "wall_moment", lambda: NOW + timedelta(hours=13))
    assert standing(kit)["ground"][0] == "open"
    assert standing(kit)["centre"][0] == "done"  # until the kit changes


def test_another_kit_opens_everything(shell: Shell) -> None:
    kit = shell.folder / "kit.toml"
    mark_steps(kit, ["ground", "centre"], [])
    kit.write_text(kit.read_text().replace("12.0", "15.0"))
    assert {state for state, _ in standing(kit).values()} == {"open"}


def test_calibration_counts_at_once_and_is_seen(shell: Shell, monkeypatch: pytest.MonkeyPatch) -> None:
    path = shell.folder / "kit.toml"
    monkeypatch.setattr(clock, "wall_moment", lambda: NOW)
    digest = kit_digest(load_kit(path), CalibrationKind.LEVEL, None)
    values = {"lean_deg": 0.2, "toward_deg": 30.0}
    add(path, Record(made_at=NOW, kind=CalibrationKind.LEVEL, values=values, how="read", kit_digest=digest))
    assert standing(path)["level"] == ("done", True)
    monkeypatch.setattr(clock, "wall_moment", lambda: NOW + timedelta(days=1))
    assert standing(path)["level"] == ("open", False)


def shot(path: Path, **more: Any) -> Path:
    details = {
        "ExposureMode": 1, "WhiteBalance": 1, "Flash": 16, "FocalLength": IFDRational(12),
        "ExposureTime": IFDRational(1, 40), "DateTimeOriginal": "2026:06:21 09:00:00",
    } | more  # fmt: skip
    exif = Image.Exif()
    exif.get_ifd(IFD.Exif).update({getattr(Base, name): value for name, value in details.items() if value is not None})
    Image.new("L", more.get("size", (6000, 4000))).save(path, exif=exif, quality=1)
    return path


@pytest.mark.parametrize(
    ("more", "wrong"),
    [
        ({"ExposureMode": 0}, "exposure mode was not manual"),
        ({"WhiteBalance": 0}, "white balance was not manual"),
        ({"Flash": 1}, "flash fired"),
        ({"FocalLength": IFDRational(15)}, "taken at 15 mm, the kit says 12 mm"),
        ({"ExposureTime": IFDRational(1, 500)}, "open for 0.002 s, the kit has 0.00625, 0.025 s"),
    ],
)
def test_a_picture_shows_what_is_not_as_the_kit_has_it(shell: Shell, more: dict[str, Any], wrong: str) -> None:
    """ExposureMode, WhiteBalance and Flash: CIPA DC-008, section 4.6.5, from memory."""
    kit = load_kit(shell.folder / "kit.toml")
    found = picture_found(shot(shell.folder / "a.jpg", **more), kit, NOW)
    assert not found.good
    assert wrong in found.sentence


def test_a_good_picture_is_kept_only_if_it_shows_everything(shell: Shell) -> None:
    kit = shell.folder / "kit.toml"
    found = see_picture(kit, shot(shell.folder / "a.jpg", WhiteBalance=None))
    assert (found.good, found.word) == (True, "see")
    assert "does not say its white balance; check that yourself" in found.sentence
    assert standing(kit)["exposure"] == ("open", False)
    assert see_picture(kit, shot(shell.folder / "b.jpg")).word == "ok"
    assert standing(kit)["exposure"] == ("done", True)


def test_the_aperture_counts_where_the_kit_states_it(shell: Shell) -> None:
    path = shell.write("kit.toml", KIT.replace("bracket_ev", "f_number = 8\nbracket_ev"))
    kit = load_kit(path)
    for f_number, word in ((IFDRational(8), "ok"), (IFDRational(71, 10), "NO"), (None, "see")):
        assert picture_found(shot(shell.folder / "a.jpg", FNumber=f_number), kit, NOW).word == word


def test_what_is_wrong_with_a_picture_is_wrong_whatever_else_it_does_not_say(shell: Shell) -> None:
    kit = load_kit(shell.folder / "kit.toml")
    for unsaid in (None, 1):
        assert picture_found(shot(shell.folder / "a.jpg", WhiteBalance=unsaid, Flash=1), kit, NOW).word == "NO"


def test_on_the_command_line(shell: Shell) -> None:
    told = shell("kit", "setup", "kit.toml", "--list")
    assert (told.status, len(told.out.splitlines())) == (1, len(NAMES))
    for name in BY_WORD:
        shell("kit", "setup", "kit.toml", "--done", name)
    left = json.loads(shell("kit", "setup", "kit.toml", "--json").out)
    assert {one["step"] for one in left if one["state"] == "open"} == set(NAMES) - set(BY_WORD)
    shell("kit", "setup", "kit.toml", "--again", "sun")
    assert "open  sun" in shell("kit", "setup", "kit.toml", "--list").out
    assert (
        "There is no step moon; the steps are ground"
        in refuses(shell, 2, "kit", "setup", "kit.toml", "--done", "moon")[0]
    )


def test_a_damaged_file_is_told(shell: Shell) -> None:
    progress_path(shell.folder / "kit.toml").write_text("{")
    assert "kit.setup.json: is not a record of the set-up" in refuses(shell, 2, "kit", "setup", "kit.toml", "--list")[0]
    shell.write("kit.setup.json", '{"format_version": 2, "done": {}}')
    newer = "kit.setup.json: is a record of the set-up of version 2, which is newer; this program reads version 1."
    assert newer in refuses(shell, 2, "kit", "setup", "kit.toml", "--list")[0]


def head(*answers: str, **more: Any) -> tuple[World, Hand, Typist, People]:
    world = world_of(kit_of(**more), ())
    typist = Typist(world.port, list(answers))
    people = typist.people()
    operator = Operator(world.port.now, Interrupts(), people)
    return world, Hand(world.port, world.program, operator, Gate(world.port.now, people.announce)), typist, people


def test_zero_is_found_twice_and_that_is_announced() -> None:
    _, hand, typist, people = head()
    assert at_head.see_zero(hand, kit_of(), people).good
    assert typist.said[0].startswith("The head moves in 5 s: both axes turn")
    blind = {"pan": {"zero_switch": False}, "tilt": {"zero_switch": False}}
    _, hand, typist, people = head(head=blind)
    assert "fullturn jog" in at_head.see_zero(hand, kit_of(head=blind), people).sentence
    assert typist.said == []


def test_the_walk_goes_as_far_as_plans_do() -> None:
    kit = kit_of(head={"pan": {"min_deg": -370, "max_deg": 370}})
    _, hand, typist, people = head("y", head={"pan": {"min_deg": -370, "max_deg": 370}})
    assert at_head.see_cables(hand, kit, people).good
    assert hand.at_steps == (0, 0)
    assert "pan -180° to 180°" in typist.said[0]
    _, hand, typist, people = head("n")
    assert not at_head.see_cables(hand, kit_of(), people).good
    assert "Was everything clear" in typist.asked[0]


def test_a_board_that_does_not_sense_its_stop_switch_is_found_out() -> None:
    """The simulated switch is not pressed here, whatever is typed."""
    _, hand, typist, _ = head("", "")
    found = at_head.see_stop_switch(hand)
    assert not found.good
    assert "does not sense the switch" in found.sentence
    assert "Support the camera" in typist.asked[0]


def test_a_board_that_senses_its_stop_switch() -> None:
    world, hand, typist, _ = head("", "")
    board = world.rig.board

    def at_the_switch(words: str) -> None:
        Typist.say(typist, words)
        if "press the switch" in words:
            board.block(world.port.now(), Cause.STOP_SWITCH)
        elif "release the switch" in words:
            board.unblock(Cause.STOP_SWITCH)

    operator = Operator(world.port.now, Interrupts(), replace(typist.people(), show=at_the_switch))
    found = at_head.see_stop_switch(Hand(world.port, world.program, operator, hand.gate))
    assert found.good, found.sentence
    assert "Check yourself that the motors have no power" in found.sentence


def test_nothing_moves_without_a_yes(shell: Shell, monkeypatch: pytest.MonkeyPatch) -> None:
    def never(*_: object) -> None:
        raise AssertionError("the port was opened")

    monkeypatch.setattr(kit_setup, "held_head", never)
    kit = shell.folder / "kit.toml"
    mark_steps(kit, [name for name in BY_WORD if name != "zero"], [])
    person = Person("skip", "skip", "end", agrees=False)
    setup_command(kit, person.guide(port="nowhere"))
    assert "  NO Nothing was moved." in person.said


def test_a_head_that_cannot_be_reached_is_a_finding_not_an_end(shell: Shell, monkeypatch: pytest.MonkeyPatch) -> None:
    def lost(*_: object) -> None:
        raise WorldError("The board does not answer.")

    monkeypatch.setattr(kit_setup, "held_head", lost)
    kit = shell.folder / "kit.toml"
    mark_steps(kit, [name for name in BY_WORD if name != "zero"], [])
    person = Person("skip", "skip", "done")
    setup_command(kit, person.guide(port="nowhere"))
    assert "  NO The board does not answer." in person.said
    assert standing(kit)["zero"] == ("done", False)


def test_a_photograph_that_is_none(shell: Shell) -> None:
    with pytest.raises(InputError, match="is not a photograph"):
        see_picture(shell.folder / "kit.toml", shell.write("a.jpg", "nothing"))
