"""Readings that the operator types in: what to do and what to read, one question at a time.

With a Mover the head goes to each place by itself; without one the operator is told where to send it. Places are visited
in shuffled order, the first again at the end. A drift of the instrument is then visible. In the order of the places it
would look like a wrong scale (R. A. Fisher, *The Design of Experiments*, 1935, chapter 2).
"""

from collections.abc import Iterator, Sequence
from functools import partial
from random import Random
from typing import TypeVar

import numpy as np

from controller.calibration.known_lens import LensGiven, typed_focal
from controller.calibration.parallax import far_mark_words
from controller.calibration.questions import Mover, NumberQuestion, PersonAtHead, ReadingRow, answered, forever
from controller.calibration.readings import Readings
from controller.calibration.records import AxisName, axis_of
from controller.kit.kit import Kit

__all__ = ["Mover", "PersonAtHead"]
GOLDEN = 0.6180339887498949
POSITIONS = 12
YAWS = 8
ORDERS = 50  # the order that correlates least with the places is used
ANGLE = NumberQuestion("angle_deg", "Angle read, degrees")
Place = TypeVar("Place")


def _range_of(axis: AxisName, kit: Kit | None) -> tuple[float, float]:
    """The part of an axis's range to measure in: at most a whole turn, a little inside the limits."""
    low, high = (0.0, 360.0) if axis is AxisName.PAN else (-60.0, 60.0)
    plain = axis_of(kit, axis)
    if plain is None:
        return low, high
    least, most = plain.min_deg + 3, plain.max_deg - 3  # room to approach from either side
    if most - least >= 360:
        return (low, high) if least <= 0 and most >= 360 else (least, least + 360)
    return least, most


def spread(low: float, high: float, count: int) -> list[float]:
    """Places over a range, sorted.

    They are multiples of the golden ratio, so that they never coincide with a gear's own period.
    """
    return sorted(round(low + (high - low) * (GOLDEN * (n + 0.5) % 1), 2) for n in range(count))


def in_guided_order(places: Sequence[Place], *runs: Sequence[float], seed: int = 0) -> list[Place]:
    """The places shuffled, the first again at the end.

    `runs` hold a number for each place (its angle, its side). Of several orders drawn with `seed`, this is the one that
    correlates least with any of the runs, so that a drift in time is not mistaken for a trend along the places.
    """
    random, numbers = Random(seed), list(range(len(places)))
    orders = []
    for _ in range(ORDERS):
        random.shuffle(numbers)
        orders.append([*numbers, numbers[0]])
    best = min(orders, key=lambda order: sum(correlation_with_order([run[at] for at in order]) for run in runs))
    return [places[at] for at in best]


def correlation_with_order(run: Sequence[float]) -> float:
    """Size of the correlation of numbers with their order, 0 to 1."""
    time, values = np.arange(len(run)) - (len(run) - 1) / 2, np.array(run) - np.mean(run)
    size = float(np.linalg.norm(time) * np.linalg.norm(values))
    return abs(float(time @ values)) / size if size > 0 else 0.0


def asked_angles(operator: PersonAtHead, axis: AxisName, kit: Kit | None) -> Readings:
    """Commanded steps and angles read from an instrument."""
    operator.tell("Fasten an instrument that reads the angle. Degrees grow to the right and upward. Touch nothing else.")
    plain = axis_of(kit, axis)
    if plain is None:
        operator.tell(
            "Type the steps commanded and the angle read. Mix the order of the places, and read the first one again at "
            "the end."
        )
        return answered(
            operator, forever(ReadingRow((NumberQuestion("commanded_steps", "Commanded steps", whole=True), ANGLE)))
        )
    low, high = _range_of(axis, kit)
    places = np.linspace(low, high, POSITIONS + 1).tolist()
    order, rate = in_guided_order(places, places), plain.nominal_steps_per_degree
    rows = (
        ReadingRow(
            (ANGLE,), {"commanded_steps": float(round(place * rate))}, partial(operator.send, axis, place, rate, 1)
        )
        for place in order
    )
    return answered(operator, rows, len(order))


