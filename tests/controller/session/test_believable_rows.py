"""Where a session row stops being believable: each column at its bound and just beyond it."""

from __future__ import annotations

from typing import Any

import pytest

from controller.session.salvage import is_believable

EXPOSURE = {
    "outcome": "confirmed", "intended_ns": 5, "ended_ns": 9, "shutter_s": 0.01, "frame": 1, "exposure": 0, "attempt": 1,
    "command_id": 7, "pan_deg": 1.0, "tilt_deg": -1.0, "board_clock_ms": 3,
}  # fmt: skip
UTC = "2026-03-01T10:00:00.000+00:00"
PULSE = {
    "at_ns": 1, "at_utc": UTC, "process": 7, "done": 1, "total": 2, "left_ns": 3, "pause": "pause", "sent": 4,
    "repeated": 5, "damaged": 6, "supply_low": 0, "gusts": None, "shaped": 1, "used_s": 1.5, "moving_s": 0.5,
    "used_wh": None, "battery_s": None, "pause_in_s": 2.5,
}  # fmt: skip
ROWS: dict[str, dict[str, Any]] = {
    "pulse": PULSE,
    "sentences": {"at_ns": 1, "at_utc": UTC, "kind": "said", "words": "Words.", "lasts_ns": None},
    "exposures": EXPOSURE,
    "doubts": {"why": "suspect", "frame": 0, "exposure": 0, "upto": 0},
    "checks": {"axis": "pan", "upto": 0},
    "wishes": {"taken": 0, "wanted": "retake", "frames": "1,22"},
    "happenings": {"at_ns": 0, "state": "moving", "what": "waited", "frame": None},
}
ID = (0, 1, 2**32 - 1)
NO_ID = (-1, 2**32)
TIMES, NO_TIMES = (0, 1, 2**62 - 1), (-1, 2**62)
BOUNDS: list[tuple[str, str, tuple[Any, ...], tuple[Any, ...]]] = [
    ("exposures", "outcome", (None, "confirmed", "assumed", "unconfirmed", "interrupted"), ("made", "", 3)),
    ("exposures", "intended_ns", TIMES, (*NO_TIMES, None, "x")),
    ("exposures", "ended_ns", (*TIMES, None), NO_TIMES),
    ("exposures", "shutter_s", (1e-6, 36_000), (0, -1, 36_001, None)),
    *(("exposures", name, ID, (*NO_ID, None)) for name in ("frame", "exposure", "attempt", "command_id")),
    *(("exposures", name, (0.0, 3600.0, -3600.0, None), (3600.5, -3601.0)) for name in ("pan_deg", "tilt_deg")),
    ("doubts", "why", ("suspect", "retake"), ("", "because", None)),
    *(("doubts", name, (0, 5), (-1, None)) for name in ("frame", "exposure", "upto")),
    ("checks", "axis", ("pan", "tilt"), ("roll", "", None)),
    ("checks", "upto", (0, 3), (-1, None)),
    ("wishes", "taken", (0, 1), (2, -1, None)),
    ("wishes", "wanted", ("retake", "stop"), ("a\nb", 5)),
    ("wishes", "frames", ("", "3", "3,4", ",3"), ("x", "3;4", "-1", None)),
    *(("pulse", name, TIMES, NO_TIMES) for name in ("at_ns", "left_ns")),
    *(("pulse", name, ID, (*NO_ID, None)) for name in ("process", "done", "total", "sent", "repeated", "damaged")),
    *(("pulse", name, (None, 0, 1), (2, -1)) for name in ("supply_low", "gusts")),
    ("pulse", "shaped", (0, 1), (2, -1, None)),
    *(("pulse", name, (0.0, 1e9), (-0.1, 1e300, None)) for name in ("used_s", "moving_s")),
    ("pulse", "used_wh", (None, 0.0, 5.5), (-0.1, "x")),
    *(("pulse", name, (None, 0.0, 1e9), (-0.1, 1e300, "x")) for name in ("battery_s", "pause_in_s")),
    ("pulse", "pause", (None, "pause"), ("a\nb", 5)),
    *((table, "at_utc", (UTC,), ("", "noon", None, 5)) for table in ("pulse", "sentences")),
    ("sentences", "at_ns", TIMES, NO_TIMES),
    ("sentences", "kind", ("said", "warning", "announced", "asked", "check", "fault"), ("sung", "", None)),
    ("sentences", "lasts_ns", (*TIMES, None), NO_TIMES),
    ("happenings", "at_ns", TIMES, NO_TIMES),
    ("happenings", "state", ("moving", ""), ("a\x00b", None)),
]


@pytest.mark.parametrize("table", ROWS)
def test_a_row_of_the_program_is_believed(table: str) -> None:
    assert is_believable(table, ROWS[table])


@pytest.mark.parametrize(("table", "column", "true", "false"), BOUNDS, ids=[f"{one[0]} {one[1]}" for one in BOUNDS])
def test_each_column_is_believed_up_to_its_bound(
    table: str, column: str, true: tuple[Any, ...], false: tuple[Any, ...]
) -> None:
    assert [value for value in true if not is_believable(table, ROWS[table] | {column: value})] == []
    assert [value for value in false if is_believable(table, ROWS[table] | {column: value})] == []
    missing = {name: value for name, value in ROWS[table].items() if name != column}
    assert is_believable(table, missing) is (column in {"pan_deg", "tilt_deg"})  # columns that older versions lack
