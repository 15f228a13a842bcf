"""Readings of several moves: which rows belong to which, and every wrong row refused with its line and the cure."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.calibration.readings import Readings, read_csv
from controller.calibration.settle_moves import MoveReadings, cell_of, moves_in, shaper_in
from controller.errors import InputError
from protocol.shaper import CLOSEST_MS, PLAIN, WHOLE, Shaper

WORDS = ("axis", "shaped")
IMPULSES = "0:32768 62:32768"


def read(folder: Path, text: str) -> Readings:
    path = folder / "m.csv"
    path.write_text(text, encoding="utf-8")
    return read_csv(path, ("time_ms", "value", *WORDS), ("pitch_deg",), WORDS)


def rows(axis: str, shaped: str, pitch: float | None = None, count: int = 3, first: float = 0.0) -> str:
    end = "" if pitch is None else f",{pitch:g}"
    return "".join(f"{first + 10 * n:g},{n},{axis},{shaped}{end}\n" for n in range(count))


HEAD, PITCHED = "time_ms,value,axis,shaped\n", "time_ms,value,axis,shaped,pitch_deg\n"


def test_moves_come_in_the_order_of_the_file(tmp_path: Path) -> None:
    text = PITCHED + "".join(
        rows(axis, shaped, pitch) for pitch in (0, 60) for axis in ("tilt", "pan") for shaped in ("no", IMPULSES)
    )
    found = moves_in(read(tmp_path, text), 0.0, 2.0)
    assert [(each.move.axis.value, each.move.pitch_deg, each.move.is_plain) for each in found] == [
        (axis, pitch, plain) for pitch in (0, 60) for axis in ("tilt", "pan") for plain in (True, False)
    ]
    assert found[1].move.shaper == Shaper(((0, 32768), (62, 32768)))
    for each in found:
        assert each.time_s.tolist() == [0.0, 0.01, 0.02]
        assert each.value.tolist() == [0.0, 2.0, 4.0]


def test_readings_before_a_time_are_left_out(tmp_path: Path) -> None:
    found: tuple[MoveReadings, ...] = moves_in(read(tmp_path, HEAD + rows("pan", "no", first=-10)), 0.0)
    assert found[0].time_s.tolist() == [0.0, 0.01]
    assert found[0].move.pitch_deg == 0.0


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (HEAD + rows("roll", "no"), 'm.csv line 2: axis = "roll" is not an axis; write pan or tilt'),
        (HEAD + rows("pan", "no") + rows("pan", "maybe"), "m.csv line 5: shaped = maybe is not understood; write no"),
        (HEAD + rows("pan", "0:32768"), "m.csv line 2: shaped is no shaper (1 impulses"),
        (HEAD + rows("pan", "0:30000 62:32768"), "m.csv line 2: shaped is no shaper (the shares sum to 62768"),
        (HEAD + rows("pan", "no") + rows("tilt", "no") + rows("pan", "no"), "m.csv line 8: pan at pitch 0°, "),
        (HEAD + rows("pan", "no") + rows("pan", "yes") + rows("pan", IMPULSES), "m.csv line 8: pan at pitch 0°, "),
        (HEAD + rows("pan", "no") + rows("pan", "no"), "m.csv line 5: time_ms does not grow"),
        (HEAD + rows("pan", "yes"), "m.csv from line 2 (pan at pitch 0°, with the shaper): there is no move without"),
        (PITCHED + rows("pan", "no", 95), "m.csv line 2: pitch_deg = 95 is no pitch"),
        (PITCHED + "".join(rows("pan", "no", pitch) for pitch in range(38)), "m.csv: has more than 37 pitches; give"),
        ("time_ms,value,axis\n0,1,pan\n", "m.csv line 1: has no column shaped; the first line should be time_ms,value"),
        (HEAD + "0,1,pan,\n", "m.csv line 2: shaped is missing"),
        (HEAD + "0,left,pan,no\n", "m.csv line 2: value = left is not a number"),
    ],
)  # fmt: skip
def test_a_wrong_row_is_refused_with_its_line(tmp_path: Path, text: str, said: str) -> None:
    with pytest.raises(InputError) as caught:
        moves_in(read(tmp_path, text), 0.0)
    (sentence,) = caught.value.sentences
    assert said.replace('"', "") in sentence.replace('"', "")
    assert re.search(r"[.]$", sentence)


@st.composite
def shapers(draw: st.DrawFn) -> Shaper:
    gaps = draw(st.lists(st.integers(CLOSEST_MS, 400), min_size=1, max_size=4))
    delays = [sum(gaps[:n]) for n in range(len(gaps) + 1)]
    cuts = sorted(draw(st.sets(st.integers(1, WHOLE - 1), min_size=len(gaps), max_size=len(gaps))))
    shares = [after - before for before, after in zip([0, *cuts], [*cuts, WHOLE], strict=True)]
    return Shaper(tuple(zip(delays, shares, strict=True)))


@given(shapers())
def test_a_shaper_comes_back_from_its_cell(shaper: Shaper) -> None:
    assert shaper_in(cell_of(shaper), "line") == shaper


def test_words_for_a_shaper() -> None:
    assert shaper_in(cell_of(PLAIN), "line") == PLAIN == shaper_in(" NO ", "line")
    assert shaper_in("yes", "line") is None
