"""`fullturn kit example`, `check` and `loads`: the tutorial's kit, and what follows from a kit."""

from pathlib import Path

from controller import clock
from controller.calibration.records import read
from controller.files import write_new
from controller.kit.example import example_text
from controller.kit.kit import Kit
from controller.kit.load import load_kit
from controller.places import must_be_free
from controller.report.kit_figures import Derived, figures_of
from controller.report.kit_loads import Load, load_lines


def example_command(out: Path) -> Kit:
    """Write the tutorial's kit and read it. Raises InputError, StorageFailed."""
    must_be_free(out)
    write_new(out, example_text())
    return load_kit(out)


def check_command(path: Path) -> list[Derived]:
    """Everything that follows from a kit, and how. Raises InputError."""
    return figures_of(load_kit(path), read(path), clock.wall_moment())


def loads_command(path: Path, load: Load) -> list[Derived]:
    """Torques, ramps, reaction and tipping. Raises InputError."""
    return load_lines(load_kit(path).head, load)
