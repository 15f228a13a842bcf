"""The limits as a photographer sets them."""

from __future__ import annotations

from dataclasses import fields

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.errors import InputError
from controller.inspection.limits import Limits, limit_lines, limits_from

NAMES = [each.name for each in fields(Limits)]


@pytest.mark.parametrize("each", fields(Limits), ids=lambda each: str(each.name))
def test_a_limit_may_be_anything_in_its_range_and_nothing_else(each: object) -> None:
    name, about = each.name, each.metadata  # type: ignore[attr-defined]
    least, most = about["least"], about["most"]
    assert least <= getattr(Limits(), name) <= most
    for value in (least, most, (least + most) / 2):
        assert getattr(limits_from([f" {name} = {value}"]), name) == value
    for text in (f"{least - 0.001}", f"{most + 0.001}", "nan", "inf", "much", ""):
        with pytest.raises(InputError) as raised:
            limits_from([f"{name}={text}"])
        assert f"from {least:g} to {most:g}" in str(raised.value)


@given(st.dictionaries(st.sampled_from(NAMES), st.floats(0, 1), max_size=9))
def test_settings_change_what_they_name_and_the_last_one_counts(shares: dict[str, float]) -> None:
    ranges = {each.name: each.metadata for each in fields(Limits)}
    values = {
        name: ranges[name]["least"] + share * (ranges[name]["most"] - ranges[name]["least"])
        for name, share in shares.items()
    }
    values = {name: min(value, ranges[name]["most"]) for name, value in values.items()}
    found = limits_from(
        [f"{name}={getattr(Limits(), name)}" for name in values] + [f"{n}={v!r}" for n, v in values.items()]
    )
    for name in NAMES:
        assert getattr(found, name) == values.get(name, getattr(Limits(), name))


def test_an_unknown_limit_is_answered_with_the_names_of_all() -> None:
    with pytest.raises(InputError) as raised:
        limits_from(["sharpness=2"])
    assert all(name in str(raised.value) for name in NAMES)


def test_every_limit_is_explained() -> None:
    lines = list(limit_lines())
    assert [line.split("=")[0] for line in lines] == NAMES
    assert all(line.endswith(".") for line in lines)
