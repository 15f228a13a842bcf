"""CSV files: what is read, and the sentence for every error."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.bounds import reading_bound
from controller.calibration.readings import Readings, names_in, number, read_csv
from controller.errors import InputError


def read(folder: Path, text: str | bytes, **more: tuple[str, ...]) -> object:
    path = folder / "r.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_csv(path, ("a", "b"), **more)


def test_columns_in_any_order_with_others_between(tmp_path: Path) -> None:
    path = tmp_path / "r.csv"
    path.write_text("\ufeff b , note, a,u\n\n1.5,x,2\t,1e-3\n-3,y z,4,2\n", encoding="utf-8")
    got = read_csv(path, ("a", "b"), ("u", "v"))
    assert got.lines == (3, 4)
    assert len(got) == 2
    assert {name: column.tolist() for name, column in got.numbers.items()} == {
        "a": [2, 4],
        "b": [1.5, -3],
        "u": [1e-3, 2],
    }
    assert names_in(path) == ["b", "note", "a", "u"]


def test_words(tmp_path: Path) -> None:
    path = tmp_path / "r.csv"
    path.write_text("a,b\nup,1\n down ,2\n")
    got = read_csv(path, ("a", "b"), words=("a",))
    assert got.words["a"] == ("up", "down")
    assert np.array_equal(got.numbers["b"], [1, 2])


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "r.csv: is empty; its first line should be a,b."),
        ("\n \n", "r.csv: is empty"),
        ("a,b\n", "r.csv: has no readings below its first line."),
        ("a,c\n1,2\n", "r.csv line 1: has no column b; the first line should be a,b."),
        ("1,2\n3,4\n", "r.csv line 1: has no column a"),
        ("a,b,a\n1,2,3\n", "r.csv line 1: has two columns a."),
        ("a,b\n1,2\n1,two\n", "r.csv line 3: b = two is not a number"),
        ("a,b\n1,2°\n", "r.csv line 2: b = 2° is not a number"),
        ("a,b\n1,nan\n", "r.csv line 2: b = nan is not a number"),
        ("a,b\n1,-inf\n", "r.csv line 2: b = -inf is not a number"),
        ("a,b\n1\n", "r.csv line 2: b is missing."),
        ("a;b\n1;2\n", "r.csv: line 1 divides its columns by semicolons. Give a CSV file: text in UTF-8, columns"),
        ("a\tb\n1\t2\n", "r.csv: line 1 divides its columns by tabs."),
        ("a,b\n1,2\n1,5,2,5\n", "r.csv: line 3 has 4 cells, its first line 2; numbers need a decimal point. Give"),
        ("a,b\n1,2\n1," + "2" * 60_000, "r.csv: line 3 has a cell of more than 1000 characters."),
        ("a,b\n1,2\n" + "1," * 5000, "r.csv: line 3 has 5001 cells; no more than 1000 are read."),
        ('a,b\n1,2\n"1,2\n3,4\n', "r.csv: line 3 has a quotation mark that does not end"),
        ('a,b\n"1"x,2\n', "r.csv: line 2 has a quotation mark that does not end where its cell does"),
        ("a,b\n1,2\n\0,2\n", "r.csv: line 3 holds a zero byte."),
        ("a,b\n1,\n", "r.csv line 2: b is missing."),
        (b"a,b\n1,\xff\n", "r.csv: line 2 is not text in UTF-8, so this is not a table of readings. Give a CSV file"),
        (
            'a,b\n1,"' + "9" * 140_000 + '"\n',
            "r.csv: line 2 has a quotation mark that does not end where its cell does, or too much",
        ),
    ],
)
def test_what_cannot_be_read_is_one_sentence(tmp_path: Path, text: str | bytes, says: str) -> None:
    with pytest.raises(InputError) as caught:
        read(tmp_path, text)
    (sentence,) = caught.value.sentences
    assert says in sentence
    assert sentence.endswith(".")


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="does not exist"):
        read_csv(tmp_path / "none.csv", ("a",))


def test_a_column_that_must_be_positive(tmp_path: Path) -> None:
    path = tmp_path / "r.csv"
    path.write_text("a,u\n1,0.1\n2,0\n")
    with pytest.raises(InputError, match=r"r\.csv line 3: u = 0 must be more than 0\."):
        read_csv(path, ("a",), ("u",)).must_be_positive("u")


@given(st.text(max_size=200))
def test_any_text_is_a_number_or_one_sentence(text: str) -> None:
    try:
        value = number(text, "x")
    except InputError as error:
        (sentence,) = error.sentences
        assert sentence.startswith("x = ")
    else:
        assert value == float(text)


@given(st.floats(allow_nan=False, allow_infinity=False), st.sampled_from(["{!r}", "{:e}", "{:+.3f}", " {:.0f}. "]))
def test_a_number_is_read_however_it_is_written(value: float, form: str) -> None:
    assert number(form.format(value), "x") == float(form.format(value))


@pytest.mark.parametrize("text", ["1_0", "١", "nan", "-inf", "infinity", "1e999", "0x10", "1,5", "−1", "1 2", "", "."])
def test_what_python_or_a_person_takes_for_a_number(text: str) -> None:
    with pytest.raises(InputError, match=r"^x = .* is not a"):
        number(text, "x")


COLUMNS = (
    "target_yaw_deg",
    "target_pitch_deg",
    "yaw_deg",
    "pitch_deg",
    "angle_deg",
    "commanded_steps",
    "turns",
    "time_ms",
    "value",
)


@pytest.mark.parametrize("column", COLUMNS)
@given(value=st.floats(allow_nan=False, allow_infinity=False) | st.floats(-1e6, 1e6))
def test_a_reading_is_within_what_a_reading_can_be_whoever_brings_it(column: str, value: float) -> None:
    """From a file or typed in, the values become Readings."""
    bound = reading_bound(column)
    try:
        kept = Readings("r", (7,), {column: np.array([value])}, {})
    except InputError as error:
        (sentence,) = error.sentences
        assert sentence.startswith(f"r line 7: {column} = ")
        assert not bound.holds(value)
    else:
        assert bound.holds(kept.numbers[column][0])
