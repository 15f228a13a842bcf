"""Draw the sphere, unrolled and toward each pole: outlines and cores over the number of frames that see each direction.

Frames that are `missing` do not count; they are drawn as missing, with the holes they leave.
"""

from collections.abc import Collection, Sequence
from functools import partial
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Circle, Rectangle, Wedge
from matplotlib.ticker import MaxNLocator
from numpy.typing import NDArray

from controller.optics.field import Field, Sides
from controller.planning.cores import pictures_at
from controller.planning.directions import Array, camera_axes
from controller.planning.frame_outlines import outlines_at, unrolled_deg
from controller.planning.plan import Frame, Plan
from controller.planning.reached_poses import Poses, poses_of
from controller.report.colours import DEEP
from controller.report.drawing import DESK_IN, PHONE_IN
from controller.report.frame_numbers import centred, inside_part, number_frames
from controller.report.holes_picture import draw_holes, draw_missing, held_by, holes, split

GRID_ACROSS = 720  # columns of half a degree
DISC_ACROSS = 361  # pixels of half a degree
NUMBERED_AT_MOST = 80  # more numbers than this would hide the picture
WHITE, ORANGE, RED, GREY = "#ffffff", "#e69f00", "#d55e00", "#6b6b75"
SEEN: Any = {"cmap": "cividis", "interpolation": "nearest"}
SHADE: Any = {"facecolor": "#00000073", "hatch": "//", "edgecolor": GREY, "linewidth": 0}


def sphere_picture(plan: Plan, missing: Collection[int] = (), width_in: float = DESK_IN) -> Figure:
    """Yaw to the right with straight ahead in the middle, pitch upward, both in degrees.

    For a phone its two halves are one below the other: in the whole, no number could be read.
    """
    on_phone = width_in <= PHONE_IN
    parts = ((-180, 0), (0, 180)) if on_phone else ((-180, 180),)
    figure = Figure(figsize=(width_in, 2.34 * width_in if on_phone else width_in / 2), layout="constrained")
    there, lacking = split(plan, missing)
    field, head = plan.kit.field(plan.overlap), plan.kit.head
    seen = frames_seeing(field, poses_of(head, there))
    bare = holes(plan, field, there, _grid()) if lacking else None
    panels = []
    for number, (left, right) in enumerate(parts, 1):
        axes = figure.add_subplot(len(parts), 1, number, xlim=(left, right), ylim=(-90, 90), aspect="equal")
        axes.set(xlabel="yaw °" if number == len(parts) else "", ylabel="pitch °")
        axes.set_xticks(range(left, right + 1, 30))
        axes.set_yticks(range(-90, 91, 30))
        image = axes.imshow(seen, extent=(-180, 180, -90, 90), origin="lower", vmin=0, **SEEN)
        _flat_part(axes, plan, there, lacking)
        if bare is not None:
            draw_holes(axes, *_grid_deg(), bare)
        panels.append(axes)
    bar = {"location": "bottom", "shrink": 0.9, "pad": 0.01} if on_phone else {"shrink": 0.72}
    figure.colorbar(
        image, ax=panels, label="frames that see the direction", ticks=MaxNLocator(nbins=5, integer=True), **bar
    )
    _legend(figure)
    return figure


def _flat_part(axes: Axes, plan: Plan, there: Sequence[Frame], lacking: Sequence[Frame]) -> None:
    """Outlines, numbers and bounds in the part of the unrolled sphere that these axes show."""
    field, head = plan.kit.field(plan.overlap), plan.kit.head
    few = len(plan.first_pass) <= NUMBERED_AT_MOST
    for sides, colour, width, label in _layers(field, few=few):
        axes.add_line(_one_line(_flat_outlines(field, sides, poses_of(head, there)), colour, width, label))
    place = inside_part(axes.get_xlim())
    if few:
        number_frames(axes, there, place, [at for frame in lacking if (at := place(frame))])
    if lacking:
        outlines = _flat_outlines(field, field.core, poses_of(head, lacking))
        draw_missing(axes, outlines, lacking, place if few else lambda _: None)
    _bounds(axes, plan)
    if not lacking:
        worst = plan.proof.worst_at
        x, y = centred(worst.yaw_deg), worst.pitch_deg
        axes.plot(x, y, "o", ms=11, mfc="none", mec=RED, mew=2.5, label="tightest place")


