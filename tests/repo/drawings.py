"""Draw the guide's pictures from the project's own optics, proof and ramps: `python -m tests.repo.drawings`."""

from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path

import numpy as np

from controller.kit.kit import Camera, Kit, Lens
from controller.optics.field import Field, Sides
from controller.optics.projection import picture_radius
from controller.planning.cores import Cores, cores_at
from controller.planning.coverage import Proof, prove_coverage
from controller.planning.directions import Array, camera_axes
from controller.planning.frame_outlines import outline_directions
from controller.planning.make import make_plan
from controller.planning.plan import Plan
from tests.repo.canvas import BLUE, GREY, GROUND, INK, NONE, ORANGE, PAPER, RED, Picture, painted
from tests.repo.rig_drawings import balance, legs, parallax, rig
from tests.repo.sphere_drawing import sphere_map
from tests.repo.swing_picture import swing_picture
from tests.repo.terminal_drawing import terminal

DOCS = Path(__file__).resolve().parents[2] / "docs"
OVERLAP = 0.30


def kit() -> Kit:
    """The tutorial's kit, as far as the pictures need it."""
    camera = Camera(sensor_width_mm=36.0, sensor_height_mm=24.0, pixels_wide=6000, pixels_high=4000)
    return Kit(camera=camera, lens=Lens(focal_length_mm=12.0))


def pictures() -> dict[str, str]:
    """Every picture as SVG, by its place in the guide."""
    plan = make_plan(kit(), OVERLAP)
    drawn = {
        "explanation/pictures/core.svg": core(),
        "explanation/pictures/sphere.svg": sphere(plan),
        "explanation/pictures/gap.svg": gap(plan),
        "explanation/pictures/margin.svg": margin(plan),
        "explanation/pictures/settle.svg": swing_picture(),
        "explanation/pictures/exposure.svg": exposure(),
        "pictures/sphere.svg": sphere_map(),
        "pictures/terminal.svg": terminal(),
        "pictures/rig.svg": rig(),
        "pictures/parallax.svg": parallax(),
        "pictures/legs.svg": legs(),
        "pictures/balance.svg": balance(),
    }
    return {place: picture.svg() for place, picture in drawn.items()}


def aimed(view: Field, sides: Sides, yaw_deg: float, pitch_deg: float) -> Array:
    """The outline of a picture or core at a pose as directions, shape (n, 3)."""
    axes = np.stack(camera_axes(np.radians([yaw_deg]), np.radians([pitch_deg])))[:, 0]
    outline: Array = outline_directions(view, sides) @ axes
    return outline


def core() -> Picture:
    """A picture with its core, and two frames whose cores touch."""
    shown = Picture(PAPER, 810, "A frame, its core, and two neighbours",
                    "Above: the core is a smaller rectangle in the middle of the picture. Below: two frames side by "
                    "side on the sphere; their cores touch in the middle, and the strip that both see is the "
                    "overlap.")  # fmt: skip
    view = kit().field(OVERLAP)
    scale, top, middle = 8.0, 54.0, PAPER / 2
    wide, high = view.width_mm, view.height_mm
    left = middle - wide * scale / 2
    shown.box(left, top, wide * scale, high * scale, GREY)
    core_wide, core_high = (
        2 * picture_radius(view.projection, view.focal_length_mm, half)
        for half in (view.core_half_width_rad, view.core_half_height_rad)
    )
    shown.box(left + (wide - core_wide) / 2 * scale, top + (high - core_high) / 2 * scale, core_wide * scale,
              core_high * scale, ORANGE, ORANGE)  # fmt: skip
    shown.text(middle, 36, "one picture", GREY)
    shown.text(middle, top + high * scale / 2, "its core", ORANGE)
    shown.text(middle, top + high * scale + 28, "sensor upright, 12 mm lens", GREY)
    step_deg = float(np.degrees(view.core_half_width_rad))
    centre_x, centre_y, degree = middle, 600.0, 2.4
    for sign, colour, dash in ((-1, BLUE, ""), (1, ORANGE, "7 4")):
        for sides, thick, fill in ((view.whole, 1.5, colour), (view.core, 3.0, NONE)):
            outline = aimed(view, sides, sign * step_deg, 0)
            yaw = np.degrees(np.arctan2(outline[:, 1], outline[:, 0]))
            pitch = np.degrees(np.arcsin(outline[:, 2]))
            shown.line(np.stack([centre_x + degree * yaw, centre_y - degree * pitch], 1), colour, thick, fill, dash)
    half_deg = np.degrees((view.whole.left + view.whole.right) / 2) - step_deg
    shown.text(centre_x, 422, "two frames on the sphere, thick: their cores", GREY)
    y = centre_y + 160
    shown.arrow(centre_x, y, centre_x - degree * half_deg, y)
    shown.arrow(centre_x, y, centre_x + degree * half_deg, y)
    shown.text(centre_x, y + 26, f"seen by both: {100 * OVERLAP:.0f} % of a picture")
    shown.text(centre_x, centre_y - 142, "the cores touch here")
    return shown


