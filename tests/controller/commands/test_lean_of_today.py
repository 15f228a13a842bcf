"""`fullturn capture --kit` on a head whose lean today differs from the plan's."""

from __future__ import annotations

from pathlib import Path
from typing import Any, cast

import pytest

from controller.commands.capture import capture_command
from controller.commands.crew import Crew
from controller.errors import InputError
from controller.kit.load import load_kit
from controller.planning.make import make_plan
from controller.planning.plan_file import save_plan
from tests.heads import head_text

KIT = """\
[camera]
sensor_width_mm = 36.0
sensor_height_mm = 24.0
pixels_wide = 6000
pixels_high = 4000

[lens]
focal_length_mm = 24.0

[head]
lean_deg = {}
lean_toward_deg = 70.0
"""
KIT += head_text()


class OpenedError(Exception):
    """The command got as far as opening the port."""


def opens(*_: Any) -> Any:
    raise OpenedError


def captured(folder: Path, planned_for_deg: float, today_deg: float) -> None:
    """Plan for one lean and begin to capture with another; it ends when it opens the port."""
    path = folder / "kit.toml"
    path.write_text(KIT.format(planned_for_deg), encoding="utf-8")
    save_plan(make_plan(load_kit(path), 0.3), folder / "plan.json")
    path.write_text(KIT.format(today_deg), encoding="utf-8")
    capture_command(folder / "plan.json", "port", folder / "s.sqlite", cast("Crew", None), kit_path=path, open_port=opens)


@pytest.mark.parametrize(("planned_for_deg", "today_deg"), [(0.0, 0.0), (5.0, 5.0), (0.0, 0.3), (5.0, 4.9)])
def test_a_plan_that_still_covers_is_shot(planned_for_deg: float, today_deg: float, tmp_path: Path) -> None:
    with pytest.raises(OpenedError):
        captured(tmp_path, planned_for_deg, today_deg)


def test_a_plan_that_does_not_is_refused_before_anything_is_opened(tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        captured(tmp_path, 0.0, 5.0)
    (sentence,) = caught.value.sentences
    assert "the head leans by 5.00°, and the poses that it reaches share 0.2" in sentence
    assert "write lean_deg = 5.0 and lean_toward_deg = 70.0 under [head] in the kit and plan again." in sentence
    assert not (tmp_path / "s.sqlite").exists()
