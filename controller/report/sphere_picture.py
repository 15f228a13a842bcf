"""The sphere unrolled: every frame's outline and core over the number of frames that see each direction."""

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from numpy.typing import NDArray

from controller.optics.field import Field
from controller.planning.cores import cores_at
from controller.planning.directions import Array
from controller.planning.plan import Frame, Plan

GRID_ACROSS = 720  # half a degree
POINTS_PER_EDGE = 24
NUMBERED_AT_MOST = 80  # more numbers than this would hide the picture


def sphere_picture(plan: Plan) -> Figure:
    """Yaw to the right with straight ahead in the middle, pitch upward, both in degrees."""
    whole, core = plan.kit.field(0.0), plan.kit.field(plan.overlap)
    figure = Figure(figsize=(11, 5.5), layout="constrained")
    axes = figure.add_subplot(xlim=(-180, 180), ylim=(-90, 90), xlabel="yaw °", ylabel="pitch °", aspect="equal")
    axes.set_xticks(range(-180, 181, 30))
    axes.set_yticks(range(-90, 91, 30))
    seen = frames_seeing(whole, plan.frames)
    image = axes.imshow(
        seen, extent=(-180, 180, -90, 90), origin="lower", cmap="cividis", vmin=0, interpolation="nearest"
    )
    figure.colorbar(image, ax=axes, shrink=0.72, label="frames that see the direction")
    thin = 0.9 if len(plan.frames) <= NUMBERED_AT_MOST else 0.4
    _outlines(axes, plan.frames, (whole.half_width_rad, whole.half_height_rad), "#ffffff", thin, "frame")
    _outlines(
        axes, plan.frames, (core.core_half_width_rad, core.core_half_height_rad), "#e69f00", 1.6 * thin, "core"
    )
    if len(plan.frames) <= NUMBERED_AT_MOST:
        _numbers(axes, plan.frames)
    worst = plan.proof.worst_at
    axes.plot(
        _centred(worst.yaw_deg),
        worst.pitch_deg,
        "o",
        ms=11,
        mfc="none",
        mec="#d55e00",
        mew=2.5,
        label="tightest place",
    )
    axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.09), ncols=3, facecolor="#6b6b75", labelcolor="white")
    return figure


def frames_seeing(field: Field, frames: Sequence[Frame]) -> NDArray[np.int64]:
    """How many whole frames see each direction of a grid, shape (rows upward, columns to the right)."""
    step = 360 / GRID_ACROSS
    yaw = np.radians(np.arange(-180 + step / 2, 180, step))
    pitch = np.radians(np.arange(-90 + step / 2, 90, step))
    across, z = np.cos(pitch)[:, None], np.sin(pitch)[:, None]
    grid = np.stack(np.broadcast_arrays(across * np.cos(yaw), across * np.sin(yaw), z), axis=-1)
    # At an overlap of zero the core is the whole picture.
    cores = cores_at(field, np.array([f.yaw_deg for f in frames]), np.array([f.pitch_deg for f in frames]))
    seen = np.zeros(grid.shape[:2], dtype=np.int64)
    for frame, normals in zip(frames, cores.normals, strict=True):
        reach = np.abs(pitch - np.radians(frame.pitch_deg)) <= cores.radius_rad
        seen[reach] += (grid[reach] @ normals.T >= 0).all(axis=2)
    return seen


def outline_deg(half_angles_rad: tuple[float, float], yaw_deg: float, pitch_deg: float) -> Array:
    """The outline of a rectilinear picture as yaw (relative to `yaw_deg`) and pitch in degrees, shape (n, 2)."""
    right, up = np.tan(half_angles_rad[0]), np.tan(half_angles_rad[1])
    along = np.linspace(-1, 1, POINTS_PER_EDGE, endpoint=False)
    x = np.concatenate([along, np.ones_like(along), -along, -np.ones_like(along), [-1.0]]) * right
    y = np.concatenate([np.ones_like(along), -along, -np.ones_like(along), along, [1.0]]) * up
    pitch = np.radians(pitch_deg)
    forward, height = np.cos(pitch) - y * np.sin(pitch), np.sin(pitch) + y * np.cos(pitch)
    yaw = yaw_deg + np.degrees(np.arctan2(x, forward))
    return np.stack([yaw, np.degrees(np.arctan2(height, np.hypot(forward, x)))], axis=1)


def _outlines(
    axes: Axes,
    frames: Sequence[Frame],
    half_angles_rad: tuple[float, float],
    colour: str,
    width: float,
    label: str,
) -> None:
    pieces: list[Array] = []
    for frame in frames:
        outline = outline_deg(half_angles_rad, _centred(frame.yaw_deg), frame.pitch_deg)
        outline[:, 0] = (outline[:, 0] + 180) % 360 - 180
        breaks = np.flatnonzero(np.abs(np.diff(outline[:, 0])) > 180) + 1  # over the seam at the picture's edge
        pieces += [piece for piece in np.split(outline, breaks) if len(piece) > 1]
    axes.add_collection(LineCollection(pieces, colors=colour, linewidths=width, label=label))


def _numbers(axes: Axes, frames: Sequence[Frame]) -> None:
    for frame in frames:
        edge = min(max(frame.pitch_deg, -84.0), 84.0)
        axes.text(
            _centred(frame.yaw_deg),
            edge,
            str(frame.id),
            color="white",
            ha="center",
            va="center",
            fontsize=8,
            clip_on=True,
            bbox={"facecolor": "#00000099", "edgecolor": "none", "pad": 1.0},
        )


def _centred(yaw_deg: float) -> float:
    return (yaw_deg + 180) % 360 - 180
