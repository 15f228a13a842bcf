"""A kit file for somebody who has never written one: every number commented, examples marked as such."""

from dataclasses import dataclass

from controller.kit.lens_data import Entry


@dataclass(frozen=True, slots=True)
class Draft:
    """What a kit file is written from; None is not known."""

    camera: Entry | None
    lens: Entry | None
    pixels: tuple[int, int]
    focal_length_mm: float
    shutter_seconds: float | None = None
    sensor_mm: tuple[float, float] | None = None


INTRODUCTION = """\
# A kit for Fullturn. Lengths in millimetres, angles in degrees. Camera and lens are looked up by name in the open lens
# data (lensfun project, CC BY-SA 3.0).
"""
HEAD = """
[exposure]
shutter_seconds = {shutter}   # {shutter_why}
bracket_ev = [0]              # e.g. [-2, 0, 2] for three exposures of each frame; only the time changes
ready_ms = 250                # what the camera needs between two exposures
release_lag_ms = 60           # from the release contact to the shutter

# Below are EXAMPLES of a small belt-driven head. Put in your own head's numbers from its data sheet, then look at
# `fullturn kit check` and calibrate: `fullturn calibrate steps`.

[head.pan]
full_steps_per_turn = 200     # 1.8 degree motor
microsteps = 16
gear_ratio = 36.0             # turns of the motor for one turn of the camera
max_speed_deg_s = 30.0
max_accel_deg_s2 = 40.0
min_deg = -370.0              # how far it turns either way before a cable is tight
max_deg = 370.0

[head.tilt]
full_steps_per_turn = 200
microsteps = 16
gear_ratio = 36.0
max_speed_deg_s = 30.0
max_accel_deg_s2 = 40.0
min_deg = -95.0
max_deg = 95.0

[board]
baud = 115200
sync_contact = true           # false where the camera's flash contact is not wired to the board
"""


def kit_text(draft: Draft) -> str:
    """The file's text."""
    lines = [INTRODUCTION, "[camera]"]
    wide, high = max(draft.pixels), min(draft.pixels)
    if draft.camera is not None:
        lines += [f"make = {_quoted(draft.camera.maker)}", f"model = {_quoted(draft.camera.model)}"]
    if draft.sensor_mm is not None:
        lines += [f"sensor_width_mm = {max(draft.sensor_mm):g}", f"sensor_height_mm = {min(draft.sensor_mm):g}"]
    lines += [f"pixels_wide = {wide}            # the long side, of the full-size picture", f"pixels_high = {high}"]
    lines += ['mounted = "portrait"          # or "landscape"; `fullturn plan --mounted best` compares', "", "[lens]"]
    if draft.lens is not None:
        lines += [f"make = {_quoted(draft.lens.maker)}", f"model = {_quoted(draft.lens.model)}"]
    lines.append(f"focal_length_mm = {draft.focal_length_mm:g}")
    if draft.lens is None:
        lines.append('projection = "rectilinear"    # or "equidistant", "equisolid", "stereographic", "orthographic"')
    shutter, why = (
        (0.0125, "an example: 1/80 s") if draft.shutter_seconds is None else (draft.shutter_seconds, "the picture's")
    )
    return "\n".join(lines) + "\n" + HEAD.format(shutter=f"{shutter:g}", shutter_why=why)


def _quoted(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'
