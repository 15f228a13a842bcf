"""How exposure times are written for people."""

import pytest

from controller.kit.exposing import seconds_text


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (0.0125, "1/80 s"),
        (0.5, "0.5 s"),
        (3.75, "3.75 s"),
        (15, "15 s"),
        (999.4, "999 s"),
        (999.6, "1000 s"),
        (1200, "1200 s"),
        (14_400, "14400 s"),
    ],
)
def test_times_are_written_without_powers_of_ten(seconds: float, text: str) -> None:
    assert seconds_text(seconds) == text
