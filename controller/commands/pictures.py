"""`fullturn rehearse --pictures`: write a photograph for each true exposure, as the camera would have recorded it."""

import math
import os
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from controller.commands.stand_in import camera_name, lens_spec
from controller.errors import InputError
from controller.files import writing
from controller.folders import appearing_folder
from controller.kit.kit import Kit
from controller.picture_file import SCENERY, read_colours, read_facts
from controller.places import must_be_free_folder
from protocol.units import NS
from sim.scene.film import Film, View, aims_of
from sim.scene.photograph import ExposureMoment, save_photograph
from sim.scene.place import make_place
from sim.scene.render import Renderer
from sim.scene.scenery import Scenery, points_across, scenery_of
from sim.scene.sensor import SensorSpec, develop

USUAL_WIDTH = 1000  # pixels of the long side when no scale is given
FEWEST_PIXELS = 16
LEAST_BYTES_PER_PIXEL = 0.1  # of a JPEG of quality 92; a plain sky has about that
BEGIN = datetime(2026, 6, 21, 9, 0, tzinfo=UTC)  # what the simulated camera's clock says when a rehearsal begins
PREFIX = "FULL"  # four free characters, then four digits, as the rule for cameras' files has it (DCF, JEITA CP-3461)


@dataclass(frozen=True, slots=True)
class Studio:
    """What all pictures of a rehearsal have in common."""

    kit: Kit
    renderer: Renderer
    pixel_deg: float
    seed: int


class Darkroom:
    """Makes pictures in `folder` from the film of a rehearsal.

    `scale` is their size relative to the camera's own, and `scenery` a picture to use as the surroundings. `pupil_mm` is
    how far the entrance pupil is ahead and to the right of the point about which the head turns.
    """

    def __init__(self, folder: Path, scale: float | None, scenery: Path | None, pupil_mm: tuple[float, float]) -> None:
        self.folder, self.film = folder, Film()
        self._scale, self._scenery, self._pupil_mm = scale, scenery, pupil_mm
        self._kit: Kit | None = None

    def load(self, kit: Kit, out: Path, exposures: int) -> None:
        """Prepare for a rehearsal into the folder `out`, and find what would fail after it.

        Raises InputError, StorageFailed.
        """
        folder, results = (Path(os.path.realpath(path)) for path in (self.folder, out))
        if folder == results or folder in results.parents:
            raise InputError(f"{self.folder} is where the rehearsal goes; choose another folder for the pictures.")
        across, up = _size(kit, self._scale)
        must_be_free_folder(self.folder, needs_bytes=round(exposures * across * up * LEAST_BYTES_PER_PIXEL))
        if self._scenery is not None:
            _read(self._scenery, 2)
        self._kit = kit

    def make(self, seed: int, progress: Callable[[int], Callable[[], None]]) -> int:
        """Write a photograph for each exposure on the film, and return how many. The film must be loaded and exposed.

        The folder appears when all of them are written, or not at all. Raises InputError, StorageFailed.
        """
        kit, views = self._kit, self.film.views
        assert kit is not None
        with appearing_folder(self.folder) as folder, writing(self.folder):
            studio = self._studio(kit, seed)
            advance = progress(len(views)) if views else lambda: None
            for number, view in enumerate(views, start=1):
                _photograph(studio, view, number, folder / f"{PREFIX}{number:04}.JPG")
                advance()
        return len(views)

    def _studio(self, kit: Kit, seed: int) -> Studio:
        across, up = _size(kit, self._scale)
        lens = lens_spec(kit, self._pupil_mm)
        pixel_rad = lens.pixel_rad(across)
        points = points_across(pixel_rad)
        scenery = make_place(seed, points) if self._scenery is None else _read(self._scenery, points)
        try:
            renderer = Renderer(scenery, lens, across, up)
        except ValueError as error:
            raise InputError(f"{error}; give a smaller --pupil-offset-mm.") from None
        return Studio(kit, renderer, math.degrees(pixel_rad), seed)


def _size(kit: Kit, scale: float | None) -> tuple[int, int]:
    """Pixels across and up, as mounted. Raises InputError."""
    field = kit.field(0.0)
    share = min(1.0, USUAL_WIDTH / max(field.pixels_across, field.pixels_up)) if scale is None else scale
    across, up = round(field.pixels_across * share), round(field.pixels_up * share)
    if min(across, up) < FEWEST_PIXELS:
        raise InputError(f"--scale {share:g} leaves pictures of {across} x {up} pixels; use a larger scale.")
    return across, up


def _read(path: Path, widest: int) -> Scenery:
    width, height = read_facts(path, SCENERY).size_px
    if width != 2 * height:
        raise InputError(f"{path}: is {width} x {height} pixels. Scenery must be equirectangular, twice as wide as high.")
    return scenery_of(np.asarray(read_colours(path, widest)))


def _photograph(studio: Studio, view: View, number: int, path: Path) -> None:
    exposure = studio.kit.exposure
    light = studio.renderer.light(*aims_of(view, studio.pixel_deg))
    brightness = view.shutter_s / exposure.shutter_seconds
    picture = develop(light, brightness, SensorSpec(), (studio.seed, number))
    moment = ExposureMoment(BEGIN + timedelta(seconds=view.open_ns / NS), view.shutter_s, math.log2(brightness))
    save_photograph(path, picture, camera_name(studio.kit), moment, portrait=studio.kit.camera.mounted == "portrait")
