"""A step of setting up looked at from the page, on the simulated rig in virtual time."""

from __future__ import annotations

from pathlib import Path

import pytest

from controller.errors import InputError, RunStopped, WorldError
from controller.page.conversation import PersonAtPage
from controller.page.held import agreed, step_command
from controller.setup.standing import setup_state
from protocol.units import NS
from tests.controller.commands.shell import KIT
from tests.controller.page.person import PadRig, pad_rig


def look(rig: PadRig, folder: Path, step: str) -> str:
    (folder / "kit.toml").write_text(KIT, encoding="utf-8")
    talk = PersonAtPage(rig.person, rig.world.port.now)
    return step_command(folder / "kit.toml", str(folder / "port"), step, talk, rig.hold)


def stands(folder: Path, step: str) -> tuple[str, bool]:
    return next((each.state, each.seen) for each in setup_state(folder / "kit.toml") if each.step == step)


def test_zero_is_looked_at_and_kept(tmp_path: Path) -> None:
    rig = pad_rig(answers=[True], after_ms=0)
    assert look(rig, tmp_path, "zero") == "Zero was found twice by its switches."
    assert stands(tmp_path, "zero") == ("done", True)
    warned = [sentence for sentence in rig.person.sentences() if "in 5 s" in sentence]
    assert warned[0].endswith("The Stop button keeps it still.")
    assert not any("Ctrl-C" in sentence for sentence in rig.person.sentences())


@pytest.mark.parametrize(("clear", "state"), [(True, ("done", False)), (False, ("open", False))])
def test_the_cables_are_walked_and_the_person_says_whether_all_was_clear(
    tmp_path: Path, clear: bool, state: tuple[str, bool]
) -> None:
    rig = pad_rig(answers=[True, clear], after_ms=0, leaves_ns=600 * NS)
    if clear:
        look(rig, tmp_path, "cables")
    else:
        with pytest.raises(WorldError, match="Something was in the way"):
            look(rig, tmp_path, "cables")
    assert stands(tmp_path, "cables") == state
    assert not any("Ctrl-C" in sentence for sentence in rig.person.sentences())


def test_without_a_yes_nothing_moves(tmp_path: Path) -> None:
    rig = pad_rig(answers=[False], after_ms=0)
    with pytest.raises(WorldError, match=r"Nothing was moved\."):
        look(rig, tmp_path, "zero")
    assert rig.turns() == []
    assert stands(tmp_path, "zero") == ("open", False)


def test_a_person_who_leaves_stops_the_walk(tmp_path: Path) -> None:
    rig = pad_rig(answers=[True], after_ms=0)
    rig.person.leave(20 * NS)
    with pytest.raises(RunStopped):
        look(rig, tmp_path, "cables")
    assert 20 * NS < rig.turns()[-1][1] < 21 * NS
    assert stands(tmp_path, "cables") == ("open", False)


def test_a_person_who_has_left_agrees_to_nothing() -> None:
    rig = pad_rig()
    rig.person.leaves_ns = 0
    assert not agreed(PersonAtPage(rig.person, rig.world.port.now), "Is all clear?")


@pytest.mark.parametrize(("step", "words"), [("ground", "cannot look at this step"), ("moon", "There is no step moon")])
def test_a_step_that_cannot_be_looked_at_is_refused(tmp_path: Path, step: str, words: str) -> None:
    with pytest.raises(InputError, match=words):
        look(pad_rig(), tmp_path, step)
