"""Readings that the operator types in: what to do, what to read, one question after the other.

With a Mover the head goes to each place by itself; without one the operator is told where to send it.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np

from controller.calibration.readings import NotBelievable, Readings, number
from controller.calibration.records import AxisName
from controller.errors import InputError
from controller.kit.kit import Axis, Kit

TYPED = "the readings typed in"
GOLDEN = 0.6180339887498949
POSITIONS = 12
YAWS = 8


class Mover(Protocol):
    """Something that can move the head. A move is complete only when the call returns."""

    def wait_go_to(self, axis: AxisName, *stops: int) -> None:
        """Move one axis to these absolute steps in turn and come to rest. Raises WorldError."""


@dataclass(frozen=True, slots=True)
class Operator:
    """The person at the head: `tell` says something, `ask` puts a question and returns what was typed."""

    tell: Callable[[str], None]
    ask: Callable[[str], str]
    mover: Mover | None = None

    def number(self, question: str) -> float | None:
        """The number typed in, None where nothing was; asks again for anything else."""
        while True:
            typed = self.ask(question).strip()
            if not typed:
                return None
            try:
                return number(typed, question)
            except InputError as error:
                self.tell(str(error))

    def send(self, axis: AxisName, angle_deg: float, steps_per_degree: float | None, side: int = 0) -> None:
        """Bring an axis to an angle, coming from below (+1), from above (-1) or from anywhere (0)."""
        steps = None if steps_per_degree is None else round(angle_deg * steps_per_degree)
        if self.mover is not None and steps is not None and steps_per_degree is not None:
            before = [steps - side * round(2 * steps_per_degree)] if side else []
            self.mover.wait_go_to(axis, *before, steps)
            return
        come = {0: "", 1: ", coming from below", -1: ", coming from above"}[side]
        at = "" if steps is None else f" (step {steps})"
        self.tell(f"Send the {axis.value} axis to {angle_deg:.3f}°{at}{come}.")


@dataclass(slots=True)
class Typed:
    """Rows as they are typed, and the columns they make."""

    numbers: dict[str, list[float]] = field(default_factory=dict)
    words: dict[str, list[str]] = field(default_factory=dict)

    def add(self, **row: float | str) -> None:
        """One row more."""
        for name, value in row.items():
            if isinstance(value, str):
                self.words.setdefault(name, []).append(value)
            else:
                self.numbers.setdefault(name, []).append(value)

    def readings(self) -> Readings:
        """All rows. Raises NotBelievable where there are none."""
        if not self.numbers:
            raise NotBelievable("Nothing was typed in, so there is nothing to work out.")
        rows = len(next(iter(self.numbers.values())))
        numbers = {name: np.array(column) for name, column in self.numbers.items()}
        words = {name: tuple(column) for name, column in self.words.items()}
        return Readings(TYPED, tuple(range(1, rows + 1)), numbers, words)


def axis_of(kit: Kit | None, axis: AxisName) -> Axis | None:
    """That axis of the kit."""
    return None if kit is None else (kit.head.pan if axis is AxisName.PAN else kit.head.tilt)


def _range_of(axis: AxisName, kit: Kit | None) -> tuple[float, float]:
    """The part of an axis's range to measure in: a whole turn at most, a little inside its limits."""
    low, high = (0.0, 360.0) if axis is AxisName.PAN else (-60.0, 60.0)
    plain = axis_of(kit, axis)
    if plain is None:
        return low, high
    least, most = plain.min_deg + 3, plain.max_deg - 3  # room to come from either side
    if most - least >= 360:
        return (low, high) if least <= 0 and most >= 360 else (least, least + 360)
    return least, most


def spread(low: float, high: float, count: int) -> list[float]:
    """Places over a range that never fall into step with a gear's own period: multiples of the golden ratio, sorted."""
    return sorted(round(low + (high - low) * (GOLDEN * (n + 0.5) % 1), 2) for n in range(count))


def _pairs(operator: Operator, first: tuple[str, str], second: tuple[str, str]) -> Readings:
    """Two numbers a row, each with its column's name and its question, until the first is left empty."""
    typed = Typed()
    while (one := operator.number(first[1])) is not None:
        if (other := operator.number(second[1])) is not None:
            typed.add(**{first[0]: one, second[0]: other})
    return typed.readings()


