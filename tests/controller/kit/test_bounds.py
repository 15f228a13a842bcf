"""Every kit within the bounds is planned, written, read back and encoded for the wire, or refused in one sentence."""

from __future__ import annotations

import json
import math
import time
from collections.abc import Iterator
from itertools import count
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st
from pydantic import BaseModel, TypeAdapter, ValidationError

from controller.bounds import BOUNDS
from controller.calibration.records import CalibrationFile, Record
from controller.capture.requests import arming, reference
from controller.errors import InputError
from controller.kit.kit import Axis, Board, Camera, Exposure, Head, Kit, Lens, Power, TiltAxis
from controller.kit.load import kit_from_tables
from controller.planning.make import make_plan
from controller.planning.plan import Plan
from controller.planning.plan_file import load_plan, save_plan
from controller.planning.request import RegionKind, Request
from controller.planning.size import MOST_FRAMES, must_be_plannable
from controller.program.build import build_program
from controller.program.program import ExposeStep, MoveStep, Program
from controller.report.camera_numbers import CameraNumbers
from controller.report.summary import Summary
from controller.setup.progress import StepsDone
from protocol.codec import frame_of
from protocol.messages import Expose, Message, Move
from protocol.units import BootId, CommandId, Steps

TABLES: dict[tuple[str, ...], type[BaseModel]] = {
    ("camera",): Camera,
    ("lens",): Lens,
    ("exposure",): Exposure,
    ("head",): Head,
    ("head", "pan"): Axis,
    ("head", "tilt"): TiltAxis,
    ("power",): Power,
    ("board",): Board,
}
KEYS = [
    (*path, key) for path, model in TABLES.items() for key in model.model_fields if key in BOUNDS and key != "bracket_ev"
]
MOST_WORK_S = 10.0
LONG_MM = 200.0
REGIONS = st.sampled_from(
    [
        Request(region=RegionKind.SINGLE_ROW, row_pitch_deg=0.0),
        Request(region=RegionKind.SINGLE_ROW, row_pitch_deg=80.0),
        Request(region=RegionKind.WINDOW, pitch_from_deg=-10, pitch_to_deg=10, yaw_from_deg=350, yaw_to_deg=10),
    ]
)


def value_of(name: str) -> st.SearchStrategy[float]:
    """Numbers within a bound, half of them at its ends."""
    bound = BOUNDS[name]
    model = next(model for path, model in TABLES.items() for key in model.model_fields if key == name)
    if model.model_fields[name].annotation in {int}:
        return st.sampled_from([int(bound.least), int(bound.most)]) | st.integers(int(bound.least), int(bound.most))
    return st.sampled_from([float(bound.least), float(bound.most)]) | st.floats(bound.least, bound.most)


@st.composite
def tables(draw: st.DrawFn) -> dict[str, Any]:
    """A sound kit with a few random figures."""
    found: dict[str, Any] = {
        "camera": {"sensor_width_mm": 36.0, "sensor_height_mm": 24.0, "pixels_wide": 6000, "pixels_high": 4000},
        "lens": {"focal_length_mm": 14.0},
        "exposure": {"bulb": draw(st.booleans())},
    }
    for key in draw(st.lists(st.sampled_from(KEYS), min_size=1, max_size=6, unique=True)):
        table = found
        for part in key[:-1]:
            table = table.setdefault(part, {})
        table[key[-1]] = draw(value_of(key[-1]))
    found["exposure"]["bracket_ev"] = draw(st.lists(st.sampled_from([-10.0, 0.0, 2.0, 10.0]), min_size=1, max_size=15))
    return found


def messages_of(program: Program) -> Iterator[Message]:
    """Every message that the program may send to the board."""
    ids = (CommandId(number) for number in count(1))
    yield from arming(program, BootId(1), lambda: next(ids), shaped=True)
    yield reference(program, next(ids))
    for step in program.steps:
        if isinstance(step, MoveStep):
            yield Move(next(ids), Steps(step.pan_steps), Steps(step.tilt_steps))
        elif isinstance(step, ExposeStep):
            yield Expose(next(ids), step.frame, step.exposure, step.focus_ms, step.press_ms, step.limit_ms)


def refuse_constant(text: str) -> None:
    raise AssertionError(f"{text} in JSON")