def globe(shown: Picture, x: float, y: float, radius: float, outlines: Sequence[Array], colour: str, wide: float) -> None:
    """Draw outlines on the near side of a globe that is seen from a little above."""
    forward, right, up = (axis[0] for axis in camera_axes(np.radians([20.0]), np.radians([28.0])))
    shown.dot(x, y, radius, GREY, GROUND)
    for outline in outlines:
        flat = np.stack([x - radius * (outline @ right), y - radius * (outline @ up)], axis=1)
        near = outline @ forward > 0
        for piece in np.split(np.arange(len(flat)), np.flatnonzero(np.diff(near)) + 1):
            if near[piece[0]] and len(piece) > 1:
                shown.line(flat[piece], colour, wide)


def sphere(plan: Plan) -> Picture:
    """The whole plan on two globes: pictures, and cores."""
    shown = Picture(PAPER, 780, f"A plan of {len(plan.frames)} frames on the sphere",
                    "Two globes seen from outside. Above: the outlines of all pictures overlap widely. Below: the "
                    "outlines of their cores overlap a little or touch, and leave nothing free.")  # fmt: skip
    view = plan.kit.field(plan.overlap)
    for y, sides, colour, words in ((215.0, view.whole, BLUE, "all pictures"), (600.0, view.core, ORANGE, "their cores")):
        outlines = [aimed(view, sides, frame.yaw_deg, frame.pitch_deg) for frame in plan.frames]
        globe(shown, PAPER / 2, y, 160, outlines, colour, 1.8)
        shown.text(PAPER / 2, y - 180, words, colour)
    return shown


def near(place: Proof, directions: Array, reach_deg: float) -> Array:
    """Directions as degrees right of and above a place, shape (n, 2); nan if farther off than `reach_deg`."""
    forward, right, up = (
        axis[0] for axis in camera_axes(np.radians([place.worst_yaw_deg]), np.radians([place.worst_pitch_deg]))
    )
    ahead = directions @ forward
    flat: Array = np.degrees(np.stack([directions @ right, directions @ up], axis=1) / np.maximum(ahead, 1e-9)[:, None])
    flat[(ahead <= 0) | (np.abs(flat).max(axis=1) > reach_deg)] = np.nan
    return flat


def around(place: Proof, flat: Array) -> Array:
    """The inverse of `near`: directions from degrees right of and above a place."""
    forward, right, up = (
        axis[0] for axis in camera_axes(np.radians([place.worst_yaw_deg]), np.radians([place.worst_pitch_deg]))
    )
    directions: Array = forward + np.radians(flat[:, :1]) * right + np.radians(flat[:, 1:]) * up
    directions /= np.linalg.norm(directions, axis=1, keepdims=True)
    return directions


