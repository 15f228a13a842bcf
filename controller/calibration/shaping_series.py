"""From the readings of several moves to a finding for each axis."""

from collections.abc import Callable, Sequence

from controller.calibration.finding import Finding
from controller.calibration.records import AxisName, axis_of
from controller.calibration.settle_finding import Still
from controller.calibration.settle_moves import MeasuredMove, MoveReadings
from controller.calibration.shaping_check import Place, ShapingVerdict, place_of, share_of_steps
from controller.calibration.shaping_finding import axis_finding, sight_of
from controller.errors import InputError
from controller.kit.kit import Kit
from controller.program.timing import axis_accel
from controller.shaping.rig import modes_of
from controller.shaping.ringing import Mode
from protocol.shaper import PLAIN, Shaper

OwnShapers = Callable[[], tuple[Shaper, Shaper]]
"""The shapers of pan and tilt that the kit's head gets, for moves that only say that they were shaped."""


def series_findings(
    reads: Sequence[MoveReadings], kit: Kit | None, own: OwnShapers, degrees_per_unit: float | None, still: Still
) -> list[Finding]:
    """A finding for each axis in the readings, pan first. Raises InputError, ReadingsRefused."""
    sight = sight_of(kit, degrees_per_unit, still)
    found: dict[AxisName, list[Place]] = {axis: [] for axis in AxisName}
    for plain in reads:
        if not plain.move.is_plain:
            continue
        same = (read for read in reads if read.move.place == plain.move.place and not read.move.is_plain)
        shaped = next(same, None)
        shaper = None if shaped is None else _shaper_of(shaped, kit, own)
        found[plain.move.axis].append(place_of(plain, shaped, shaper, *_stated(plain.move, kit)))
    return [axis_finding(places, sight, kit) for places in found.values() if places]


def fails(findings: Sequence[Finding]) -> bool:
    """Whether shaping fails at any place of these findings."""
    verdicts = [place.get("verdict") for finding in findings for place in finding.more["places"]]
    return ShapingVerdict.FAILS.value in verdicts


def _stated(move: MeasuredMove, kit: Kit | None) -> tuple[Mode | None, float]:
    """The vibration as the kit states it, and what the motor's steps leave as a share of the largest swing."""
    axis = axis_of(kit, move.axis)
    if kit is None or axis is None:
        return None, 0.0
    mode = modes_of(kit.head, axis, move.pitch_deg)[0]
    return mode, share_of_steps(mode, axis_accel(axis))


def _shaper_of(read: MoveReadings, kit: Kit | None, own: OwnShapers) -> Shaper:
    if read.move.shaper is not None:
        return read.move.shaper
    if kit is None:
        raise InputError(f"{read.name}: shaped = yes is the shaper of a kit; name it (--kit), or write the impulses.")
    shaper = own()[read.move.axis.number]
    if shaper == PLAIN:
        raise InputError(
            f"{read.name}: this kit's head gets no shaper for {read.move.axis.value}; in place of yes, write the "
            "impulses that the board was told."
        )
    return shaper