def pole_picture(plan: Plan, missing: Collection[int] = (), width_in: float = DESK_IN) -> Figure:
    """Both poles, each in the middle of a disc that reaches to the horizon; yaw 0 at the top."""
    on_phone = width_in <= PHONE_IN
    field, head = plan.kit.field(plan.overlap), plan.kit.head
    there, lacking = split(plan, missing)
    figure = Figure(figsize=(width_in, 2.2 * width_in if on_phone else 5.4), layout="constrained")
    few = len(plan.first_pass) <= NUMBERED_AT_MOST
    for number, (name, up) in enumerate((("zenith", 1.0), ("nadir", -1.0))):
        axes = figure.add_subplot(
            *((2, 1) if on_phone else (1, 2)), number + 1, aspect="equal", xlim=(-91, 91), ylim=(-91, 91)
        )
        axes.set_title(f"toward the {name}, horizon at the rim", fontsize=10)
        axes.set_axis_off()
        axes.add_patch(_disc(90, filled=True))
        place = partial(_pole_place, up=up)
        for sides, colour, width, label in _layers(field, few=few):
            lines = _outlines_seen_from_pole(field, sides, poses_of(head, there), up)
            axes.add_line(_one_line(lines, colour, width, label))
        if lacking:
            across = np.linspace(-90.0, 90.0, DISC_ACROSS)
            directions, on_disc = _disc_directions(across, up)
            draw_holes(axes, across, across, holes(plan, field, there, directions) & on_disc)
            outlines = _outlines_seen_from_pole(field, field.core, poses_of(head, lacking), up)
            draw_missing(axes, outlines, lacking, place if few else lambda _: None)
        _bounds_seen_from_pole(axes, plan, up)
        for radius in (30, 60, 90):
            axes.add_patch(_disc(radius, filled=False))
        if few:
            number_frames(axes, there, place, [at for frame in lacking if (at := place(frame))])
    _legend(figure)
    return figure


def _layers(field: Field, *, few: bool) -> tuple[tuple[Sides, str, float, str], ...]:
    thin = 0.9 if few else 0.4
    return ((field.whole, WHITE, thin, "frame"), (field.core, ORANGE, 1.6 * thin, "core"))


def _grid_deg() -> tuple[Array, Array]:
    """Yaw of the grid's columns and pitch of its rows."""
    step = 360 / GRID_ACROSS
    return np.arange(-180 + step / 2, 180, step), np.arange(-90 + step / 2, 90, step)


def _grid() -> Array:
    """The grid's directions, shape (rows upward, columns to the right, 3)."""
    yaw, pitch = (np.radians(degrees) for degrees in _grid_deg())
    across, z = np.cos(pitch)[:, None], np.sin(pitch)[:, None]
    return np.stack(np.broadcast_arrays(across * np.cos(yaw), across * np.sin(yaw), z), axis=-1)


def frames_seeing(field: Field, poses: Poses) -> NDArray[np.int64]:
    """How many whole frames at these poses see each direction of a grid, shape (rows upward, columns to the right)."""
    grid, pitch = _grid(), np.radians(_grid_deg()[1])
    seen = np.zeros(grid.shape[:2], dtype=np.int64)
    pictures = pictures_at(field, *poses)
    for number, (pitch_deg, reach) in enumerate(zip(poses.pitch_deg, pictures.reach_rad, strict=True)):
        near = np.abs(pitch - np.radians(pitch_deg)) <= reach
        seen[near] += held_by(pictures, number, grid[near])
    return seen


def _flat_outlines(field: Field, sides: Sides, poses: Poses) -> list[Array]:
    """The outlines unrolled, cut where they leave the picture on one side and return on the other."""
    return [piece for outline in outlines_at(field, sides, poses) for piece in _cut(unrolled_deg(outline), 180.0)]


def _outlines_seen_from_pole(field: Field, sides: Sides, poses: Poses, up: float) -> list[Array]:
    """The visible part of the outlines, seen from outside at that pole."""
    lines = []
    for outline in outlines_at(field, sides, poses):
        seen = outline[outline[:, 2] * up > -0.02] if (outline[:, 2] * up).max() > 0 else outline[:0]
        if len(seen) > 1:
            lines += _cut(_seen_from_pole(seen, up), 30.0)
    return lines


def _one_line(pieces: Sequence[Array], colour: str, width: float, label: str) -> Line2D:
    """All outlines as one line with gaps: matplotlib draws it quicker than hundreds, and leaves out needless points."""
    gap = np.full((1, 2), np.nan)
    points = np.concatenate([part for piece in pieces for part in (piece, gap)] or [gap])
    return Line2D(*points.T, color=colour, linewidth=width, label=label, solid_capstyle="butt")


def _pole_place(frame: Frame, up: float) -> tuple[float, float] | None:
    """Its position in the view of a pole, None if too near the horizon."""
    if frame.pitch_deg * up < 15:
        return None
    aim = camera_axes(np.radians([frame.yaw_deg]), np.radians([frame.pitch_deg])).forward
    x, y = _seen_from_pole(aim, up)[0]
    return float(x), float(y)


