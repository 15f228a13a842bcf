"""A kit file for a beginner: known figures are stated, examples are commented out."""

import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from controller.errors import InputError
from controller.files import write_new
from controller.kit.kit import Kit
from controller.kit.load import kit_from_tables

if TYPE_CHECKING:  # the open lens data takes time that a blank kit does not need
    from controller.kit.lens_data import Entry


@dataclass(frozen=True, slots=True)
class Draft:
    """The content of a new kit file; None means not known."""

    camera: "Entry | None"
    lens: "Entry | None"
    pixels: tuple[int, int] | None
    focal_length_mm: float | None
    shutter_seconds: float | None = None
    f_number: float | None = None
    sensor_mm: tuple[float, float] | None = None


INTRODUCTION = """\
# A kit for Fullturn. Lengths in millimetres, angles in degrees. Camera and lens are looked up by name in the open lens
# data (lensfun project, CC BY-SA 3.0).
#
# A line that begins with # states nothing. Where it shows a key, the figure is an EXAMPLE of no real camera or head. Take
# the # away and write your own figure. `fullturn kit check` says which figures are still examples.
"""
REST = """
[exposure]
{shutter}
{aperture}
# bracket_ev = [-2, 0, 2]     # three exposures of each frame; only the time changes
# ready_ms = 250              # what the camera needs between two exposures
# release_lag_ms = 60         # from the release contact to the shutter

# Your own head, from its maker's data sheet. Until all of these are stated you can plan and rehearse, but this
# program moves no real head. Then calibrate: `fullturn calibrate steps`.

[head.pan]
# full_steps_per_turn = 200   # 1.8 degree motor
# microsteps = 16
# gear_ratio = 36.0           # turns of the motor for one turn of the camera
# max_speed_deg_s = 30.0
# max_accel_deg_s2 = 40.0
# min_deg = -370.0            # how far it turns either way before a cable is tight
# max_deg = 370.0

[head.tilt]
# full_steps_per_turn = 200
# microsteps = 16
# gear_ratio = 36.0
# max_speed_deg_s = 30.0
# max_accel_deg_s2 = 40.0
# min_deg = -95.0
# max_deg = 95.0

[board]
# baud = 115200
# sync_contact = true         # false if the camera's flash contact is not wired to the board
"""


def kit_text(draft: Draft) -> str:
    """The text of the kit file."""
    lines = [INTRODUCTION, *_camera_lines(draft), "", *_lens_lines(draft)]
    shutter = "# shutter_seconds = 0.0125    # 1/80 s"
    if draft.shutter_seconds is not None:
        shutter = f"shutter_seconds = {draft.shutter_seconds:g}   # the picture's"
    aperture = "# f_number = 8.0              # the aperture, for the distance to focus at"
    if draft.f_number is not None:
        aperture = f"f_number = {draft.f_number:g}   # the picture's"
    return "\n".join(lines) + "\n" + REST.format(shutter=shutter, aperture=aperture)


def _camera_lines(draft: Draft) -> list[str]:
    lines = ["[camera]"]
    if draft.camera is not None:
        lines += [f"make = {_quoted(draft.camera.maker)}", f"model = {_quoted(draft.camera.model)}"]
    elif draft.sensor_mm is None:
        lines += ['# make = "Maker"             # both names as `fullturn kit find` shows them; or the sensor\'s size:']
        lines += ['# model = "Model"', "# sensor_width_mm = 36.0", "# sensor_height_mm = 24.0"]
    if draft.sensor_mm is not None:
        lines += [f"sensor_width_mm = {max(draft.sensor_mm):g}", f"sensor_height_mm = {min(draft.sensor_mm):g}"]
    if draft.pixels is None:
        lines += ["# pixels_wide = 6000          # the long side, of the full-size picture", "# pixels_high = 4000"]
    else:
        lines.append(f"pixels_wide = {max(draft.pixels)}            # the long side, of the full-size picture")
        lines.append(f"pixels_high = {min(draft.pixels)}")
    return [*lines, '# mounted = "portrait"        # or "landscape"; `fullturn plan --mounted best` compares']


def _lens_lines(draft: Draft) -> list[str]:
    lines = ["[lens]"]
    if draft.lens is not None:
        lines += [f"make = {_quoted(draft.lens.maker)}", f"model = {_quoted(draft.lens.model)}"]
    elif draft.focal_length_mm is None:
        lines += ['# make = "Maker"             # both names, or only the focal length', '# model = "Model"']
    focal = "# focal_length_mm = 24" if draft.focal_length_mm is None else f"focal_length_mm = {draft.focal_length_mm:g}"
    lines.append(focal)
    if draft.lens is None:
        lines.append('# projection = "rectilinear"  # or "equidistant", "equisolid", "stereographic", "orthographic"')
    return lines


def _quoted(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


def focal_mm_of(lens: "Entry | None", given: float | None) -> float:
    """The given focal length, or that of a lens that has only one. Raises InputError."""
    if given is not None:
        return given
    if lens is not None and lens.min_focal_mm is not None and lens.min_focal_mm == lens.max_focal_mm:
        return lens.min_focal_mm
    raise InputError("Say the focal length (--focal-length-mm): the lens is a zoom, or none was named.")


def write_kit(out: Path, draft: Draft) -> Kit:
    """Write a commented kit file and read it again. Raises InputError, StorageFailed."""
    text = kit_text(draft)
    kit = kit_from_tables(tomllib.loads(text), str(out))  # checked before it is written
    write_new(out, text)
    return kit
