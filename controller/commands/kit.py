"""`fullturn kit`: a kit found, written, read from a picture, and explained."""

import math
import tomllib
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from controller import clock
from controller.calibration.records import read
from controller.calibration.use import calibrated, fresh
from controller.errors import InputError, StorageFailed
from controller.files import write_whole
from controller.kit.crop import Crop, crop_of
from controller.kit.kit import Axis, Kit
from controller.kit.lens_data import Entry, sensor_size_mm
from controller.kit.load import kit_from_tables, load_kit
from controller.kit.new import Draft, kit_text
from controller.kit.other_names import other_names
from controller.kit.picture import Shot, shot_of
from controller.kit.search import exactly, search
from controller.program.timing import settle_ns
from protocol.units import NS

MOST_SHOWN = 20  # names of a search


@dataclass(frozen=True, slots=True)
class Line:
    """One derived quantity: what, its value with its unit, and how it comes about."""

    what: str
    value: str
    how: str


def find_command(words: list[str], kinds: tuple[str, ...]) -> list[Entry]:
    """Cameras and lenses whose names have all words, the closest first. Raises InputError where there is none."""
    found = search(words, kinds)
    if not found:
        raise InputError(f"Nothing in the open lens data has {' '.join(words)} in its name; try fewer words.")
    return found


def found_text(found: list[Entry], *, every: bool) -> str:
    """What was found, for people: all, or the closest and how many more there are."""
    shown = found if every else found[:MOST_SHOWN]
    lines = [entry_text(entry) for entry in shown]
    if len(shown) < len(found):
        lines.append(f"{len(found) - len(shown)} more. Add a word, or --all to see them.")
    return "\n".join(lines)


def entry_text(entry: Entry) -> str:
    """One line for people."""
    if entry.kind == "camera":
        other = other_names().get((entry.maker, entry.model))
        also = "" if other is None or other.casefold() in entry.name.casefold() else f"{other}, "
        return f"camera  {entry.name}  ({also}crop factor {entry.crop_factor:g})"
    low, high = entry.min_focal_mm, entry.max_focal_mm
    focal = f"{low:g} mm" if low == high else f"{low:g} to {high:g} mm"
    return f"lens    {entry.name}  ({focal}, {entry.projection or 'a projection that cannot be planned'})"


def new_command(out: Path, camera: str, lens: str | None, pixels: tuple[int, int], focal_length_mm: float | None) -> Kit:
    """Write a commented kit file and read it again. Raises InputError, StorageFailed."""
    body = exactly("camera", camera)
    glass = None if lens is None else exactly("lens", lens)
    return _write(out, Draft(body, glass, pixels, _focal(glass, focal_length_mm)))


def _focal(lens: Entry | None, given: float | None) -> float:
    if given is not None:
        return given
    if lens is not None and lens.min_focal_mm is not None and lens.min_focal_mm == lens.max_focal_mm:
        return lens.min_focal_mm
    raise InputError("Say the focal length (--focal-length-mm): the lens is a zoom, or none was named.")


@dataclass(frozen=True, slots=True)
class FromPicture:
    """What a picture gave, and what it could not say, each in a sentence."""

    shot: Shot
    camera: Entry | None
    lens: Entry | None
    crop: Crop | None
    unknown: tuple[str, ...]


def from_picture_command(picture: Path, out: Path | None) -> FromPicture:
    """Read camera, lens, focal length and pixels from a photograph; with `out`, write a kit. Raises InputError."""
    shot = shot_of(picture)
    unknown: list[str] = []
    camera = lens = None
    if shot.model is None:
        unknown.append("The picture does not name its camera.")
    else:
        camera = _perhaps("camera", _full_name(shot.maker, shot.model), unknown)
    if shot.lens is None:
        unknown.append("The picture does not name its lens.")
    else:
        lens = _perhaps("lens", shot.lens, unknown)
    if shot.focal_length_mm is None:
        unknown.append("The picture does not say its focal length.")
    crop = crop_of(shot, camera)
    unknown += () if crop is None else crop.doubts
    if shot.resized:
        unknown.append("The picture was made smaller or cropped: its pixels are not the camera's.")
    unknown.append("No picture knows the head, the board, or how the camera will be mounted.")
    found = FromPicture(shot, camera, lens, crop, tuple(unknown))
    if out is not None:
        _write(out, _draft(found, picture))
    return found


def _full_name(maker: str | None, model: str) -> str:
    return model if maker is None or model.casefold().startswith(maker.split()[0].casefold()) else f"{maker} {model}"


