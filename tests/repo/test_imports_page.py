"""The page of what each command loads is current, has every command, and keeps the core free of optional parts."""

import click
import pytest

from controller.cli.main import cli
from controller.extras import EXTRAS
from tests.bench.uses import USES, Use
from tests.loaded import distributions
from tests.repo.imports_page import PAGE, imports_page

# Commands without a use of their own, and why.
READINGS = ("steps", "backlash", "level", "verify", "centre", "parallax", "rail", "settle")
LEFT_OUT = {
    **dict.fromkeys(("board check", "board soak", "board listen"), "as `board find`, and takes minutes"),
    **dict.fromkeys(("board build", "board flash", "install-service"), "calls other programs"),
    **dict.fromkeys(("kit from-picture", "kit setup"), "as `kit new`; asks a person"),
    **dict.fromkeys(("calibrate show", "calibrate undo"), "as `calibrate list`"),
    **{f"calibrate {name}": "its statistics need scipy, and it needs readings" for name in READINGS},
    "align": "as `inspect`",
}
# Commands of the core, which must run without any optional part: what of one they load is left out where it is missing.
CORE = ("plan", "rehearse", "simulate", "jog", "capture", "tell", "resume", "watch", "report", "match", "board find")


def commands(command: click.Command, name: str = "") -> list[str]:
    below = command.commands.items() if isinstance(command, click.Group) else ()
    return [name] * (not below) + [found for word, one in below for found in commands(one, f"{name} {word}".strip())]


def test_the_page_is_current() -> None:
    """Regenerate it with: python -m tests.repo.imports_page."""
    assert PAGE.read_text(encoding="utf-8") == imports_page()


def test_every_command_has_a_use_or_a_reason() -> None:
    assert sorted({use.command for use in USES} | set(LEFT_OUT)) == sorted(commands(cli))
    assert {use.command for use in USES}.isdisjoint(LEFT_OUT)


@pytest.mark.parametrize("use", [use for use in USES if use.command in CORE], ids=lambda use: use.words)
def test_the_core_loads_no_optional_part_but_for_drawings(use: Use) -> None:
    optional = distributions({module for extra in EXTRAS.values() for module in extra.modules})
    assert len(optional) > 5
    assert use.loads & optional <= ({"matplotlib"} if use.command in ("rehearse", "report") else set())