def asked_turns(operator: PersonAtHead, kit: Kit | None) -> Readings:
    """Whole turns on a far mark and the steps they took."""
    focal_px = None if kit is None else typed_focal(kit, LensGiven())[1]
    operator.tell("Support the camera, cut the motor power, and walk the cables by hand through all these turns first.")
    operator.tell(f"Choose a far mark with a sharp edge, {far_mark_words(focal_px)}.")
    operator.tell("Aim at it, coming from the left. Turn whole turns to the right until it is back.")
    operator.tell("Stop before you reach it, and nudge on to it from the left again.")
    operator.tell("Aim again for each row, and repeat the first row at the end.")
    turns = NumberQuestion("turns", "Whole turns made", whole=True)
    return answered(
        operator, forever(ReadingRow((turns, NumberQuestion("steps", "Steps from the mark back on to it", whole=True))))
    )


def asked_approaches(operator: PersonAtHead, axis: AxisName, kit: Kit | None, positions: int, times: int) -> Readings:
    """Positions approached from both sides, several times: all of them each time, in a new order."""
    plain = axis_of(kit, axis)
    rate = None if plain is None else plain.steps_per_degree
    places = [(place, side) for place in spread(*_range_of(axis, kit), positions) for side in (1, -1)]
    angles, sides = [place for place, _ in places], [float(side) for _, side in places]
    order = [each for n in range(times) for each in in_guided_order(places, angles, sides, seed=n)[:-1]]
    order.append(order[0])
    operator.tell(f"{positions} positions, {times} times from each side, the first again: {len(order)} readings.")
    rows = (
        ReadingRow(
            (NumberQuestion("measured_deg", "Angle read, degrees"),),
            {"target_deg": place, "direction": "up" if side > 0 else "down"},
            partial(operator.send, axis, place, rate, side),
        )
        for place, side in order
    )
    return answered(operator, rows, len(order))


def asked_tilts(operator: PersonAtHead, kit: Kit | None) -> Readings:
    """The tilt at yaws round the turn, without moving the tilt axis."""
    operator.tell("Bring the camera level, and leave the tilt axis alone from here on. Upward is plus.")
    plain = axis_of(kit, AxisName.PAN)
    rate = None if plain is None else plain.steps_per_degree
    places = np.linspace(*_range_of(AxisName.PAN, kit), YAWS, endpoint=False).tolist()
    # A lean is a sine and a cosine of the yaw. No drift may correlate with either.
    order = in_guided_order(places, np.sin(np.radians(places)).tolist(), np.cos(np.radians(places)).tolist())
    tilt = NumberQuestion("reading_deg", "Tilt read, degrees")
    rows = (ReadingRow((tilt,), {"yaw_deg": yaw}, partial(operator.send, AxisName.PAN, yaw, rate, 1)) for yaw in order)
    return answered(operator, rows, len(order))


def asked_ringing(operator: PersonAtHead) -> Readings:
    """A sensor's values after a move, in order of time."""
    operator.tell(
        "Lay a sensor that shows its readings over time (a level, a dial, a telephone's rotation) on the camera. Make "
        "the longest move at full speed, and read the sensor from the end of the move: twenty readings or more over "
        "several swings, several in each. Type time and value."
    )
    time = NumberQuestion("time_ms", "Time since the move ended, ms")
    return answered(operator, forever(ReadingRow((time, NumberQuestion("value", "Value")))))


def asked_visits(operator: PersonAtHead, kit: Kit | None, order: Sequence[tuple[float, float, int]]) -> Readings:
    """Poses visited in the given order: yaw, pitch and the side to approach from."""
    rates = [None if plain is None else plain.steps_per_degree for plain in (axis_of(kit, a) for a in AxisName)]
    operator.tell(f"{len(order)} visits; read yaw and pitch at each.")
    questions = (NumberQuestion("yaw_deg", "Yaw read, degrees"), NumberQuestion("pitch_deg", "Pitch read, degrees"))

    def go(yaw_deg: float, pitch_deg: float, side: int) -> None:
        operator.send(AxisName.PAN, yaw_deg, rates[0], side)
        operator.send(AxisName.TILT, pitch_deg, rates[1], side)

    def rows() -> Iterator[ReadingRow]:
        for yaw, pitch, side in order:
            yield ReadingRow(questions, {"target_yaw_deg": yaw, "target_pitch_deg": pitch}, partial(go, yaw, pitch, side))

    return answered(operator, rows(), len(order))