def _disc_directions(across: Array, up: float) -> tuple[Array, NDArray[np.bool_]]:
    """The directions of a square grid about a pole, shape (n, n, 3), and which of them are above the horizon."""
    x, y = np.meshgrid(across, across)
    away, yaw = np.radians(np.hypot(x, y)), np.arctan2(x, y)
    flat = np.sin(away)
    return np.stack([flat * np.cos(yaw), flat * np.sin(yaw), up * np.cos(away)], axis=-1), away <= np.pi / 2


def _cut(line: Array, longest: float) -> list[Array]:
    """The line without the stretches that jump farther than `longest`."""
    breaks = np.flatnonzero(np.abs(np.diff(line, axis=0)).max(axis=1) > longest) + 1
    return [piece for piece in np.split(line, breaks) if len(piece) > 1]


def _seen_from_pole(directions: Array, up: float) -> Array:
    """Degrees from the pole, yaw 0 at the top. Yaw 90 is to the right looking up from outside, as on a map of the sky."""
    away = np.degrees(np.arccos(np.clip(up * directions[:, 2], -1, 1)))
    yaw = np.arctan2(directions[:, 1], directions[:, 0])
    return np.stack([away * np.sin(yaw), away * np.cos(yaw)], axis=1)


def _disc(radius: float, *, filled: bool) -> Circle:
    if filled:
        return Circle((0, 0), radius, facecolor="#2c3e57")
    return Circle((0, 0), radius, fill=False, edgecolor="#9aa5b5", linewidth=0.5)


def _shade_label(plan: Plan) -> str:
    out_of_reach, open_sr = plan.region.unreachable_sr, 4 * np.pi - plan.region.bounds().solid_angle_sr()
    if out_of_reach == 0:
        return "not covered: not requested"
    rest = ", the rest not requested" if open_sr > out_of_reach + 1e-4 else ""
    return f"not covered: {out_of_reach:.3f} sr out of reach{rest}"


def _bounds(axes: Axes, plan: Plan) -> None:
    """Shade the directions that were not requested or cannot be reached."""
    region = plan.region
    left, width = (-180.0, 360.0) if region.yaw_width_deg >= 360 else (region.yaw_from_deg, region.yaw_width_deg)
    outside = [
        (left, -90.0, width, region.pitch_from_deg + 90),
        (left, region.pitch_to_deg, width, 90 - region.pitch_to_deg),
        (left + width, -90.0, 360 - width, 180.0),
    ]
    label = _shade_label(plan)
    for x, y, wide, high in outside:
        for turns in (-720, -360, 0, 360):  # whichever of them is inside the picture
            if wide > 0 and high > 0:
                axes.add_patch(Rectangle((x + turns, y), wide, high, label=label, **SHADE))
                label = "_"


def _bounds_seen_from_pole(axes: Axes, plan: Plan, up: float) -> None:
    """The same in the view of a pole: the pitches near the pole and at the rim, and the excluded yaws as a wedge."""
    region = plan.region
    near, far = 90 - region.pitch_to_deg, 90 - region.pitch_from_deg  # from the zenith
    if up < 0:
        near, far = 180 - far, 180 - near
    near, far = min(near, 90.0), min(far, 90.0)
    first, last = 90 - region.yaw_from_deg - region.yaw_width_deg, 90 - region.yaw_from_deg  # counted from x, upward
    parts = [(near, near, first, last), (90.0, 90 - far, first, last)]
    if region.yaw_width_deg < 360:
        parts.append((90.0, 90.0, last, first + 360))
    for radius, wide, start, end in parts:
        if wide > 0:
            axes.add_patch(Wedge((0, 0), radius, start, end, width=wide, label=_shade_label(plan), **SHADE))


def _legend(figure: Figure) -> None:
    """One legend below everything, without repeated entries."""
    named = [axes.get_legend_handles_labels() for axes in figure.axes]
    entries = {text: handle for handles, texts in named for handle, text in zip(handles, texts, strict=True)}
    legend = figure.legend(
        entries.values(),
        entries.keys(),
        loc="outside lower center",
        ncols=4 if figure.get_figwidth() > PHONE_IN else 2,
        facecolor=DEEP,
        framealpha=1.0,
        labelcolor=WHITE,
    )
    for shown, entry in zip(legend.legend_handles, entries.values(), strict=True):
        if shown is not None and entry.get_path_effects():  # matplotlib leaves them out
            shown.set_path_effects(entry.get_path_effects())
