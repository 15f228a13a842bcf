"""The part of a kit that a photograph states, and what it cannot state."""

from dataclasses import dataclass
from pathlib import Path

from controller.errors import InputError
from controller.kit.crop import Crop, crop_of
from controller.kit.draft import Draft
from controller.kit.lens_data import Entry, sensor_size_mm
from controller.kit.picture import PictureFacts, shot_of
from controller.kit.search import exactly


@dataclass(frozen=True, slots=True)
class FromPicture:
    """What a picture states, and a sentence for each thing that it cannot state."""

    shot: PictureFacts
    camera: Entry | None
    lens: Entry | None
    crop: Crop | None
    unknown: tuple[str, ...]


def kit_from(picture: Path) -> FromPicture:
    """Camera, lens, focal length and pixels from a photograph. Raises InputError."""
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
    unknown.append("No picture says anything about the head, the board, or how the camera will be mounted.")
    return FromPicture(shot, camera, lens, crop, tuple(unknown))


def _full_name(maker: str | None, model: str) -> str:
    return model if maker is None or model.casefold().startswith(maker.split()[0].casefold()) else f"{maker} {model}"


def _perhaps(kind: str, name: str, unknown: list[str]) -> Entry | None:
    try:
        return exactly(kind, name)
    except InputError as error:
        unknown.append(str(error))
        return None


def draft_of(found: FromPicture, picture: Path) -> Draft:
    """The content of a kit file from a picture. Raises InputError if too little is known."""
    shot = found.shot
    if shot.resized:
        raise InputError(f"{picture}: was made smaller or cropped; use one as it came from the camera.")
    if shot.focal_length_mm is None:
        raise InputError(f"{picture}: does not say its focal length; write the kit with `fullturn kit new`.")
    sensor = None
    if found.camera is None:
        if found.crop is None:
            raise InputError(f"{picture}: neither its camera nor its sensor's size is known; use `fullturn kit new`.")
        sensor = sensor_size_mm(found.crop.factor, max(shot.pixels), min(shot.pixels))
    return Draft(found.camera, found.lens, shot.pixels, shot.focal_length_mm, shot.shutter_seconds, shot.f_number, sensor)
