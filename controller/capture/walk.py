"""The slow walk round the extremes of a program, while a person watches cables and tripod legs."""

from collections.abc import Sequence

from controller.amounts import duration
from controller.capture.gate import STOPS_HEAD
from controller.capture.hand import Hand
from controller.capture.people import People
from controller.program.program import MoveStep, Program
from protocol.units import NS


def corners(program: Program) -> list[tuple[int, int]]:
    """The path round the extremes of a program, in steps: every cable at its longest, low and high, and back to zero."""
    moves = [step for step in program.steps if isinstance(step, MoveStep)]
    if not moves:
        return []
    pans, tilts = [step.pan_steps for step in moves], [step.tilt_steps for step in moves]
    left, right, low, high = min(pans), max(pans), min(tilts), max(tilts)
    return [(left, low), (right, low), (right, high), (0, 0)]


def walk_text(hand: Hand, way: Sequence[tuple[int, int]]) -> str:
    """Sentence part: where a walk goes and how long it takes."""
    per_pan, per_tilt = hand.steps_per_degree
    pans, tilts = [pan / per_pan for pan, _ in way], [tilt / per_tilt for _, tilt in way]
    stops = [hand.at_steps if hand.known else (0, 0), *way]
    lasts_ns = sum(hand.motion_ns(there, here) for here, there in zip(stops[:-1], way, strict=True))
    first = "" if hand.known else "first both axes find zero, then "
    return (
        f"{first}a slow walk round the extremes, pan {min(pans):z.0f}° to {max(pans):z.0f}°, "
        f"tilt {min(tilts):z.0f}° to {max(tilts):z.0f}°, about {duration(lasts_ns / NS)}"
    )


def walk(hand: Hand, people: People, way: Sequence[tuple[int, int]]) -> None:
    """Announce the walk, then turn along it, announcing each leg. Raises WorldError, LinkLost, RunStopped."""
    hand.wait_announced(walk_text(hand, way), people.lead_ns)
    hand.wait_armed()
    if not hand.known:
        hand.wait_zero()
    per_pan, per_tilt = hand.steps_per_degree
    for pan, tilt in way:
        where = f"pan {pan / per_pan:z.0f}°, tilt {tilt / per_tilt:z.0f}°"
        people.say(f"Turning to {where}. {people.stops_by} {STOPS_HEAD}")
        hand.wait_move(pan, tilt)
    hand.gate.shut()
