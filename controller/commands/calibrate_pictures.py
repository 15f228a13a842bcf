"""`fullturn calibrate steps` from photographs: a closed ring, or two of a known lens."""

from collections.abc import Sequence
from pathlib import Path

from controller.amounts import counted
from controller.calibration.commanded_steps import commanded_steps
from controller.calibration.finding import Finding
from controller.calibration.known_lens import LensGiven
from controller.calibration.lens_terms import PupilPlace
from controller.calibration.pair_finding import pair_finding
from controller.calibration.photographs import photographs_in, read_photographs, read_two
from controller.calibration.records import AxisName
from controller.calibration.ring import FEWEST_PICTURES
from controller.calibration.ring_finding import ring_finding
from controller.commands.calibrate import Keeping
from controller.errors import InputError


def ring_command(
    paths: Sequence[Path], steps_text: str, given: LensGiven, standing: PupilPlace, keeping: Keeping
) -> Finding:
    """Close a ring of photographs of the pan axis. Raises InputError, ReadingsRefused."""
    kit = keeping.kit()
    taken = read_photographs(photographs_in(paths))
    if len(taken) < FEWEST_PICTURES:
        raise InputError(
            f"{paths[0]}: has only {counted(len(taken), 'photograph')}; a ring needs {FEWEST_PICTURES} or more."
        )
    return ring_finding(taken, commanded_steps(steps_text, len(taken)), kit, given, standing)


def pair_command(
    paths: Sequence[Path],
    steps_text: str,
    axis: AxisName,
    given: LensGiven,
    keeping: Keeping,
    *,
    standing: PupilPlace,
    u_pose_deg: float,
) -> Finding:
    """Steps per degree from two photographs of a known lens. Raises InputError, ReadingsRefused."""
    kit = keeping.kit()
    taken = read_two(paths)
    steps = commanded_steps(steps_text, 2)
    return pair_finding(taken, steps, axis, kit, given, standing=standing, u_pose_deg=u_pose_deg)
