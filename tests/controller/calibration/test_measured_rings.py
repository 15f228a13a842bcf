"""Records of settle in a kit: which figures are used, and how well they count as known."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from itertools import product
from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from controller.calibration.finding import coverage_factor
from controller.calibration.measured_rings import DAY_TO_DAY, known_within
from controller.calibration.record_list import listed
from controller.calibration.records import AxisName, CalibrationKind, Record, RingRow, add, new_record, read
from controller.calibration.validity import State, calibrated, fresh
from controller.kit.kit import Axis, Kit
from controller.planning.kit_of_today import MAY_DIFFER
from controller.shaping.rig import modes_of
from tests.controller.kit.tables import kit_with

KIT = kit_with({})
NOON = datetime(2026, 6, 21, 12, tzinfo=UTC)
ROWS = (RingRow(pitch_deg=0, ring_hz=6.0, u_ring_hz=0.01), RingRow(pitch_deg=60, ring_hz=5.0, u_ring_hz=0.01))
DEFAULT = (KIT.head.ring_hz_within, KIT.head.ring_damping_within)


def record(
    axis: AxisName | None, hz: float, days: float = 0, within: tuple[float, float] | None = (0.01, 0.05), **more: Any
) -> Record:
    known = {} if within is None else {"ring_hz_within": within[0], "ring_damping_within": within[1]}
    made_at = (NOON + timedelta(days=days)).isoformat()
    values = {"ring_hz": hz, "ring_damping": 0.03} | known
    uncertainties = more.pop("uncertainties", {})
    found = new_record(
        KIT, CalibrationKind.SETTLE, axis, made_at, values=values, uncertainties=uncertainties, how="moves", **more
    )
    return found.model_copy(update={"id": round(hz * 100)})


def axis_of(kit: Kit, axis: AxisName) -> Axis:
    return kit.head.pan if axis is AxisName.PAN else kit.head.tilt


HEAD, PAN, TILT = record(None, 7.0), record(AxisName.PAN, 6.0, over_pitch=ROWS), record(AxisName.TILT, 5.5)


@pytest.mark.parametrize("days", list(product((None, 0, 1, 2), repeat=3)))
def test_the_newer_of_an_axis_and_of_both_is_used(days: tuple[int | None, int | None, int | None]) -> None:
    """Every order of records of the head, of pan and of tilt, each there or not."""
    made = {
        about: record(about, hz, day)
        for about, hz, day in zip((None, *AxisName), (7.0, 6.0, 5.5), days, strict=True)
        if day is not None
    }
    kit = calibrated(KIT, list(made.values()))
    unknown = False
    for axis in AxisName:
        own = [each for about, each in made.items() if about in (axis, None)]
        used = max(own, key=lambda each: (each.made_at, each.id), default=None)
        (mode,) = modes_of(kit.head, axis_of(kit, axis), 0.0)
        assert mode.hz == pytest.approx(KIT.head.ring_hz if used is None else used.values["ring_hz"])
        unknown = unknown or used is None
    nothing = not made
    spread = (kit.head.ring_hz_within, kit.head.ring_damping_within)
    assert spread == (DEFAULT if unknown or nothing else tuple(known_within(TILT, name) for name in DAY_TO_DAY))
    assert calibrated(kit, list(made.values())) == kit


def test_a_table_over_pitch_reaches_the_modes() -> None:
    kit = calibrated(KIT, [PAN, TILT])
    at = {pitch: modes_of(kit.head, kit.head.pan, pitch)[0].hz for pitch in (-30.0, 0.0, 30.0, 60.0, 80.0)}
    assert at == pytest.approx({-30.0: 6.0, 0.0: 6.0, 30.0: 5.5, 60.0: 5.0, 80.0: 5.0})
    again = calibrated(KIT, [PAN, record(AxisName.PAN, 6.2, 1), TILT])
    assert (again.head.pan.ring_hz, again.head.pan.ring_over_pitch) == (6.2, ())


@pytest.mark.parametrize("kept", [(HEAD,), (PAN,), (PAN, TILT)])
def test_a_plan_goes_on_with_a_kit_that_was_measured_since(kept: tuple[Record, ...]) -> None:
    """Everything that these records change may differ from the plan's kit."""
    measured = calibrated(KIT, kept)
    assert measured != KIT
    assert measured.model_dump(exclude=MAY_DIFFER) == KIT.model_dump(exclude=MAY_DIFFER)