def asked_angles(operator: Operator, axis: AxisName, kit: Kit | None) -> Readings:
    """Commanded steps and angles read from an instrument."""
    operator.tell(
        "Fasten an instrument that reads the angle, degrees growing to the right and upward. Touch nothing else."
    )
    typed, plain = Typed(), axis_of(kit, axis)
    if plain is None:
        operator.tell("Type the steps commanded and the angle read; an empty line ends.")
        return _pairs(operator, ("commanded_steps", "Commanded steps"), ("angle_deg", "Angle read, degrees"))
    low, high = _range_of(axis, kit)
    places = np.linspace(low, high, POSITIONS + 1)
    for place in places.tolist():
        operator.send(axis, place, plain.nominal_steps_per_degree, side=1)
        if (angle := operator.number("Angle read, degrees (empty: leave it out)")) is not None:
            typed.add(commanded_steps=float(round(place * plain.nominal_steps_per_degree)), angle_deg=angle)
    return typed.readings()


def asked_turns(operator: Operator) -> Readings:
    """Whole turns on a far mark and the steps they took."""
    operator.tell(
        "Aim at a far mark, coming from the left. Turn whole turns to the right until it is back, and nudge on to it "
        "from the left again. Walk the cables first. Aim anew for each row; an empty line ends."
    )
    return _pairs(operator, ("turns", "Whole turns made"), ("steps", "Steps from the mark back on to it"))


def asked_approaches(operator: Operator, axis: AxisName, kit: Kit | None, positions: int, times: int) -> Readings:
    """Positions approached from both sides: up through all of them, down again, several times."""
    typed, plain = Typed(), axis_of(kit, axis)
    rate = None if plain is None else plain.steps_per_degree
    places = spread(*_range_of(axis, kit), positions)
    operator.tell(f"{len(places)} positions, {times} times from each side: {2 * times * len(places)} readings.")
    for _ in range(times):
        for side, word, row in ((1, "up", places), (-1, "down", places[::-1])):
            for place in row:
                operator.send(axis, place, rate, side)
                if (angle := operator.number("Angle read, degrees (empty: leave it out)")) is not None:
                    typed.add(target_deg=place, direction=word, measured_deg=angle)
    return typed.readings()


def asked_tilts(operator: Operator, kit: Kit | None) -> Readings:
    """The tilt round the turn, the tilt axis at rest."""
    operator.tell("Bring the camera level, and leave the tilt axis alone from here on. Upward is plus.")
    typed, plain = Typed(), axis_of(kit, AxisName.PAN)
    low, high = _range_of(AxisName.PAN, kit)
    for place in np.linspace(low, high, YAWS, endpoint=False).tolist():
        operator.send(AxisName.PAN, place, None if plain is None else plain.steps_per_degree, side=1)
        if (reading := operator.number("Tilt read, degrees (empty: leave it out)")) is not None:
            typed.add(yaw_deg=place, reading_deg=reading)
    return typed.readings()


def asked_ringing(operator: Operator) -> Readings:
    """What a sensor shows after a move, in order of time."""
    operator.tell(
        "Lay a sensor that shows its readings over time (a level, a dial, a telephone's rotation) on the camera. Make "
        "the fastest and longest move, and read it from when the move has ended: twenty readings or more over several "
        "swings, several in each. Type time and value; an empty line ends."
    )
    return _pairs(operator, ("time_ms", "Time since the move ended, ms"), ("value", "Value"))


def asked_visits(operator: Operator, kit: Kit | None, order: Sequence[tuple[float, float, int]]) -> Readings:
    """Poses visited in the given order: yaw, pitch and the side to come from."""
    typed = Typed()
    rates = [None if plain is None else plain.steps_per_degree for plain in (axis_of(kit, a) for a in AxisName)]
    operator.tell(f"{len(order)} visits; read yaw and pitch at each.")
    for yaw, pitch, side in order:
        operator.send(AxisName.PAN, yaw, rates[0], side)
        operator.send(AxisName.TILT, pitch, rates[1], side)
        if (read_yaw := operator.number("Yaw read, degrees (empty: leave it out)")) is None:
            continue
        if (read_pitch := operator.number("Pitch read, degrees")) is not None:
            typed.add(target_yaw_deg=yaw, target_pitch_deg=pitch, yaw_deg=read_yaw, pitch_deg=read_pitch)
    return typed.readings()