def close_up(shown: Picture, poses: Array, view: Field, place: Proof, reach_deg: float, box: tuple[float, ...]) -> None:
    """Draw the cores' edges around a place, in a box (x, y, side) of the picture."""
    x, y, side = box
    shown.box(x, y, side, side, GREY)
    for yaw_deg, pitch_deg in poses:
        outline = aimed(view, view.core, yaw_deg, pitch_deg)
        dense = np.concatenate([np.linspace(one, two, 400) for one, two in pairwise(outline)])
        flat = near(place, dense / np.linalg.norm(dense, axis=1, keepdims=True), reach_deg)
        inside = ~np.isnan(flat[:, 0])
        for piece in np.split(np.arange(len(flat)), np.flatnonzero(np.diff(inside)) + 1):
            if inside[piece[0]] and len(piece) > 1:
                few = flat[piece][np.unique(np.linspace(0, len(piece) - 1, 30).astype(int))]
                shown.line(on_box(few, reach_deg, box), ORANGE, 2.5)


def fill_free(shown: Picture, cores: Cores, place: Proof, reach_deg: float, box: tuple[float, ...]) -> None:
    """Fill the squares that are in no core."""
    fine = np.arange(-0.98, 1, 0.04)
    squares = np.array([(across, along) for across in fine for along in fine])
    free = squares[cores.best_margin_rad(around(place, squares)) < 0]
    side = 0.04 * box[2] / 2 / reach_deg
    for x, y in on_box(free, reach_deg, box):
        shown.parts.append(
            f'<rect x="{x - side / 2:.1f}" y="{y - side / 2:.1f}" width="{side:.1f}" height="{side:.1f}" '
            f"{painted(NONE, RED)}/>"
        )


def on_box(flat: Array, reach_deg: float, box: tuple[float, ...]) -> Array:
    """Degrees right and up, as places in a box (x, y, side) of the picture."""
    x, y, side = box
    middle, scale = np.array([x + side / 2, y + side / 2]), side / 2 / reach_deg
    placed: Array = middle + flat * np.array([scale, -scale])
    return placed


def gap(plan: Plan) -> Picture:
    """A gap that a grid of samples misses: one frame of the plan is slightly off."""
    shown = Picture(PAPER, 570, "A gap between sample points",
                    "A close view of a place on the sphere. The edges of the cores leave a small gap free. A grid of "
                    "points was tried, and each of them lies in some core. The proof names the gap.")  # fmt: skip
    view = plan.kit.field(plan.overlap)
    poses = np.array([(frame.yaw_deg, frame.pitch_deg) for frame in plan.frames])
    poses[-1, 0] += OFF_DEG
    cores = cores_at(view, poses[:, 0], poses[:, 1])
    found = prove_coverage(cores)
    reach_deg, box = 2.5, CLOSE_UP
    close_up(shown, poses, view, found, reach_deg, box)
    steps = np.arange(-2.0, 2.1, SAMPLES_DEG)
    grid = np.array([(across, along) for across in steps for along in steps])
    if found.covered or (cores.best_margin_rad(around(found, grid)) < 0).any():
        raise ValueError("this picture has to show a gap that its samples do not see")
    for x, y in on_box(grid, reach_deg, box):
        shown.dot(x, y, 3, BLUE, BLUE)
    fill_free(shown, cores, found, reach_deg, box)
    shown.text(PAPER / 2, 34, f"{2 * reach_deg:g}° of the sky, one frame {OFF_DEG:g}° off", GREY)
    shown.told(box[0], 470, (
        (ORANGE, "lines: edges of cores"), (BLUE, "points: tried, and each is in some core"),
        (RED, "filled: the gap, which the proof finds;"),
        (RED, f"its middle is {-found.worst_margin_deg:.2f}° from any core"),
    ))  # fmt: skip
    return shown


OFF_DEG, SAMPLES_DEG = 1.5, 0.8
CLOSE_UP = (50.0, 52.0, 380.0)