def test_how_well_it_is_known() -> None:
    """The interval and the change from day to day add in squares; never less than the latter, never beyond the bounds."""
    assert known_within(record(None, 7.0, within=(0.0, 0.0)), "ring_hz") == 0.02
    assert known_within(record(None, 7.0, within=(0.0, 0.0)), "ring_damping") == 0.10
    assert known_within(record(None, 7.0, within=(0.03, 0.2)), "ring_hz") == pytest.approx(0.0360555)
    assert known_within(record(None, 7.0, within=(3.0, 9.0)), "ring_hz") == 0.5
    assert known_within(record(None, 7.0, within=(3.0, 9.0)), "ring_damping") == 0.9
    older = record(None, 7.0, within=None, uncertainties={"u_ring_hz": 0.14, "u_ring_damping": 0.003})
    assert known_within(older, "ring_hz") == pytest.approx((0.02**2 + (coverage_factor(None) * 0.02) ** 2) ** 0.5)
    assert known_within(record(None, 7.0, within=None), "ring_hz") is None
    assert calibrated(KIT, [record(None, 7.0, within=None)]).head.ring_hz_within == DEFAULT[0]


def test_a_second_vibration_stays_as_well_known_as_the_kit_says() -> None:
    kit = kit_with({"head.second_ring_hz": 20.0})
    assert calibrated(kit, [HEAD]).head.ring_hz_within == DEFAULT[0]
    assert calibrated(KIT, [HEAD]).head.ring_hz_within < DEFAULT[0]


def test_the_wait_of_one_measured_move_does_not_replace_the_waits_of_all() -> None:
    one = HEAD.model_copy(update={"values": HEAD.values | {"settle_ms": 900.0}})
    assert calibrated(KIT, [one]).head.settle_ms is None
    assert calibrated(kit_with({"head.settle_ms": 300.0}), [one]).head.settle_ms == 300.0


def test_the_list_says_which_count() -> None:
    kept = [HEAD, record(AxisName.PAN, 6.1, 1), record(AxisName.TILT, 5.6, 2), record(AxisName.PAN, 6.3, 3)]
    assert [listed(each, kept, KIT, NOON).standing for each in kept] == ["older", "older", "counts", "counts"]
    assert [listed(each, kept[:2], KIT, NOON).standing for each in kept[:2]] == ["counts", "counts"]


@pytest.mark.parametrize(
    ("kept", "state", "said"),
    [
        ((), State.MISSING, "not calibrated"),
        ((PAN,), State.PRESENT, "settle of the pan axis alone"),
        ((PAN, TILT), State.PRESENT, "settle: calibrated"),
        ((HEAD,), State.PRESENT, "settle: calibrated"),
        ((record(AxisName.PAN, 6.0, -200), TILT), State.STALE, "too long ago"),
    ],
)
def test_the_state_of_both_axes(kept: tuple[Record, ...], state: State, said: str) -> None:
    (settle,) = (each for each in fresh(KIT, kept, NOON + timedelta(days=1)) if each.kind is CalibrationKind.SETTLE)
    assert (settle.state, said in settle.sentence) == (state, True)


def test_the_rows_come_back_from_the_file_and_wrong_ones_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "kit.toml"
    add(path, PAN)
    assert read(path)[0].over_pitch == ROWS
    for wrong in ({"axis": None}, {"over_pitch": ROWS[::-1]}):
        with pytest.raises(ValidationError, match="over_pitch"):
            Record.model_validate(PAN.model_dump() | wrong)
    steps = {"kind": CalibrationKind.STEPS, "values": {"steps_per_degree": 320.0}}
    with pytest.raises(ValidationError, match="over_pitch"):
        Record.model_validate(PAN.model_dump() | steps)
