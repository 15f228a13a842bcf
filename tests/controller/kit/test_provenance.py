"""Every figure has its source, whatever the file contains; and an example of a head never moves one."""

from __future__ import annotations

import tomllib
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.calibration.records import AxisName, CalibrationKind, Record, kit_digest
from controller.calibration.validity import calibrated
from controller.commands.kit import check_command
from controller.errors import InputError
from controller.kit.kit import Kit
from controller.kit.load import kit_from_tables
from controller.kit.own_head import GEARING, MOTION, examples_of_head, must_be_own_head
from controller.kit.provenance import Source, source_words, weakest
from controller.planning.make import make_plan
from controller.planning.plan_file import load_plan, save_plan
from controller.planning.request import RegionKind, Request
from tests.controller.kit.tables import changed, kit_with, sentences
from tests.controller.kit.test_kit import EVERY_KEY
from tests.heads import HEAD

NOW = datetime(2026, 6, 1, tzinfo=UTC)
STATED = {f"head.{axis}.{key}": value for axis, keys in HEAD.items() for key, value in keys.items()}


def flat(tables: dict[str, Any], before: str = "") -> dict[str, Any]:
    """All keys of a kit, dotted."""
    found: dict[str, Any] = {}
    for name, value in tables.items():
        found |= flat(value, f"{before}{name}.") if isinstance(value, dict) else {before + name: value}
    return found


ALL = flat(tomllib.loads(EVERY_KEY))
NEEDED = set(flat(changed({})))
# Names are looked up only in pairs, and limits must stay in order, so these are stated together or not at all.
OPTIONAL = sorted(key for key in ALL if key not in NEEDED and not key.endswith(("make", "model", "_deg", "bracket_ev")))


@given(st.sets(st.sampled_from(OPTIONAL)))
def test_a_key_is_stated_if_and_only_if_it_is_in_the_file(keys: set[str]) -> None:
    kit = kit_with({key: ALL[key] for key in keys} | {"exposure.bulb": True})
    stated = keys | NEEDED | {"exposure.bulb"}
    for key, value in flat(kit.model_dump(exclude={"sources"})).items():
        if value is not None:
            assert kit.source(key) is (Source.STATED if key in stated else Source.EXAMPLE), key


def test_what_the_lens_data_fills_in_is_looked_up() -> None:
    names = {"camera": {"make": "Nikon Corporation", "model": "Nikon D750", "pixels_wide": 6016, "pixels_high": 4016},
             "lens": {"make": "Nikon", "model": "Nikon AI-S Nikkor 24mm f/2.8"}}  # fmt: skip
    kit = kit_from_tables(names, "kit")
    looked_up = {key for key, source in kit.sources.items() if source is Source.LOOKED_UP}
    assert looked_up == {
        "camera.sensor_width_mm", "camera.sensor_height_mm", "lens.projection", "lens.focal_length_mm",
    }  # fmt: skip
    assert kit.source("camera.pixels_wide") is Source.STATED


def test_what_is_calibrated_is_measured() -> None:
    kit = kit_with({})
    records = [
        Record(made_at=NOW, kind=CalibrationKind.STEPS, axis=AxisName.PAN, values={"steps_per_degree": 321.0}, how="read",
               kit_digest=kit_digest(kit, CalibrationKind.STEPS, AxisName.PAN)),
        Record(made_at=NOW, kind=CalibrationKind.BACKLASH, axis=AxisName.TILT, values={"play_deg": 0.02}, how="read",
               kit_digest=kit_digest(kit, CalibrationKind.BACKLASH, AxisName.TILT)),
        Record(made_at=NOW, kind=CalibrationKind.SETTLE, values={"ring_hz": 5.0, "ring_damping": 0.04}, how="read",
               kit_digest=kit_digest(kit, CalibrationKind.SETTLE, None)),
        Record(made_at=NOW, kind=CalibrationKind.LEVEL, values={"lean_deg": 0.2, "toward_deg": 30.0}, how="read",
               kit_digest=kit_digest(kit, CalibrationKind.LEVEL, None)),
    ]  # fmt: skip
    found = calibrated(kit, [record.model_copy(update={"id": n}) for n, record in enumerate(records, 1)], NOW)
    measured = {key for key, source in found.sources.items() if source is Source.MEASURED}
    assert measured == {
        "head.pan.measured_steps_per_degree", "head.tilt.backlash_deg", "head.ring_hz", "head.ring_damping",
        "head.lean_deg", "head.lean_toward_deg",
    }  # fmt: skip
    assert examples_of_head(found)["head.pan"] == list(MOTION)  # its gearing is measured


def test_sources_go_along_with_a_plan_and_cannot_be_written_into_a_kit(tmp_path: Path) -> None:
    kit = kit_with({"head.pan.gear_ratio": 36.0})
    plan = make_plan(kit, 0.3, Request(region=RegionKind.SINGLE_ROW))
    save_plan(plan, tmp_path / "plan.json")
    assert load_plan(tmp_path / "plan.json").kit.sources == kit.sources != {}
    assert sentences({"sources.head": "stated"}) == ("kit.toml: sources = {'head': 'stated'}: there is no such key.",)


@pytest.mark.parametrize("key", STATED)
def test_each_figure_that_moves_a_head_must_be_stated(key: str) -> None:
    must_be_own_head(kit_with(STATED), "kit.toml")
    table, _, name = key.rpartition(".")
    with pytest.raises(InputError) as caught:
        must_be_own_head(kit_with({one: value for one, value in STATED.items() if one != key}), "kit.toml")
    (sentence,) = caught.value.sentences
    assert f"{name} under [{table}]" in sentence


def test_measured_steps_stand_in_for_the_gearing() -> None:
    for axis in ("pan", "tilt"):
        without = {key: value for key, value in STATED.items() if key not in {f"head.{axis}.{one}" for one in GEARING}}
        must_be_own_head(kit_with(without | {f"head.{axis}.measured_steps_per_degree": 320.0}), "kit.toml")


def test_the_demo_states_all_its_figures() -> None:
    demo = Path(__file__).resolve().parents[3] / "sim" / "demo" / "kit.toml"
    kit: Kit = kit_from_tables(tomllib.loads(demo.read_text(encoding="utf-8")), "demo")
    must_be_own_head(kit, "demo")
    assert not [line for line in check_command(demo) if Source.EXAMPLE in line.sources.values()]


@given(st.lists(st.sampled_from(list(Source)), min_size=1))
def test_what_follows_from_figures_is_no_better_than_the_worst(sources: list[Source]) -> None:
    order = [Source.EXAMPLE, Source.LOOKED_UP, Source.STATED, Source.MEASURED]
    assert all(order.index(weakest(sources)) <= order.index(source) for source in sources)
    words = source_words({f"table.key{n}": source for n, source in enumerate(sources)})
    assert {source for source in Source if source.value in words} == set(sources)
