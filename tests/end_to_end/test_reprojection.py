"""Pictures placed by exported numbers alone: exposures.csv and the `camera` block of report.json, as the guide says.

Nothing that places a picture here comes from the program: directions, rotations and lenses are computed independently.
Overlapping pictures must agree, and each must show what is truly there in the levelled world; both as a peak
signal-to-noise ratio (PSNR) in decibels.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from controller.capture.runner import Runner
from controller.commands.stand_in import lens_spec, rig_spec
from controller.kit.kit import Kit
from controller.planning.make import make_plan
from controller.program.build import build_program
from controller.report.summary import summarise
from controller.session.clock import SessionClock
from controller.session.exposure_lines import exposure_lines, exposures_csv
from controller.session.session import Session
from sim.rig import Rig
from sim.scene.film import Film, aims_of
from sim.scene.render import Renderer
from sim.scene.scenery import Scenery, layer_of
from sim.virtual_port import VirtualPort
from tests.end_to_end.whole_runs import kit_of

Array = NDArray[np.float64]
ACROSS = 120  # pixels of the rendered pictures
LEAN = {"lean_deg": 5.0, "lean_toward_deg": 70.0}
KITS: dict[str, Kit] = {
    "level": kit_of(14.0),
    "leaning": kit_of(14.0, head=LEAN),
    "leaning with play and measured steps": kit_of(
        14.0,
        head={
            "lean_deg": 3.0,
            "lean_toward_deg": 250.0,
            "pan": {"backlash_deg": 0.2, "measured_steps_per_degree": 317.3},
            "tilt": {"backlash_deg": 0.1, "measured_steps_per_degree": 322.9, "max_deg": 100.0, "min_deg": -100.0},
        },
    ),
    "offset": kit_of(14.0, head=LEAN, camera={"offset_right_mm": 2.5, "offset_up_mm": -3.0}),
    "landscape": kit_of(14.0, head=LEAN, camera={"mounted": "landscape"}),
    "fisheye": kit_of(8.0, head=LEAN, lens={"projection": "equisolid", "image_circle_mm": 22.0}),
    "corrected": kit_of(14.0, head=LEAN, lens={"correct_distortion": True, "undistorted_share": 0.9}),
}


WAVES = np.array([(9.0, 4.0, 13.0), (-12.0, 8.0, 3.0), (5.0, 15.0, -6.0)])


def codes_at(directions: Array) -> Array:
    """Smooth waves all over the sphere, different in all directions, several of them in every picture."""
    codes: Array = 127.5 + 110 * np.sin(directions @ WAVES.T + (0.3, 1.1, 2.0))
    return codes


def light_at(directions: Array) -> Array:
    """The light of these codes (IEC 61966-2-1, the curve of sRGB)."""
    share = codes_at(directions) / 255
    light: Array = np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)
    return light


def scenery() -> Scenery:
    width = 2048
    yaw = ((np.arange(width) + 0.5) / width - 0.5) * 2 * np.pi
    pitch = np.pi / 2 - (np.arange(width // 2) + 0.5) / width * 2 * np.pi
    flat, high = np.cos(pitch)[:, None], np.sin(pitch)[:, None]
    whole = np.stack(np.broadcast_arrays(flat * np.cos(yaw), flat * np.sin(yaw), high), axis=-1)
    return Scenery((layer_of(np.rint(codes_at(whole)).astype(np.uint8)),))


@dataclass(frozen=True)
class Exported:
    """The exports for another program: a line for each exposure, the camera's numbers, upright pictures in order."""

    lines: list[dict[str, str]]
    camera: dict[str, Any]
    pictures: list[Array]


@pytest.fixture(scope="module")
def painted() -> Scenery:
    return scenery()


def shoot(kit: Kit, folder: Path, painted: Scenery) -> Exported:
    """A whole run of a plan over the real protocol, its pictures, and its exports."""
    plan = make_plan(kit, 0.3)
    rig = Rig(rig_spec(kit, 3))
    film = rig.truth = Film()
    about = {"kind": "rehearsal", "plan": plan.model_dump_json()}
    with Session.create(folder / "session.sqlite", about, durable=False) as session:
        assert Runner(build_program(kit, plan.frames), VirtualPort(rig), session).run().complete
        shots = session.shots()
        text = exposures_csv(exposure_lines(plan, shots, session.doubts(), SessionClock(session.runs(), 0.0)))
    lens = lens_spec(kit)
    renderer = Renderer(painted, lens, ACROSS, round(ACROSS * lens.height_mm / lens.width_mm))
    pictures = [renderer.light(*aims_of(view, 1.0)).astype(float) for view in film.views]
    report = summarise(plan, shots, kind="rehearsal", seed=3, sentence="", seconds=0.0).model_dump_json()
    return Exported(list(csv.DictReader(io.StringIO(text))), json.loads(report)["camera"], pictures)


# From here on only the exported numbers and the page that explains them are used.


def turned(yaw_deg: float, pitch_deg: float, roll_deg: float) -> Array:
    """Columns: where the camera's forward, right and up point in the world (x: yaw 0, y: yaw 90, z: up)."""
    (sy, sp, sr), (cy, cp, cr) = (f(np.radians([yaw_deg, pitch_deg, roll_deg])) for f in (np.sin, np.cos))
    yaw = np.array([[cy, -sy, 0], [sy, cy, 0], [0, 0, 1]])
    pitch = np.array([[cp, 0, -sp], [0, 1, 0], [sp, 0, cp]])
    roll = np.array([[1, 0, 0], [0, cr, sr], [0, -sr, cr]])
    whole: Array = yaw @ pitch @ roll
    return whole


