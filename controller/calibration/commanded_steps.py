"""Where the head was told to stand for each photograph."""

from pathlib import Path

import numpy as np

from controller.amounts import counted
from controller.calibration.readings import number, read_csv
from controller.errors import InputError
from controller.optics.outline import Array


def commanded_steps(text: str, count: int) -> Array:
    """Where the head was told to stand for each photograph: one number is the steps between neighbours, else one for
    each, separated by commas or as the column commanded_steps of a CSV file. Raises InputError.
    """
    path = Path(text)
    if path.suffix.lower() == ".csv" or path.is_file():
        steps = read_csv(path, ("commanded_steps",)).numbers["commanded_steps"]
    else:
        cells = text.split(",")
        steps = np.array([number(cell.strip(), "--commanded-steps") for cell in cells])
        if len(steps) == 1:
            steps = np.arange(count) * steps[0]
    if len(steps) != count:
        raise InputError(f"--commanded-steps {text}: gives {len(steps)} places for {counted(count, 'photograph')}.")
    moved = np.diff(steps)
    if not (np.all(moved > 0) or np.all(moved < 0)):
        raise InputError(
            f"--commanded-steps {text}: the steps must keep growing (or falling), as the photographs were taken."
        )
    return steps