@given(given_tables=tables(), request=REGIONS, overlap=st.sampled_from([0.0, 0.3, 0.6]))
@settings(max_examples=40, suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture])
def test_a_kit_within_the_bounds_plans_and_is_read_again_or_is_refused(
    given_tables: dict[str, Any], request: Request, overlap: float, tmp_path: Path
) -> None:
    if given_tables["lens"]["focal_length_mm"] > LONG_MM:  # otherwise thousands of frames, and minutes for all these kits
        request = Request(region=RegionKind.WINDOW, pitch_from_deg=-1, pitch_to_deg=1, yaw_from_deg=359, yaw_to_deg=1)
    began = time.process_time()
    path = tmp_path / "plan.json"
    try:
        plan = make_plan(kit_from_tables(given_tables, "kit.toml"), overlap, request)
    except InputError as refused:
        bad = [each for each in refused.sentences if not each.isprintable() or {"inf", "nan"} & set(each.split())]
        event(f"refused, {len(bad)} badly")
        if bad:
            raise AssertionError(bad) from None
    else:
        save_plan(plan, path, replace=True)
        json.loads(path.read_text(encoding="utf-8"), parse_constant=refuse_constant)
        assert load_plan(path) == plan
        program = build_program(plan.kit, plan.frames)
        assert 0 < program.expected_ns < 1 << 62  # the session stores times in 64 bits
        for message in messages_of(program):
            frame_of(message, 1)  # raises if a field does not fit
    assert time.process_time() - began < MOST_WORK_S


@pytest.mark.parametrize("key", KEYS, ids=".".join)
def test_every_number_of_a_kit_has_a_bound_and_beyond_it_is_one_sentence(key: tuple[str, ...]) -> None:
    bound = BOUNDS[key[-1]]
    for wrong in (math.nextafter(bound.least, -math.inf), math.nextafter(bound.most, math.inf), 1e308, -1e308):
        whole = float(bound.least).is_integer() and "1" in str(wrong)
        value = math.floor(wrong) if wrong < bound.least and whole else wrong
        found: dict[str, Any] = {
            "camera": {"sensor_width_mm": 36.0, "sensor_height_mm": 24.0, "pixels_wide": 6000, "pixels_high": 4000},
            "lens": {"focal_length_mm": 14.0},
        }
        table = found
        for part in key[:-1]:
            table = table.setdefault(part, {})
        table[key[-1]] = value
        with pytest.raises(InputError) as refused:
            kit_from_tables(found, "kit.toml")
        assert any(sentence.startswith(f"kit.toml: {'.'.join(key)} = ") for sentence in refused.value.sentences)


def numbers_of(model: type[BaseModel]) -> Iterator[tuple[str, dict[str, Any]]]:
    """Every number in a model's schema, with its limits; nested models are in `$defs`."""
    schema = TypeAdapter(model).json_schema()
    for name, table in {model.__name__: schema, **schema.get("$defs", {})}.items():
        for key, part in table.get("properties", {}).items():
            for each in (part, *part.get("anyOf", [])):
                if each.get("type") in {"number", "integer"}:
                    yield f"{name}.{key}", each


def test_every_number_in_a_kit_is_in_the_table() -> None:
    for name, part in numbers_of(Kit):
        bound = BOUNDS[name.partition(".")[2].removeprefix("second_")]  # a second vibration has the range of the first
        assert (part["minimum"], part["maximum"]) == (bound.least, bound.most), name


def test_no_model_that_is_written_holds_nan_or_inf() -> None:
    """Plans, calibration records, kits and reports: models refuse them, so that JSON never contains them."""
    models: list[type[BaseModel]] = [Kit, Plan, CalibrationFile, Record, Summary, CameraNumbers, StepsDone]
    for top in models:
        assert top.model_config.get("allow_inf_nan") is False, top
    for text in ("NaN", "Infinity", "-Infinity"):
        with pytest.raises(ValidationError):
            Power.model_validate_json(f'{{"head_watts": {text}}}')


def test_a_region_of_too_many_frames_is_refused_before_they_are_looked_for() -> None:
    camera = {"sensor_width_mm": 36.0, "sensor_height_mm": 24.0, "pixels_wide": 6000, "pixels_high": 4000}
    began = time.process_time()
    for focal_length_mm in (900.0, 3000.0):
        kit = kit_from_tables({"camera": camera, "lens": {"focal_length_mm": focal_length_mm}}, "k")
        with pytest.raises(InputError, match=r"too little to plan|can be planned at once"):
            make_plan(kit, 0.3)
    kit = kit_from_tables({"camera": camera, "lens": {"focal_length_mm": 600.0}}, "k")
    must_be_plannable(kit.field(0.3), 0.3, Request())
    assert MOST_FRAMES >= 20_000
    assert time.process_time() - began < 2.0


def test_a_run_of_more_than_a_year_is_refused() -> None:
    found = {
        "camera": {"sensor_width_mm": 36.0, "sensor_height_mm": 24.0, "pixels_wide": 6000, "pixels_high": 4000},
        "lens": {"focal_length_mm": 50.0},
        "exposure": {"bulb": True, "shutter_seconds": 3600.0, "bracket_ev": [4.0] * 15},
    }
    with pytest.raises(InputError, match=r"would take .* days"):
        make_plan(kit_from_tables(found, "k"), 0.3)
