"""Guided procedures: an operator at a simulated head types its readings, and the result is the truth."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.calibration import backlash, level, steps, typed_readings, verify
from controller.calibration.kept_readings import KeptReadings
from controller.calibration.readings import Readings, ReadingsRefused, read_csv
from controller.calibration.records import AxisName
from controller.calibration.settle import fit_ringing
from controller.calibration.typed_readings import PersonAtHead, spread
from sim.lean import leaned
from tests.controller.kit.tables import kit_with

KIT = kit_with({})
TRUE_RATE = 323.0  # the kit's gearing says 320
PLAY = 0.2


@dataclass
class Head:
    """A head that goes to places, by words or by a mover, and is read exactly; each axis lags by half its backlash."""

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

    def operator(self, *, by_itself: bool) -> PersonAtHead:
        return PersonAtHead(self.tell, self.ask, self if by_itself else None)


both_ways = pytest.mark.parametrize("by_itself", [False, True])


@both_ways
@pytest.mark.parametrize("axis", list(AxisName))
def test_steps(axis: AxisName, by_itself: bool) -> None:
    head = Head(axis_read=axis.value)
    found = steps.from_angles(typed_readings.asked_angles(head.operator(by_itself=by_itself), axis, KIT), 320.0)
    assert found.steps_per_degree == pytest.approx(TRUE_RATE, rel=1e-6)
    assert found.offset_deg == pytest.approx(-PLAY / 2, abs=1e-4)  # always approached from below
    assert any("step" in text for text in head.told) != by_itself


@both_ways
def test_backlash(by_itself: bool) -> None:
    head = Head(rate=320.0)
    got = typed_readings.asked_approaches(head.operator(by_itself=by_itself), AxisName.PAN, KIT, 5, 3)
    assert len(got) == 31  # 5 positions, 3 times, from either side, and the first again
    found = backlash.from_approaches(got)
    assert found.mean_reversal.value == pytest.approx(-PLAY, abs=0.01)
    assert found.play_deg == pytest.approx(PLAY, abs=0.01)


@both_ways
def test_level(by_itself: bool) -> None:
    head = Head(rate=320.0, lean=(0.7, 200.0))
    found = level.from_tilts(typed_readings.asked_tilts(head.operator(by_itself=by_itself), KIT))
    assert found.lean_deg == pytest.approx(0.7, abs=0.01)
    assert found.toward_deg == pytest.approx(200.0, abs=0.5)


@both_ways
def test_verify(by_itself: bool) -> None:
    head = Head(rate=320.0)
    order = verify.visiting_order([(10.0, 0.0), (200.0, 30.0), (100.0, -20.0)], 4, seed=1)
    got = typed_readings.asked_visits(head.operator(by_itself=by_itself), KIT, order)
    assert len(got) == 13
    assert verify.from_visits(got).worst.value < 1.0


def typist(*answers: str) -> tuple[PersonAtHead, list[str]]:
    """A person who types these answers and then only presses Enter."""
    left, told = list(answers), list[str]()
    return PersonAtHead(told.append, lambda _: left.pop(0) if left else ""), told


def test_what_is_no_number_is_asked_again() -> None:
    operator, told = typist("1", "115200", "one", "1", "1 15200", "115201", "2", "230399", "")
    got = typed_readings.asked_turns(operator, None)
    assert got.numbers["turns"].tolist() == [1, 1, 2]
    assert got.numbers["steps"].tolist() == [115200, 115201, 230399]
    assert len([text for text in told if "is not a whole number" in text]) == 2
    assert steps.from_turns(got).steps_per_degree == pytest.approx(320, rel=1e-4)


def test_without_a_kit_steps_are_typed_too() -> None:
    operator, _ = typist("0", "0.1", "3200", "10.1", "6400", "20.1", "9600", "30.1")
    found = steps.from_angles(typed_readings.asked_angles(operator, AxisName.PAN, None))
    assert found.steps_per_degree == pytest.approx(320)


def test_nothing_typed_is_too_few_and_no_traceback() -> None:
    with pytest.raises(ReadingsRefused, match="Nothing was typed in"):
        steps.from_angles(typed_readings.asked_angles(typist()[0], AxisName.PAN, KIT))
    with pytest.raises(ReadingsRefused):
        steps.from_turns(typed_readings.asked_turns(typist()[0], None))
    with pytest.raises(ReadingsRefused):
        backlash.from_approaches(typed_readings.asked_approaches(typist()[0], AxisName.TILT, None, 3, 2))
    with pytest.raises(ReadingsRefused):
        level.from_tilts(typed_readings.asked_tilts(typist()[0], None))
    with pytest.raises(ReadingsRefused):
        verify.from_visits(typed_readings.asked_visits(typist()[0], None, [(0.0, 0.0, 1)]))


def test_places_stay_inside_the_limits_and_fall_into_no_step() -> None:
    narrow = kit_with({"head.pan.min_deg": -100.0, "head.pan.max_deg": 90.0})
    head = Head(rate=320.0)
    got = typed_readings.asked_approaches(head.operator(by_itself=False), AxisName.PAN, narrow, 7, 2)
    assert -98 < got.numbers["target_deg"].min() < got.numbers["target_deg"].max() < 88
    places = spread(0, 360, 7)
    gaps = {round(b - a, 1) for a, b in pairwise(places)}
    assert len(gaps) >= 2  # ISO 230-2 asks for uneven spacing


def test_ringing_is_typed_in_until_an_empty_line() -> None:
    """A damped swing (Thomson and Dahleh, *Theory of Vibration*, section 2.6) read every 20 ms."""
    swing = [5 * math.exp(-0.05 * math.tau * 8 * t / 1000) * math.cos(math.tau * 8 * t / 1000) for t in range(0, 600, 20)]
    answers = [word for place, value in enumerate(swing) for word in (str(20 * place), f"{value:.4f}")]
    left = iter([*answers[:2], "soon", *answers[2:], ""])  # asked again after an answer that is no number
    told: list[str] = []
    readings = typed_readings.asked_ringing(PersonAtHead(told.append, lambda _: next(left)))
    assert len(readings) == len(swing)
    assert readings.numbers["time_ms"].tolist() == [20.0 * place for place in range(len(swing))]
    assert [text for text in told if "soon" in text] == ['"soon" is not a number. Example: 30.1']
    fitted = fit_ringing(readings.numbers["time_ms"] / 1000, readings.numbers["value"])
    assert (fitted.ring_hz, fitted.ring_damping) == pytest.approx((8.0, 0.05), rel=0.01)


def test_a_decimal_comma_is_a_point_and_a_unit_is_offered_without() -> None:
    operator, told = typist("0", "0,1", "3200", "10,1°", "10,1", "6.400", "6400", "20.1")
    got = typed_readings.asked_angles(operator, AxisName.PAN, None)
    assert got.numbers["angle_deg"].tolist() == [0.1, 10.1, 20.1]
    assert any('"10,1°" is not a plain number. Write 10.1.' in text for text in told)


def test_a_comma_in_a_whole_number_is_not_guessed_at() -> None:
    """115,200 is a hundred thousand in some countries and a hundred in others."""
    operator, told = typist("1", "115,200", "115200", "2", "230,4", "230399")
    got = typed_readings.asked_turns(operator, None)
    assert got.numbers["steps"].tolist() == [115200, 230399]
    assert any("Write 115200 for the whole one" in text for text in told)


def counted(head: Head) -> tuple[list[str], PersonAtHead]:
    questions: list[str] = []

    def ask(question: str) -> str:
        questions.append(question)
        return head.ask(question)

    return questions, PersonAtHead(head.tell, ask)


@pytest.mark.parametrize("axis", list(AxisName))
def test_every_guided_procedure_counts_and_repeats_the_first_place_at_the_end(axis: AxisName) -> None:
    head = Head(rate=320.0, axis_read=axis.value)
    procedures: tuple[tuple[Callable[[PersonAtHead], Readings], tuple[str, ...]], ...] = (
        (lambda operator: typed_readings.asked_angles(operator, axis, KIT), ("commanded_steps",)),
        (lambda operator: typed_readings.asked_approaches(operator, axis, KIT, 5, 3), ("target_deg",)),
        (lambda operator: typed_readings.asked_tilts(operator, KIT), ("yaw_deg",)),
        (
            lambda operator: typed_readings.asked_visits(
                operator, KIT, verify.visiting_order([(9.0, 0.0), (90.0, 30.0)], 4, 1)
            ),
            ("target_yaw_deg", "target_pitch_deg"),
        ),
    )
    for ask, columns in procedures:
        questions, operator = counted(head)
        got = ask(operator)
        asked_first = [text for text in questions if not text.startswith("Pitch")]
        assert [text[text.index("[") :] for text in asked_first] == [
            f"[{n} of {len(got)}]" for n in range(1, len(got) + 1)
        ]
        for name in columns:
            assert got.numbers[name][0] == got.numbers[name][-1]


@given(count=st.integers(3, 30), seed=st.integers(0, 10**6))
def test_a_guided_order_does_not_go_with_the_places(count: int, seed: int) -> None:
    """Otherwise a drift could look like a scale. In the order of the places the correlation would be 1."""
    places = [float(n) for n in range(count)]
    order = typed_readings.in_guided_order(places, places, seed=seed)
    assert sorted(order[:-1]) == places
    assert order[-1] == order[0]
    assert typed_readings.correlation_with_order(order) < (0.7 if count < 5 else 0.2)


@given(times=st.integers(2, 5), positions=st.integers(3, 8))
def test_approaches_keep_their_sides_and_come_in_whole_cycles(times: int, positions: int) -> None:
    """ISO 230-2: every position equally often from either side; an early end leaves whole cycles."""
    got = typed_readings.asked_approaches(counted(Head(rate=320.0))[1], AxisName.PAN, KIT, positions, times)
    pairs = list(zip(got.numbers["target_deg"].tolist(), got.words["direction"], strict=True))
    for n in range(times):
        cycle = pairs[2 * positions * n : 2 * positions * (n + 1)]
        assert len(set(cycle)) == 2 * positions
    assert pairs[-1] == pairs[0]


def test_a_drift_leaves_the_scale_alone() -> None:
    """An instrument that creeps by 0.1° during the readings. In the order of the places the scale would be off by all of
    it, 1 part in 3,600. Shuffled, a fifth of that is left (the bound of the property above).
    """
    head = Head(rate=320.0)
    count = 0

    def ask(question: str) -> str:
        nonlocal count
        count += 1
        return f"{float(head.ask(question)) + 0.1 * count / 14:.6f}"

    got = typed_readings.asked_angles(PersonAtHead(head.tell, ask), AxisName.PAN, KIT)
    slope = np.polyfit(got.numbers["commanded_steps"] / 320.0, got.numbers["angle_deg"], 1)[0]
    assert abs(slope - 1) < 0.2 * 0.1 / 360


def test_the_last_reading_can_be_typed_again() -> None:
    """Also after a mistake in the middle of a row, with Enter for values to keep, and with nothing to go back to."""
    operator, told = typist("back", "0", "0.1", "3200", "99", "back", "", "10.1", "6400", "BACK", "6400", "20.1", "")
    got = typed_readings.asked_angles(operator, AxisName.PAN, None)
    assert got.numbers["commanded_steps"].tolist() == [0, 3200, 6400]
    assert got.numbers["angle_deg"].tolist() == [0.1, 10.1, 20.1]
    assert told.count("There is no reading to go back to.") == 1


@given(data=st.data())
def test_whatever_is_typed_again_the_rows_stay_in_the_order_of_time(data: st.DataObject) -> None:
    """Any number of mistakes, each corrected after "back": the same readings as without them."""
    right = [float(n) for n in range(9)]
    script: list[str] = []
    for value in right:
        if value < right[-1] and data.draw(st.booleans()):  # after the last reading there is no question to go back from
            script += [f"{value + 100:g}", "back", f"{value:g}"]
        else:
            script.append(f"{value:g}")
    left = iter(script)
    got = typed_readings.asked_tilts(PersonAtHead(lambda _: None, lambda _: next(left, "")), KIT)
    assert got.numbers["reading_deg"].tolist() == right


def test_what_was_typed_is_kept_when_somebody_ends_it_in_the_middle(tmp_path: Path) -> None:
    told: list[str] = []
    answers = iter(["0.5", "0,25", "back", "0.75"])

    def ask(_: str) -> str:
        try:
            return next(answers)
        except StopIteration:
            raise KeyboardInterrupt from None

    operator = PersonAtHead(told.append, ask, keep=KeptReadings(told.append, tmp_path))
    with pytest.raises(KeyboardInterrupt):
        typed_readings.asked_tilts(operator, KIT)
    (file,) = tmp_path.iterdir()
    kept = read_csv(file, ("yaw_deg", "reading_deg"))
    assert kept.numbers["reading_deg"].tolist() == [0.5, 0.75]
    assert [str(file) in text for text in told].count(True) == 1


def test_readings_go_on_where_they_cannot_be_kept(tmp_path: Path) -> None:
    told: list[str] = []
    keep = KeptReadings(told.append, tmp_path / "no such folder")
    keep("yaw_deg\n1\n")
    keep("yaw_deg\n1\n2\n")
    assert len(told) == 1
    assert "cannot be written" in told[0]


def test_no_file_of_readings_is_written_over(tmp_path: Path) -> None:
    for n in range(3):
        KeptReadings(lambda _: None, tmp_path)(f"yaw_deg\n{n}\n")
    assert len(list(tmp_path.iterdir())) == 3
