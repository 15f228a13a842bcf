"""Guided procedures: an operator at a simulated head types what it shows, and the truth comes out."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field
from itertools import pairwise

import pytest

from controller.calibration import asking, backlash, level, steps, verify
from controller.calibration.asking import Operator, spread
from controller.calibration.readings import NotBelievable
from controller.calibration.records import AxisName
from controller.calibration.settle import fit_ringing
from sim.lean import leaned
from tests.controller.kit.tables import kit_with

KIT = kit_with({})
TRUE_RATE = 323.0  # where the kit's gearing says 320
PLAY = 0.2


@dataclass
class Head:
    """A head that is sent to places, by words or by a mover, and reads true; each axis lags by half its play."""

    rate: float = TRUE_RATE
    lean: tuple[float, float] = (0.0, 0.0)
    stands: dict[str, float] = field(default_factory=lambda: {"pan": 0.0, "tilt": 0.0})
    told: list[str] = field(default_factory=list)
    asked: int = 0

    def wait_go_to(self, axis: AxisName, *stops: int) -> None:
        for stop in stops:
            goal = stop / self.rate
            lag = PLAY / 2 if goal > self.stands[axis] else -PLAY / 2
            self.stands[axis] = goal - lag

    def tell(self, text: str) -> None:
        self.told.append(text)
        found = re.match(r"Send the (pan|tilt) axis to \S+ \(step (-?\d+)\)(, coming from (below|above))?", text)
        if found:
            lag = {"below": PLAY / 2, "above": -PLAY / 2, None: 0.0}[found[4]]
            self.stands[found[1]] = int(found[2]) / self.rate - lag

    def ask(self, question: str) -> str:
        self.asked += 1
        if question.startswith("Tilt read"):
            return str(leaned(self.stands["pan"], 0.0, *self.lean)[1])
        axis = "tilt" if question.startswith("Pitch") else self.axis_read
        return f"{self.stands[axis]:.6f}"

    axis_read: str = "pan"

    def operator(self, *, by_itself: bool) -> Operator:
        return Operator(self.tell, self.ask, self if by_itself else None)


both_ways = pytest.mark.parametrize("by_itself", [False, True])


@both_ways
@pytest.mark.parametrize("axis", list(AxisName))
def test_steps(axis: AxisName, by_itself: bool) -> None:
    head = Head(axis_read=axis.value)
    found = steps.from_angles(asking.asked_angles(head.operator(by_itself=by_itself), axis, KIT), 320.0)
    assert found.steps_per_degree == pytest.approx(TRUE_RATE, rel=1e-6)
    assert found.offset_deg == pytest.approx(-PLAY / 2, abs=1e-4)  # always approached from below
    assert any("step" in text for text in head.told) != by_itself


@both_ways
def test_backlash(by_itself: bool) -> None:
    head = Head(rate=320.0)
    got = asking.asked_approaches(head.operator(by_itself=by_itself), AxisName.PAN, KIT, 5, 3)
    assert len(got) == 30
    found = backlash.from_approaches(got)
    assert found.mean_reversal_deg == pytest.approx(-PLAY, abs=0.01)
    assert found.play_deg == pytest.approx(PLAY, abs=0.01)


@both_ways
def test_level(by_itself: bool) -> None:
    head = Head(rate=320.0, lean=(0.7, 200.0))
    found = level.from_tilts(asking.asked_tilts(head.operator(by_itself=by_itself), KIT))
    assert found.lean_deg == pytest.approx(0.7, abs=0.01)
    assert found.toward_deg == pytest.approx(200.0, abs=0.5)


@both_ways
def test_verify(by_itself: bool) -> None:
    head = Head(rate=320.0)
    order = verify.visiting_order([(10.0, 0.0), (200.0, 30.0)], 4, seed=1)
    got = asking.asked_visits(head.operator(by_itself=by_itself), KIT, order)
    assert len(got) == 9
    assert verify.from_visits(got).worst_deg < 1.0


def typist(*answers: str) -> tuple[Operator, list[str]]:
    """Somebody who types these answers and then only presses return."""
    left, told = list(answers), list[str]()
    return Operator(told.append, lambda _: left.pop(0) if left else ""), told


def test_what_is_no_number_is_asked_again() -> None:
    operator, told = typist("1", "115200", "one", "1", "1 15200", "115201", "2", "230399", "")
    got = asking.asked_turns(operator)
    assert got.numbers["turns"].tolist() == [1, 1, 2]
    assert got.numbers["steps"].tolist() == [115200, 115201, 230399]
    assert len([text for text in told if "is not a number" in text]) == 2
    assert steps.from_turns(got).steps_per_degree == pytest.approx(320, rel=1e-4)


def test_without_a_kit_steps_are_typed_too() -> None:
    operator, _ = typist("0", "0.1", "3200", "10.1", "6400", "20.1", "9600", "30.1")
    found = steps.from_angles(asking.asked_angles(operator, AxisName.PAN, None))
    assert found.steps_per_degree == pytest.approx(320)


def test_nothing_typed_is_too_few_and_no_traceback() -> None:
    with pytest.raises(NotBelievable, match="Nothing was typed in"):
        steps.from_angles(asking.asked_angles(typist()[0], AxisName.PAN, KIT))
    with pytest.raises(NotBelievable):
        steps.from_turns(asking.asked_turns(typist()[0]))
    with pytest.raises(NotBelievable):
        backlash.from_approaches(asking.asked_approaches(typist()[0], AxisName.TILT, None, 3, 2))
    with pytest.raises(NotBelievable):
        level.from_tilts(asking.asked_tilts(typist()[0], None))
    with pytest.raises(NotBelievable):
        verify.from_visits(asking.asked_visits(typist()[0], None, [(0.0, 0.0, 1)]))


def test_places_stay_inside_the_limits_and_fall_into_no_step() -> None:
    narrow = kit_with({"head.pan.min_deg": -100.0, "head.pan.max_deg": 90.0})
    head = Head(rate=320.0)
    got = asking.asked_approaches(head.operator(by_itself=False), AxisName.PAN, narrow, 7, 2)
    assert -98 < got.numbers["target_deg"].min() < got.numbers["target_deg"].max() < 88
    places = spread(0, 360, 7)
    gaps = {round(b - a, 1) for a, b in pairwise(places)}
    assert len(gaps) >= 2  # ISO 230-2 asks for uneven spacing


def test_ringing_is_typed_in_until_an_empty_line() -> None:
    """A damped swing (Thomson and Dahleh, *Theory of Vibration*, section 2.6) read every 20 ms."""
    swing = [5 * math.exp(-0.05 * math.tau * 8 * t / 1000) * math.cos(math.tau * 8 * t / 1000) for t in range(0, 600, 20)]
    answers = [word for place, value in enumerate(swing) for word in (str(20 * place), f"{value:.4f}")]
    left = iter([*answers[:2], "soon", *answers[2:], ""])  # what is no number is asked for again
    told: list[str] = []
    readings = asking.asked_ringing(Operator(told.append, lambda _: next(left)))
    assert len(readings) == len(swing)
    assert readings.numbers["time_ms"].tolist() == [20.0 * place for place in range(len(swing))]
    assert len(told) == 2
    fitted = fit_ringing(readings.numbers["time_ms"] / 1000, readings.numbers["value"])
    assert (fitted.ring_hz, fitted.ring_damping) == pytest.approx((8.0, 0.05), rel=0.01)