ANGLE: dict[str, Callable[[Array], Array]] = {
    "rectilinear": np.arctan,
    "equisolid": lambda r: 2 * np.arcsin(np.minimum(r / 2, 1)),
}
RADIUS: dict[str, Callable[[Array], Array]] = {"rectilinear": np.tan, "equisolid": lambda t: 2 * np.sin(t / 2)}


def rays(camera: dict[str, Any], column: Array, row: Array, shape: tuple[int, int]) -> tuple[Array, Array]:
    """Directions (n, 3) in the camera of positions in a picture of this shape, and which of them show anything."""
    x = (column * camera["width_px"] / shape[1] - camera["principal_x_px"]) * camera["width_mm"] / camera["width_px"]
    y = (camera["principal_y_px"] - row * camera["height_px"] / shape[0]) * camera["height_mm"] / camera["height_px"]
    radius = np.hypot(x, y)
    theta = ANGLE[camera["projection"]](radius / camera["focal_length_mm"])
    lit = radius < (camera["image_circle_mm"] or np.inf) / 2 - 0.3
    scale = np.sin(theta) / np.maximum(radius, 1e-9)
    return np.stack([np.cos(theta), scale * x, scale * y], axis=-1), lit


def seen(picture: Array, camera: dict[str, Any], directions: Array) -> tuple[Array, Array]:
    """The picture's colours in these directions (n, 3) of the camera, interpolated; and which directions it shows."""
    high, wide = picture.shape[:2]
    theta = np.arccos(np.clip(directions[:, 0], -1, 1))
    limit = np.pi / 2 - 0.01 if camera["projection"] == "rectilinear" else np.pi
    radius = camera["focal_length_mm"] * RADIUS[camera["projection"]](np.minimum(theta, limit))
    away = radius / np.maximum(np.hypot(directions[:, 1], directions[:, 2]), 1e-9)
    x = camera["principal_x_px"] + away * directions[:, 1] * camera["width_px"] / camera["width_mm"]
    y = camera["principal_y_px"] - away * directions[:, 2] * camera["height_px"] / camera["height_mm"]
    column, row = x * wide / camera["width_px"] - 0.5, y * high / camera["height_px"] - 0.5
    there = (theta < limit) & (radius < (camera["image_circle_mm"] or np.inf) / 2 - 0.3)
    there &= (column >= 0) & (column < wide - 1) & (row >= 0) & (row < high - 1)
    column, row = np.where(there, column, 0.0), np.where(there, row, 0.0)
    left, top = column.astype(int), row.astype(int)
    right, low = (column - left)[:, None], (row - top)[:, None]
    upper = picture[top, left] * (1 - right) + picture[top, left + 1] * right
    lower = picture[top + 1, left] * (1 - right) + picture[top + 1, left + 1] * right
    return upper * (1 - low) + lower * low, there


def psnr_db(exported: Exported, names: tuple[str, ...]) -> tuple[float, float]:
    """How well overlapping pictures agree, and all of them with the world, if placed by the columns of these names."""
    camera, pictures = exported.camera, exported.pictures
    high, wide = pictures[0].shape[:2]
    rows, columns = np.mgrid[1:high:4, 1:wide:4]
    inside, lit = rays(camera, columns.ravel() + 0.5, rows.ravel() + 0.5, (high, wide))
    inside, values = inside[lit], [picture[rows.ravel()[lit], columns.ravel()[lit]] for picture in pictures]
    turns = [turned(*[float(line[name]) if name else 0.0 for name in names]) for line in exported.lines]
    among, world = [], []
    for one, mine in enumerate(turns):
        world.append(light_at(inside @ mine.T) - values[one])
        for other, theirs in enumerate(turns):
            if one != other:
                shown, there = seen(pictures[other], camera, inside @ (theirs.T @ mine).T)
                among.append((shown - values[one])[there])
    misses = np.concatenate(among), np.concatenate(world)
    assert min(map(len, misses)) > 2000
    of_overlaps, of_all = (float(-10 * np.log10((miss**2).mean())) for miss in misses)
    return of_overlaps, of_all


POSE, MOTORS = ("yaw_deg", "pitch_deg", "roll_deg"), ("pan_deg", "tilt_deg", "")


@pytest.mark.parametrize("name", KITS)
def test_pictures_fit_together_and_into_the_world(name: str, tmp_path: Path, painted: Scenery) -> None:
    exported = shoot(KITS[name], tmp_path, painted)
    among, world = psnr_db(exported, POSE)
    assert min(among, world) > 44, (among, world)
    if KITS[name].head.lean_deg:
        # Without their roll they do not match each other. By the angles of the motors they do, but not the world.
        assert psnr_db(exported, (*POSE[:2], ""))[0] < among - 15
        assert psnr_db(exported, MOTORS)[1] < world - 15


def test_a_wrong_number_of_the_camera_would_show(tmp_path: Path, painted: Scenery) -> None:
    exported = shoot(KITS["offset"], tmp_path, painted)
    right = min(psnr_db(exported, POSE))
    for wrong, by in (("principal_x_px", 1.05), ("principal_y_px", 0.95), ("focal_length_mm", 1.02)):
        spoilt = Exported(exported.lines, exported.camera | {wrong: exported.camera[wrong] * by}, exported.pictures)
        assert max(psnr_db(spoilt, POSE)) < right - 10
