"""A tilt axis without power may drop: whoever is told to cut the power is told first to support the camera."""

import re
import tomllib
from collections.abc import Iterator

from controller.guide.meanings import all_meanings
from tests.repo.prose import split
from tests.repo.sentences import all_said
from tests.repo.test_layers import ROOT

CUTS = re.compile(
    r"\b(cut|cuts|switch|unplug|disconnect)\b[^.;]*\bpower\b(?! supply)|\bpower off\b|\bwithout power\b", re.IGNORECASE
)
SUPPORTS = re.compile(
    r"\bsupport\b.*\b(camera|head|load|tilt)\b|\bhand under the camera\b|\bdrop\b", re.IGNORECASE | re.DOTALL
)
ON = re.compile(r"\bpower on\b", re.IGNORECASE)
NO_HANDS = (  # about the switch or the computer; nobody cuts the power
    "Have a switch that cuts motor power.",
    "Whether the switch also cuts the motor power, only you can see.",
    "It must cut the motor power by itself",
)
PAGES = ("set-up", "cautions")


def said_of_power() -> Iterator[str]:
    """Every text of the program, its tables, its steps of setting up and its page about taking the power away."""
    texts = [said.text for said in all_said()]
    texts += [text for each in all_meanings() for text in (each.means, each.do) if text]
    steps = tomllib.loads((ROOT / "controller" / "setup" / "steps.toml").read_text(encoding="utf-8"))["step"]
    texts += [how for step in steps for how in step["how"]]
    for name in PAGES:
        template = (ROOT / "controller" / "page" / "templates" / f"{name}.html").read_text(encoding="utf-8")
        texts += re.findall(r"<(?:p|li)>(.*?)</(?:p|li)>", template, re.DOTALL)
    for text in texts:
        if any(CUTS.search(part) and not ON.search(part) for part in split(" ".join(text.split()))):
            yield " ".join(text.split())


def test_whoever_is_told_to_cut_the_power_is_told_to_support_the_camera() -> None:
    found = [text for text in said_of_power() if not any(part in text for part in NO_HANDS)]
    assert len(found) > 12
    assert [text for text in found if not SUPPORTS.search(text)] == []


def test_support_comes_before_the_cut() -> None:
    """In the order in which it is done."""
    late = []
    for text in said_of_power():
        support, cut = re.search(r"\bsupport\b", text, re.IGNORECASE), re.search(r"\bcut the (?:motor )?power\b", text)
        if support is not None and cut is not None and cut.start() < support.start():
            late.append(text)
    assert late == []


def test_what_is_let_pass_is_still_said() -> None:
    said = " ".join(said_of_power())
    assert [part for part in NO_HANDS if part not in said] == []