def _perhaps(kind: str, name: str, unknown: list[str]) -> Entry | None:
    try:
        return exactly(kind, name)
    except InputError as error:
        unknown.append(str(error))
        return None


def _draft(found: FromPicture, picture: Path) -> Draft:
    shot = found.shot
    if shot.resized:
        raise InputError(f"{picture}: was made smaller or cropped; take one as it came from the camera.")
    if shot.focal_length_mm is None:
        raise InputError(f"{picture}: does not say its focal length; write the kit with `fullturn kit new`.")
    sensor = None
    if found.camera is None:
        if found.crop is None:
            raise InputError(f"{picture}: neither its camera nor its sensor's size is known; use `fullturn kit new`.")
        sensor = sensor_size_mm(found.crop.factor, max(shot.pixels), min(shot.pixels))
    return Draft(found.camera, found.lens, shot.pixels, shot.focal_length_mm, shot.shutter_seconds, sensor)


def _write(out: Path, draft: Draft) -> Kit:
    if out.exists():
        raise StorageFailed(f"{out} exists already; name another place.")
    text = kit_text(draft)
    kit = kit_from_tables(tomllib.loads(text), str(out))  # it must be one before it is written
    write_whole(out, text)
    return kit


def check_command(path: Path) -> list[Line]:
    """Everything that follows from a kit, with how. Raises InputError."""
    plain, records = load_kit(path), read(path)
    now = datetime.fromisoformat(clock.wall_time())
    kit = calibrated(plain, records, now)
    field = kit.field(0.0)
    whole, pixel_deg = field.whole, math.degrees(field.pixel_rad)
    circle = ""
    if kit.lens.image_circle_mm is not None and field.circle_rad is not None:
        circle = f", image circle {_degrees(2 * field.circle_rad)} across"
    lines = [
        Line("sensor as mounted", f"{field.width_mm:.2f} x {field.height_mm:.2f} mm", f"mounted {kit.camera.mounted}"),
        Line("field of view", f"{_degrees(whole.left + whole.right)} x {_degrees(whole.bottom + whole.top)}",
             f"{field.projection} at {field.focal_length_mm:g} mm{circle}"),
        Line("a pixel at the middle", f"{pixel_deg:.4f}°, {1 / pixel_deg:.1f} pixels per degree",
             "pixel size over focal length"),
    ]  # fmt: skip
    for name, axis in (("pan", kit.head.pan), ("tilt", kit.head.tilt)):
        lines += _axis_lines(name, axis, pixel_deg)
    lines += [
        Line("wait after a move", f"{settle_ns(kit) / NS:.2f} s", f"rings at {kit.head.ring_hz:g} Hz, damping "
             f"{kit.head.ring_damping:g}, until the picture moves less than a quarter of a pixel"),
        Line("a pose may be off by", f"{kit.head.pointing_error_deg():.3f}°",
             "half a step, 5 % of a full step, and the level"),
        Line("a photograph", f"{kit.file_megabytes():.1f} MB", "the kit's word, or 1.5 bytes a pixel"),
    ]  # fmt: skip
    return lines + [
        Line("calibration", standing.sentence, standing.state.value) for standing in fresh(plain, records, now)
    ]


def _degrees(angle_rad: float) -> str:
    return f"{math.degrees(angle_rad):.2f}°"


def _axis_lines(name: str, axis: Axis, pixel_deg: float) -> list[Line]:
    rate = axis.steps_per_degree
    how = f"{axis.full_steps_per_turn} x {axis.microsteps} x {axis.gear_ratio:g} / 360"
    if axis.measured_steps_per_degree is not None:
        how = f"measured; by the gearing it would be {axis.nominal_steps_per_degree:.3f}"
    return [
        Line(f"{name}: steps per degree", f"{rate:.3f}", how),
        Line(f"{name}: a step", f"{1 / rate:.4f}°, {1 / rate / pixel_deg:.2f} pixels", "one over steps per degree"),
        Line(f"{name}: play taken up", f"{axis.backlash_deg:.3f}°", "every frame is approached with growing angle"),
        Line(
            f"{name}: turns",
            f"{axis.min_deg:g}° to {axis.max_deg:g}°, at most {axis.max_speed_deg_s:g}°/s",
            "the kit's word",
        ),
    ]


def as_json(lines: list[Line]) -> list[dict[str, Any]]:
    """For other programs."""
    return [asdict(line) for line in lines]
