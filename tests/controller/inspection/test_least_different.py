"""Of two passes through people and cars, the one that shows fewer of them is named; the pictures are the truth."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
from PIL import Image

from controller.commands.match import match_command
from controller.inspection.inspected import Inspected
from controller.inspection.inspecting import inspect_set
from controller.inspection.limits import Limits
from tests.sets.making import SetMaker
from tests.sets.spec import KINDS
from tests.sets.truth import MadeSet

CROWD = KINDS["two passes"]
CLEAR_SHARE = 0.003  # of a picture: passes that differ by less show about the same


def inspected(made: MadeSet) -> Inspected:
    return inspect_set(match_command(made.session, made.folder), made.folder, Limits(), lambda _: lambda: None)


def light(path: Path) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    with Image.open(path) as image:
        return np.asarray(image.convert("L"), dtype=np.float64)


def shares_hidden(crowded: MadeSet, empty: MadeSet) -> dict[int, float]:
    """The share of each frame's picture that people and cars hide."""
    files = {shot.frame: shot.file for shot in empty.shots}
    hidden = {}
    for shot in crowded.shots:
        other = files[shot.frame]
        assert shot.file is not None
        assert other is not None
        hidden[shot.frame] = float(np.mean(np.abs(light(shot.file) - light(other)) > 24))
    return hidden


def test_the_emptier_pass_is_named(set_maker: SetMaker) -> None:
    crowded, empty = set_maker.make(CROWD, 3), set_maker.make(replace(CROWD, passers=(0, 0)), 3)
    hidden = shares_hidden(crowded, empty)
    found = inspected(crowded)
    assert len(found.frames) == 2 * len(crowded.plan.first_pass)
    named = {
        one.repeats if one.repeats is not None else one.frame: one.frame for one in found.frames if one.least_different
    }
    assert named.keys() == {frame.id for frame in crowded.plan.first_pass}
    again = {frame.repeats: frame.id for frame in crowded.plan.frames if frame.repeats is not None}
    pairs = [(pose, repeat) for pose, repeat in again.items() if pose is not None]
    clear = [pose for pose, repeat in pairs if abs(hidden[pose] - hidden[repeat]) > CLEAR_SHARE]
    right = [pose for pose in clear if hidden[named[pose]] == min(hidden[pose], hidden[again[pose]])]
    assert len(clear) >= 3
    assert len(right) >= 0.75 * len(clear)
    assert not [one.sentence for frame in found.frames for one in frame.blemishes if one.retake]
    chosen = sum(hidden[frame] for frame in named.values())
    assert chosen < 0.8 * sum(hidden.values()) / 2
