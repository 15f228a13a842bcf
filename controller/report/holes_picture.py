"""Holes in the pictures of the sphere: missing frames, and directions that no other core contains.

Black on white, hatched and dashed: visible without colour and in a small picture.
"""

from collections.abc import Callable, Collection, Sequence
from typing import Any

import matplotlib.patheffects as effects
import numpy as np
from matplotlib import rc_context
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.patches import Rectangle
from numpy.typing import NDArray

from controller.optics.field import Field
from controller.planning.cores import Cores, cores_at
from controller.planning.directions import Array
from controller.planning.passes import poses_among
from controller.planning.plan import Frame, Plan
from controller.planning.reached_poses import poses_of

HATCH, BLACK, WHITE = "xx", "#000000", "#ffffff"
ROUNDING = 1e-9
NUMBER: Any = {"color": BLACK, "fontsize": 12, "fontweight": "bold", "ha": "center", "va": "center", "clip_on": True}
BOX: Any = {"facecolor": WHITE, "edgecolor": BLACK, "pad": 2.0}


def split(plan: Plan, missing: Collection[int]) -> tuple[list[Frame], list[Frame]]:
    """The frames of the first pass whose pose was shot in any pass, and the others."""
    holes = set(poses_among(plan, missing).values())
    there = [frame for frame in plan.first_pass if frame.id not in holes]
    return there, [frame for frame in plan.first_pass if frame.id in holes]


def held_by(shapes: Cores, number: int, directions: Array) -> NDArray[np.bool_]:
    """Which of the (..., 3) `directions` are inside the shape with this number."""
    limits = np.cos(np.minimum(shapes.radii[number], np.pi)) - ROUNDING
    held = np.ones(directions.shape[:-1], dtype=bool)
    for edge, edge_limits in zip(shapes.poles[number], limits, strict=True):
        held &= (directions @ edge.T >= edge_limits).any(axis=-1)
    return held


def holes(plan: Plan, field: Field, frames: Sequence[Frame], directions: Array) -> NDArray[np.bool_]:
    """Which of the (n, m, 3) `directions` are in the region but in no core of these frames."""
    bare = plan.region.bounds().holds(directions.reshape(-1, 3)).reshape(directions.shape[:-1])
    if frames:
        cores = cores_at(field, *poses_of(plan.kit.head, frames))
        near = np.cos(np.minimum(cores.reach_rad, np.pi)) - ROUNDING
        for number in range(len(cores)):
            open_yet = bare & (directions @ cores.forward[number] >= near[number])
            bare[open_yet] = ~held_by(cores, number, directions[open_yet])
    return bare


def draw_holes(axes: Axes, x: Array, y: Array, bare: NDArray[np.bool_]) -> None:
    """Hatch the uncovered part; `x` and `y` are the coordinates of its columns and rows."""
    if not bare.any():
        return
    with rc_context({"hatch.linewidth": 1.2, "hatch.color": BLACK}):
        axes.contourf(x, y, bare.astype(float), levels=[0.5, 1.5], colors=[WHITE], hatches=[HATCH], zorder=1.5)
    axes.add_patch(Rectangle((0, 0), 0, 0, facecolor=WHITE, edgecolor=BLACK, hatch=HATCH, label="hole: in no core"))


def draw_missing(
    axes: Axes, cores: Sequence[Array], frames: Sequence[Frame], place: Callable[[Frame], tuple[float, float] | None]
) -> None:
    """Draw the cores of missing frames dashed, with their numbers at `place`."""
    if not frames:
        return
    lines = LineCollection(
        list(cores), colors=BLACK, linewidths=1.8, linestyles="dashed", label="missing frame", zorder=3
    )
    lines.set_path_effects([effects.Stroke(linewidth=3.6, foreground=WHITE), effects.Normal()])
    axes.add_collection(lines)
    for frame in frames:
        at = place(frame)
        if at is not None:
            axes.text(*at, str(frame.id), bbox=BOX, zorder=4, **NUMBER)
