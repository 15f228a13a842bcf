"""Times and angles as people read them."""

import pytest

from controller.amounts import degrees, duration


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(0, "0:00"), (59.4, "0:59"), (59.6, "1:00"), (754, "12:34"), (3599.6, "1:00:00"), (37_230, "10:20:30")],
)
def test_durations(seconds: float, words: str) -> None:
    assert duration(seconds) == words


def test_degrees_have_no_minus_zero() -> None:
    assert [degrees(value) for value in (-0.04, 0.0, -0.06, 359.97)] == ["0.0°", "0.0°", "-0.1°", "360.0°"]
