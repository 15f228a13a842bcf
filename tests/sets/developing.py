"""From the film of a set to its photographs: light once for each pose, developed for each exposure."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from functools import lru_cache
from pathlib import Path

import numpy as np

from controller.commands.pictures import BEGIN, PREFIX
from controller.commands.stand_in import camera_name, lens_spec
from protocol.units import NS
from sim.scene.bare import Bareness
from sim.scene.film import View, aims_of
from sim.scene.lens import Floats
from sim.scene.passers import passers
from sim.scene.photograph import ExposureMoment, save_photograph
from sim.scene.place import make_place
from sim.scene.render import HeldPose, Renderer
from sim.scene.scenery import Scenery, points_across
from sim.scene.sensor import SensorSpec, develop
from sim.scene.spoilt import SOUND, Spoilt, defocused, swept, turned
from tests.sets.open_surfaces import surfaces
from tests.sets.spec import SetSpec
from tests.sets.truth import TrueShot

Spoiling = Mapping[int, Spoilt]
ANGLES = ("yaw_deg", "pitch_deg", "roll_deg")


@lru_cache(maxsize=4)
def place_of(seed: int, points: int, bareness: Bareness | None = None, *, open_surfaces: bool = False) -> Scenery:
    return make_place(seed, points, bareness, surfaces() if open_surfaces else None)


def renderer_of(spec: SetSpec, seed: int) -> Renderer:
    """The true camera of a set before the place of this seed."""
    return _renderer(replace(spec, made=None, bracket_ev=(0.0,), overlap=0.3, band_deg=None, window_deg=None), seed)


@lru_cache(maxsize=2)
def _renderer(spec: SetSpec, seed: int) -> Renderer:
    kit, hidden = spec.kit(true=True), spec.hidden
    whole = kit.field(0.0)
    lens = lens_spec(kit, hidden.pupil_mm, hidden.distortion, hidden.vignetting)
    points = points_across(lens.pixel_rad(whole.pixels_across))
    place = place_of(seed, points, spec.bareness, open_surfaces=spec.open_surfaces)
    moving = passers(seed, *spec.passers)
    return Renderer(place, lens, whole.pixels_across, whole.pixels_up, moving)


@dataclass(slots=True)
class Developing:
    """The exposures of one set, as photographs into a folder."""

    spec: SetSpec
    seed: int
    views: Sequence[View]
    _kept: tuple[object, Floats] | None = None

    def develop(self, folder: Path, spoiling: Spoiling, numbers: Sequence[int]) -> Iterator[TrueShot]:
        """Write the photographs of these exposures (from 0, in order of time), each spoilt as the table says for its
        frame, and yield their truth.
        """
        for number in numbers:
            yield self._photograph(folder, number, spoilt_of(self.views[number], spoiling))

    def true_shot(self, number: int, spoilt: Spoilt = SOUND) -> TrueShot:
        """The truth about one exposure, without a photograph."""
        view = self.views[number]
        return TrueShot(view.frame, view.exposure, None, self._poses(view, spoilt)[0], view.shutter_s)

    def _photograph(self, folder: Path, number: int, spoilt: Spoilt) -> TrueShot:
        view, kit, shot = self.views[number], self.spec.kit(), self.true_shot(number, spoilt)
        if spoilt.lost:
            return shot
        brightness = view.shutter_s / kit.exposure.shutter_seconds
        light = self._light_of(self._poses(view, spoilt)[1], spoilt, view.open_ns / NS + view.shutter_s / 2)
        picture = develop(light, brightness * 2**spoilt.brighter_ev, SensorSpec(), (self.seed, number))
        moment = ExposureMoment(BEGIN + timedelta(seconds=view.open_ns / NS), view.shutter_s, math.log2(brightness))
        file = folder / f"{PREFIX}{number + 1:04}.JPG"
        save_photograph(file, picture, camera_name(kit), moment, portrait=kit.camera.mounted == "portrait")
        return replace(shot, file=file)

    def _light_of(self, poses: tuple[HeldPose, ...], spoilt: Spoilt, at_s: float) -> Floats:
        """The light of an exposure, kept for the next one of its bracket."""
        key = (poses, spoilt.soft_px, spoilt.elsewhere, at_s if any(self.spec.passers) else 0.0)
        if self._kept is None or self._kept[0] != key:
            place = self.seed if spoilt.elsewhere is None else spoilt.elsewhere
            self._kept = key, defocused(renderer_of(self.spec, place).light(*poses, at_s=at_s), spoilt.soft_px)
        return self._kept[1]

    def _poses(self, view: View, spoilt: Spoilt) -> tuple[HeldPose, tuple[HeldPose, ...]]:
        """Where the camera points in the middle of an exposure, and all its poses meanwhile."""
        if spoilt.swapped_with is not None:
            wanted = (spoilt.swapped_with, view.exposure)
            view = next(other for other in self.views if (other.frame, other.exposure) == wanted)
        pixel_deg = math.degrees(self.spec.kit().field(0.0).pixel_rad)
        middle = view.aim(*view.angles_deg.mean(axis=0).tolist())
        aims = aims_of(view, pixel_deg)
        if len(aims) == 1:  # exposures of a bracket share their light if they differ by less than can be seen
            middle = replace(middle, **{name: _rounded(getattr(middle, name), pixel_deg / 100) for name in ANGLES})
            aims = (middle,)
        spread = np.random.default_rng((self.seed, view.frame, 77)).standard_normal(3) * self.spec.hidden.scatter_deg
        scatter = (float(spread[0]), float(spread[1]), float(spread[2]))

        def true(aim: HeldPose) -> HeldPose:
            return turned(turned(turned(aim, self.spec.hidden.mount_deg), scatter), spoilt.turned_deg)

        return true(middle), swept(tuple(true(aim) for aim in aims), spoilt.moved_deg, pixel_deg)


def spoilt_of(view: View, spoiling: Spoiling) -> Spoilt:
    """What went wrong with this exposure."""
    spoilt = spoiling.get(view.frame, SOUND)
    return spoilt if spoilt.exposure in {None, view.exposure} else SOUND


def _rounded(value: float, step: float) -> float:
    return round(value / step) * step
