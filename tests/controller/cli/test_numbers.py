"""Numbers as people type them: unusual forms are refused, with the correct form."""

from __future__ import annotations

import re

import click
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.cli.numbers import Number, Share, Whole, unit_of
from controller.quantity import UNITS, meant, plain

sizes = st.floats(-1e6, 1e6).filter(lambda value: value == 0 or abs(value) > 1e-6)
FORM = re.compile(r"Write (\S+?)( for .*)?\.$")


def refusal(kind: click.ParamType[float], text: str, option: click.Option | None = None) -> str:
    with pytest.raises(click.BadParameter) as refused:
        kind.convert(text, option, None)
    return refused.value.message


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("30", "30 is no share. Write 0.30 for 30 %."),
        ("12.5", "12.5 is no share. Write 0.125 for 12.5 %."),
        ("30%", "'30%' is not a plain number. Write 0.3."),
        ("30 %", "'30 %' is not a plain number. Write 0.3."),
        ("0,3", "'0,3' is not a plain number. Write 0.3."),
        ("130", "130 is out of range. Give a share from 0 to 0.9."),
        ("95", "95 is out of range. Give a share from 0 to 0.9."),
        ("130%", "130% is out of range. Give a share from 0 to 0.9."),
        ("much", "'much' is not a number. Give a share from 0 to 0.9."),
        ("nan", "'nan' is not a number. Give a share from 0 to 0.9."),
    ],
)
def test_shares(text: str, sentence: str) -> None:
    assert refusal(Share(0, 0.9), text) == sentence


@pytest.mark.parametrize(
    ("name", "text", "form"),
    [
        ("--near-mm", "24mm", "24"),
        ("--near-mm", "2.4cm", "24"),
        ("--near-mm", "1,5 m", "1500"),
        ("--settle-ms", "1.5s", "1500"),
        ("--max-seconds", "10 min", "600"),
        ("--wind-m-s", "18km/h", "5"),
        ("--area-m2", "50cm2", "0.005"),
        ("--leg-yaw-deg", "-30°", "-30"),
        ("--leg-yaw-deg", "−30", "-30"),
    ],
)
def test_units_behind_a_number_are_offered_in_the_unit_of_the_option(name: str, text: str, form: str) -> None:
    """By definition: 1 in is 25.4 mm, 1 h is 3600 s (SI Brochure, 9th edition, tables 2 and 8)."""
    option = click.Option([name])
    found = FORM.search(refusal(Number(-1e9, 1e9), text, option))
    assert found is not None and found[1] == form  # noqa: PT018


@pytest.mark.parametrize(("name", "text"), [("--near-mm", "3kg"), ("--dpi", "300px"), ("--wind-m-s", "5s")])
def test_a_unit_of_another_kind_is_not_guessed_at(name: str, text: str) -> None:
    assert "Write" not in refusal(Number(-1e9, 1e9), text, click.Option([name]))


@given(value=sizes, unit=st.sampled_from(sorted(UNITS)), other=st.sampled_from(sorted(UNITS)))
def test_what_is_offered_is_the_same_quantity_and_accepted(value: float, unit: str, other: str) -> None:
    said = meant(f"{value!r}{unit}", other)
    (kind, size), (other_kind, other_size) = UNITS[unit], UNITS[other]
    assert (said is not None) is (kind == other_kind)
    if said is not None:
        assert said * other_size == pytest.approx(value * size)
        assert Number(-1e9, 1e12).convert(plain(said), None, None) == pytest.approx(said)


@given(value=st.floats(-500, 500), low=st.floats(-100, 0), high=st.floats(0, 100))
def test_only_what_is_in_the_range_is_accepted(value: float, low: float, high: float) -> None:
    kind = Number(low, high)
    inside = low <= value <= high
    if inside:
        assert kind.convert(repr(value), None, None) == value
    else:
        assert "Give a number" in refusal(kind, repr(value))


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("5s", "'5s' is not a plain whole number. Write 5."),
        ("2min", "'2min' is not a plain whole number. Write 120."),
        ("5.0", "'5.0' is not a plain whole number. Write 5."),
        ("5,5", "'5,5' cannot be used. Give a whole number from 0 to 600."),
        ("700", "'700' cannot be used. Give a whole number from 0 to 600."),
        ("700s", "'700s' cannot be used. Give a whole number from 0 to 600."),
    ],
)
def test_whole_numbers(text: str, sentence: str) -> None:
    assert refusal(Whole(0, 600, unit="s"), text) == sentence


@pytest.mark.parametrize(
    ("name", "unit"), [("--near-mm", "mm"), ("--wind-m-s", "m/s"), ("--effort", ""), ("--rotor-g-cm2", "")]
)
def test_the_unit_of_an_option_is_the_end_of_its_name(name: str, unit: str) -> None:
    assert unit_of(click.Option([name])) == unit
