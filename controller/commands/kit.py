"""`fullturn kit find`, `new` and `from-picture`: a kit found, written, and read from a picture."""

import tomllib
from dataclasses import dataclass
from pathlib import Path

from controller.errors import InputError
from controller.files import write_new
from controller.kit.crop import Crop, crop_of
from controller.kit.kit import Kit
from controller.kit.lens_data import Entry, sensor_size_mm
from controller.kit.load import kit_from_tables
from controller.kit.new import Draft, kit_text
from controller.kit.other_names import other_names
from controller.kit.picture import PictureFacts, shot_of
from controller.kit.search import exactly, search
from controller.places import must_be_free

MOST_SHOWN = 20  # names of a search


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
    must_be_free(out)
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

    shot: PictureFacts
    camera: Entry | None
    lens: Entry | None
    crop: Crop | None
    unknown: tuple[str, ...]


def from_picture_command(picture: Path, out: Path | None) -> FromPicture:
    """Read camera, lens, focal length and pixels from a photograph; with `out`, write a kit.

    Raises InputError, StorageFailed.
    """
    if out is not None:
        must_be_free(out)
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
    return Draft(found.camera, found.lens, shot.pixels, shot.focal_length_mm, shot.shutter_seconds, shot.f_number, sensor)


def _write(out: Path, draft: Draft) -> Kit:
    text = kit_text(draft)
    kit = kit_from_tables(tomllib.loads(text), str(out))  # it must be one before it is written
    write_new(out, text)
    return kit
