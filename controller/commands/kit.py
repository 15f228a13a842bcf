"""`fullturn kit check` and `loads`: what follows from a kit."""

from pathlib import Path

from controller import clock
from controller.calibration.records import read
from controller.kit.load import load_kit
from controller.report.kit_figures import Derived, figures_of
from controller.report.kit_loads import Load, load_lines


def check_command(path: Path) -> list[Derived]:
    """Everything that follows from a kit, and how. Raises InputError."""
    return figures_of(load_kit(path), read(path), clock.wall_moment())


def loads_command(path: Path, load: Load) -> list[Derived]:
    """Torques, ramps, reaction and tipping. Raises InputError."""
    return load_lines(load_kit(path).head, load)