def margin(plan: Plan) -> Picture:
    """The tightest place of the plan, with its margin and the head's pointing error."""
    shown = Picture(PAPER, 570, "The tightest place of a plan",
                    "A close view of the tightest place. A circle around it, as large as the margin, lies inside one "
                    "core. A smaller circle shows how far off the head's poses may be.")  # fmt: skip
    proof, at = plan.proof, plan.proof.worst_at
    upright = abs(at.pitch_deg) < 89.9  # at a pole any yaw will do
    place = Proof(True, proof.worst_margin_deg, round(at.yaw_deg, 1) if upright else 0.0, round(at.pitch_deg, 1))
    poses = np.array([(frame.yaw_deg, frame.pitch_deg) for frame in plan.frames])
    reach_deg, box = 0.6, CLOSE_UP
    close_up(shown, poses, plan.kit.field(plan.overlap), place, reach_deg, box)
    x, y = on_box(np.zeros((1, 2)), reach_deg, box)[0]
    scale = box[2] / 2 / reach_deg
    shown.dot(x, y, proof.worst_margin_deg * scale, BLUE)
    shown.dot(x, y, proof.pointing_error_deg * scale, RED)
    shown.text(PAPER / 2, 34, f"{2 * reach_deg:g}° of the sky around the tightest place", GREY)
    shown.told(box[0], 470, (
        (ORANGE, "lines: edges of cores"), (BLUE, f"outer circle: the margin, {proof.worst_margin_deg:.2f}°"),
        (RED, f"inner circle: what this head may be off, {proof.pointing_error_deg:.2f}°"),
        (INK, "The plan survives what this head does."),
    ))  # fmt: skip
    return shown


def exposure() -> Picture:
    """One exposure in time, and the effect of a power cut at each moment."""
    shown = Picture(PAPER, 430, "One exposure, and a power cut at any moment",
                    "In order: the session notes that the exposure begins, the shutter opens, the camera answers, the "
                    "session notes it as confirmed. Before the first note nothing was shot. Between the notes it is "
                    "in doubt and shot again. After the second note it counts.")  # fmt: skip
    shown.text(20, 34, "One exposure in time", INK, "start")
    shown.text(250, 34, "If the power fails here:", GREY, "start")
    steps = (("noted on disk: it begins", BLUE), ("the shutter opens", INK), ("the camera answers", INK),
             ("noted on disk: confirmed", BLUE))  # fmt: skip
    for number, (words, colour) in enumerate(steps):
        y = 84.0 + 84 * number
        shown.box(14, y, 210, 48, colour, colour if colour == BLUE else NONE)
        shown.text(119, y + 30, words, colour)
        if number:
            shown.arrow(119, y - 36, 119, y - 3)
    places = (54.0, 106.0, 362.0, 414.0)
    told = ((GREY, ("not begun: no picture",)), (RED, ("in doubt: shot again,", "because two photographs",
            "do no harm, and a missing", "one does")), (BLUE, ("confirmed: it is kept",)))  # fmt: skip
    for (top, bottom), (colour, lines) in zip(pairwise(places), told, strict=True):
        bracket = [(232, top + 3), (244, top + 3), (244, bottom - 3), (232, bottom - 3)]
        shown.line(np.array(bracket), colour, 2)
        first = (top + bottom) / 2 + 5 - 12 * (len(lines) - 1)
        shown.told(254, first, tuple((colour, words) for words in lines))
    return shown


def write() -> None:
    """Write all pictures, and remove obsolete ones."""
    new = pictures()
    for folder in {(DOCS / place).parent for place in new}:
        folder.mkdir(parents=True, exist_ok=True)
        for path in folder.glob("*.svg"):
            if path.relative_to(DOCS).as_posix() not in new:
                path.unlink()
    for place, text in new.items():
        (DOCS / place).write_text(text, encoding="utf-8", newline="\n")


if __name__ == "__main__":
    write()
