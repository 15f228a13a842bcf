"""Inspect made sets, and hold what is said of them against the truth."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any
from unittest.mock import patch

import numpy as np
from scipy.spatial.transform import Rotation

from controller.inspection import linking
from controller.inspection.inspected import FrameFault, Inspected
from controller.inspection.inspecting import inspect_set
from controller.inspection.lens_model import Array
from controller.inspection.limits import Limits
from controller.inspection.points import LinkFinding, find_points
from controller.inspection.poses import turn_of
from controller.matching.matched import match_files
from controller.matching.recorded import recorded_in
from controller.planning.links import ENOUGH, find_links
from sim.scene.spoilt import NOT_TURNED, Spoilt
from tests.sets.developing import Spoiling
from tests.sets.making import exchanged as exchanging
from tests.sets.truth import MadeSet

Said = set[tuple[int, FrameFault]]
FAULTS = (
    FrameFault.TURNED,
    FrameFault.SOFT,
    FrameFault.MOVED,
    FrameFault.SWAPPED,
    FrameFault.BRIGHTNESS,
    FrameFault.ANOTHER_PLACE,
)
"""The faults that are drawn."""
TURNED_DEG, SOFT_PX, MOVED_PX = (0.2, 5.0), (3.0, 8.0), (4.0, 12.0)  # blur from where it is found on, see `Limits.detail`


@dataclass(slots=True)
class Inspector:
    """Inspects sets. A link of pictures that were compared before is not compared again: spoilt sets share most."""

    _found: dict[bytes, LinkFinding] = field(default_factory=dict)

    def inspect(self, made: MadeSet, limits: Limits | None = None) -> Inspected:
        """The inspection of a set. Raises InputError."""
        matched = match_files(recorded_in(made.session), made.session, made.folder)
        with patch.object(linking, "find_points", self._find):
            return inspect_set(matched, made.folder, limits or Limits(), lambda _: lambda: None)

    def _find(self, first: Any, second: Any, overlap: Any, patches: Any) -> LinkFinding:
        key = hashlib.sha256()
        for part in (first.axes, second.axes, *(array for each in patches for array in (each.grey, each.held))):
            key.update(np.ascontiguousarray(part).tobytes())
        if key.digest() not in self._found:
            self._found[key.digest()] = find_points(first, second, overlap, patches)
        return self._found[key.digest()]


def said(inspected: Inspected) -> Said:
    """The faults of all frames, but for clipped light, which is in the scenery."""
    return {(one.frame, each.fault) for one in inspected.frames for each in one.blemishes} - {
        (one.frame, FrameFault.CLIPPED) for one in inspected.frames
    }


def due(made: MadeSet) -> Said:
    """The faults that must be found."""
    lost = {frame.id for frame in made.plan.frames} - {shot.frame for shot in made.shots if shot.file is not None}
    return {(frame, FrameFault.NO_PICTURE) for frame in lost} | {
        (frame, fault) for frame, each in made.spoilt.items() for fault in _faults(each)
    }


def _faults(spoilt: Spoilt) -> Iterable[FrameFault]:
    if spoilt.turned_deg != NOT_TURNED:
        yield FrameFault.TURNED
    if spoilt.soft_px:
        yield FrameFault.SOFT
    if spoilt.moved_deg != NOT_TURNED:
        yield FrameFault.MOVED
    if spoilt.brighter_ev:
        yield FrameFault.BRIGHTNESS
    if spoilt.elsewhere is not None:
        yield FrameFault.ANOTHER_PLACE
    if spoilt.swapped_with is not None:
        yield FrameFault.SWAPPED


def held(inspected: Inspected) -> list[int]:
    """The frames that show something: a picture of nothing but sky shows no fault either."""
    return [one.frame for one in inspected.frames if not one.alone and one.file is not None]


def spoil(random: np.random.Generator, made: MadeSet, fault: FrameFault, among: list[int]) -> Spoiling:
    """One of these frames spoilt, or two that exchange their pictures."""
    if fault is FrameFault.SWAPPED:
        return exchanging(*_neighbours(random, made, among))
    frame = int(random.choice(among))
    if fault is FrameFault.TURNED:
        axis = random.normal(size=3)
        turn = axis / np.linalg.norm(axis) * np.exp(random.uniform(*np.log(TURNED_DEG)))
        return {frame: Spoilt(turned_deg=(float(turn[0]), float(turn[1]), float(turn[2])))}
    if fault is FrameFault.SOFT:
        return {frame: Spoilt(soft_px=float(random.uniform(*SOFT_PX)))}
    if fault is FrameFault.MOVED:
        angle, length = random.uniform(0, np.pi), np.degrees(random.uniform(*MOVED_PX) / made.lens.focal_px)
        return {frame: Spoilt(moved_deg=(float(length * np.cos(angle)), float(length * np.sin(angle)), 0.0))}
    if fault is FrameFault.BRIGHTNESS:
        return {frame: Spoilt(brighter_ev=float(random.choice([-1.0, 1.0])))}
    return {frame: Spoilt(elsewhere=int(random.integers(100, 200)))}


def _neighbours(random: np.random.Generator, made: MadeSet, among: list[int]) -> tuple[int, int]:
    frames = made.plan.frames
    yaws, pitches = (np.array([getattr(frame, name) for frame in frames]) for name in ("yaw_deg", "pitch_deg"))
    links = find_links(made.plan.kit.field(0.0), yaws, pitches)
    pairs = [(frames[one].id, frames[other].id) for one, other in links.pairs[links.shares >= ENOUGH].tolist()]
    choice = [pair for pair in pairs if {*pair} <= {*among}]
    return choice[random.integers(len(choice))]


def pose_error_px(made: MadeSet, inspected: Inspected) -> float:
    """Root mean square error of where frames that links hold point, in pixels, but for a turn of the whole set."""
    shown = {shot.frame: shot.rotation for shot in made.shots}
    exchanged = {frame: each.swapped_with for frame, each in made.spoilt.items() if each.swapped_with is not None}
    true = {frame: shown[exchanged.get(frame, frame)] for frame in shown}
    frames = [one for one in inspected.frames if one.frame in true and not one.alone and one.file is not None]
    found = np.array([one.rotation for one in frames])
    wanted: Array = np.array([true[one.frame] for one in frames])
    whole = Rotation.from_matrix(wanted @ found.transpose(0, 2, 1)).mean().as_matrix()
    off = turn_of((whole @ found).transpose(0, 2, 1) @ wanted)
    return float(np.sqrt(np.mean(np.sum(off[:, :2] ** 2, axis=1)))) * made.lens.focal_px
