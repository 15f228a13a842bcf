"""`fullturn kit find`, `new`, `example`, `from-picture`, `check` and `loads`: find and write a kit, and explain it."""

from pathlib import Path

from controller import clock
from controller.calibration.records import read
from controller.errors import InputError
from controller.files import write_new
from controller.kit.draft import Draft, focal_mm_of, write_kit
from controller.kit.example import example_text
from controller.kit.from_picture import FromPicture, draft_of, kit_from
from controller.kit.kit import Kit
from controller.kit.lens_data import Entry
from controller.kit.load import load_kit
from controller.kit.search import exactly, search
from controller.places import must_be_free
from controller.report.kit_figures import Derived, figures_of
from controller.report.kit_loads import Load, load_lines


def find_command(words: list[str], kinds: tuple[str, ...]) -> list[Entry]:
    """Cameras and lenses whose names contain all words, the closest first. Raises InputError if there are none."""
    found = search(words, kinds)
    if not found:
        raise InputError(f"Nothing in the open lens data has {' '.join(words)} in its name; try fewer words.")
    return found


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


def check_command(path: Path) -> list[Derived]:
    """Everything that follows from a kit, and how. Raises InputError."""
    return figures_of(load_kit(path), read(path), clock.wall_moment())


def loads_command(path: Path, load: Load) -> list[Derived]:
    """Torques, ramps, reaction and tipping. Raises InputError."""
    return load_lines(load_kit(path).head, load)
