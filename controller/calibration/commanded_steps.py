"""The commanded position of the head for each photograph."""

from pathlib import Path

import numpy as np

from controller.amounts import counted
from controller.calibration.readings import number, read_csv
from controller.errors import InputError
from controller.optics.outline import Array


def commanded_steps(text: str, count: int) -> Array:
    """The commanded position of the head for each photograph, in steps.

    One number is the steps between neighbours. Otherwise there is one for each, separated by commas or as the column
    commanded_steps of a CSV file. Raises InputError.
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
            f"--commanded-steps {text}: the steps must always grow (or always fall), in the order of the photographs."
        )
    return steps
