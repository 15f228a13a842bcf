"""The page about poses is true: it has every column, and its worked example places pixels where they belong."""

from __future__ import annotations

import contextlib
import json
import re
from dataclasses import fields, replace
from pathlib import Path

import numpy as np
import pytest
from astropy.wcs import WCS

from controller.inspection.inspected import Inspected
from controller.inspection.lens_model import see
from controller.inspection.pose_table import PoseRow, pose_rows, poses_json
from controller.matching.pose_columns import commanded_values
from controller.matching.sidecar import POSE
from controller.matching.table import MatchLine, MatchVerdict
from controller.optics.projection import Projection
from tests.controller.inspection.inspected_sets import inspected_of, plan_of
from tests.repo.guide import blocks

PAGE = (Path(__file__).resolve().parents[2] / "docs" / "how-to" / "other-programs.md").read_text(encoding="utf-8")
PLAN = plan_of()
COLUMN, LINE = 100.0, 50.0
ROUNDED_DEG = 0.005  # the table is rounded, and these pictures are small


def apart_deg(one: tuple[float, float], other: tuple[float, float]) -> float:
    """The angle between two directions, each as yaw and pitch in degrees."""
    (yaw, pitch), (yaw2, pitch2) = np.radians(one), np.radians(other)
    half = np.sin((pitch - pitch2) / 2) ** 2 + np.cos(pitch) * np.cos(pitch2) * np.sin((yaw - yaw2) / 2) ** 2
    return float(np.degrees(2 * np.arcsin(np.sqrt(half))))


def example() -> str:
    (code,) = [block for block in blocks(PAGE) if block.lines and block.lines[0] == "import json, pathlib"]
    return "\n".join(code.lines)


def placed_by_page(inspected: Inspected, frame: int, folder: Path) -> tuple[float, float, PoseRow]:
    """What the worked example says of a frame: yaw and pitch in degrees, and its row."""
    one = inspected.frames[frame]
    line = MatchLine(MatchVerdict.SURE, one.file, frame=one.frame, exposure=0, attempt=1, use=True, shutter_s=0.01)
    rows = pose_rows(inspected, [line])
    (folder / "poses.json").write_text(json.dumps(poses_json(rows)), encoding="utf-8")
    names: dict[str, float] = {}
    with contextlib.chdir(folder):
        exec(example(), names)  # the page's own code
    return float(names["yaw_deg"]), float(names["pitch_deg"]), rows[0]


def test_the_page_has_every_column_once_in_order() -> None:
    table = PAGE[PAGE.index("| column | meaning |") : PAGE.index("### A worked example")]
    listed = [
        name
        for line in table.splitlines()
        if line.startswith("| `")
        for name in re.findall(r"`([a-z0-9_]+)`", line.split("|")[1])
    ]
    assert listed == [each.name for each in fields(PoseRow)]


def test_sidecars_use_names_of_the_table_and_the_page_names_their_namespace() -> None:
    line = MatchLine(MatchVerdict.SURE, "1.JPG", frame=0, exposure=0, attempt=1)
    values = commanded_values(line, PLAN.frames[0])
    assert values.keys() < {each.name for each in fields(PoseRow)}
    assert f"`{POSE}`" in PAGE


@pytest.mark.parametrize("projection", list(Projection))
@pytest.mark.parametrize("frame", [0, 3])
def test_the_worked_example_agrees_with_the_lens_model(projection: Projection, frame: int, tmp_path: Path) -> None:
    inspected = inspected_of(PLAN, 200, rolls=(3.0, -2.0), k1=-0.03, k2=0.004, k3=-0.0004)
    inspected = replace(inspected, lens=replace(inspected.lens, lens=replace(inspected.lens.lens, projection=projection)))
    yaw, pitch, _ = placed_by_page(inspected, frame, tmp_path)
    (ray,) = see(inspected.lens.lens, np.array([[COLUMN, LINE]])).rays
    right, down, ahead = inspected.frames[frame].rotation @ ray
    wanted = np.degrees(np.arctan2(right, ahead)), np.degrees(-np.arcsin(down))
    assert apart_deg((yaw, pitch), wanted) < ROUNDED_DEG


@pytest.mark.parametrize(("projection", "code"), [(Projection.RECTILINEAR, "TAN"), (Projection.EQUIDISTANT, "ARC"),
                                                  (Projection.STEREOGRAPHIC, "STG"), (Projection.ORTHOGRAPHIC, "SIN"),
                                                  (Projection.EQUISOLID, "ZEA")])  # fmt: skip
@pytest.mark.parametrize("frame", [0, 2, 5])
def test_the_worked_example_agrees_with_astropy(projection: Projection, code: str, frame: int, tmp_path: Path) -> None:
    """Zenithal projections (M. R. Calabretta and E. W. Greisen, A&A 395:1077, 2002), as astropy.wcs places pixels.

    Longitude grows to the right here, so the first axis of the picture is not turned round.
    """
    inspected = inspected_of(PLAN, 200, rolls=(0.0, 4.0, -7.0))
    inspected = replace(inspected, lens=replace(inspected.lens, lens=replace(inspected.lens.lens, projection=projection)))
    yaw, pitch, row = placed_by_page(inspected, frame, tmp_path)
    wcs = WCS(naxis=2)
    wcs.wcs.ctype = [f"RA---{code}", f"DEC--{code}"]
    wcs.wcs.crval = [row.yaw_deg, row.pitch_deg]
    wcs.wcs.lonpole = 180.0  # also at the zenith
    wcs.wcs.crpix = [row.centre_x_px + 1, row.centre_y_px + 1]
    cosine, sine = np.cos(np.radians(row.roll_deg)), np.sin(np.radians(row.roll_deg))
    per_px = np.degrees(1 / row.focal_px)
    wcs.wcs.cd = per_px * np.array([[cosine, -sine], [-sine, -cosine]])
    longitude, latitude = wcs.all_pix2world([[COLUMN, LINE]], 0)[0]
    assert apart_deg((yaw, pitch), (longitude, latitude)) < ROUNDED_DEG
