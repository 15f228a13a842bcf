"""`fullturn kit new`, `example` and `from-picture`: write a kit."""

from pathlib import Path

from controller.files import write_new
from controller.kit.draft import Draft, focal_mm_of, write_kit
from controller.kit.example import example_text
from controller.kit.from_picture import FromPicture, draft_of, kit_from
from controller.kit.kit import Kit
from controller.kit.load import load_kit
from controller.kit.search import exactly
from controller.places import must_be_free


def new_command(out: Path, camera: str, lens: str | None, pixels: tuple[int, int], focal_length_mm: float | None) -> Kit:
    """Write a commented kit file and read it again. Raises InputError, StorageFailed."""
    must_be_free(out)
    body = exactly("camera", camera)
    glass = None if lens is None else exactly("lens", lens)
    return write_kit(out, Draft(body, glass, pixels, focal_mm_of(glass, focal_length_mm)))


def example_command(out: Path) -> Kit:
    """Write the tutorial's kit and read it. Raises InputError, StorageFailed."""
    must_be_free(out)
    write_new(out, example_text())
    return load_kit(out)


def from_picture_command(picture: Path, out: Path | None) -> FromPicture:
    """Read camera, lens, focal length and pixels from a photograph; with `out`, write a kit.

    Raises InputError, StorageFailed.
    """
    if out is not None:
        must_be_free(out)
    found = kit_from(picture)
    if out is not None:
        write_kit(out, draft_of(found, picture))
    return found
