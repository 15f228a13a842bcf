"""Each mistake in a kit is one sentence: the file, the key, the value, and what is allowed."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.errors import InputError
from controller.kit.load import load_kit
from tests.controller.kit.tables import kit_with, sentences

# changed key: value, and the words that the sentence must contain
MISTAKES: list[tuple[str, Any, list[str]]] = [
    ("camera.sensor_width_mm", ..., ["is missing"]),
    ("camera.pixels_high", ..., ["is missing"]),
    ("camera", ..., ["is missing"]),
    ("lens", ..., ["is missing"]),
    ("lens.focal_length_mm", ..., ["is missing"]),
    ("weather", "fine", ['"fine"', "no such key"]),
    ("camera.colour", "red", ['"red"', "no such key"]),
    ("lens.aperture", 8, ["8", "no such key"]),
    ("head.pan.backlash", 0.1, ["0.1", "no such key"]),
    ("head.roll", {"microsteps": 16}, ["no such key"]),
    ("camera", 3, ["3"]),
    ("camera.sensor_width_mm", "wide", ['"wide"', "number"]),
    ("camera.pixels_wide", 6000.5, ["6000.5", "a whole number."]),
    ("camera.pixels_wide", [6000], ["[6000]", "a whole number."]),
    ("camera.mounted", "upright", ['"upright"', "'portrait' or 'landscape'"]),
    ("camera.mounted", 90, ["90", "'portrait' or 'landscape'"]),
    ("lens.projection", "fisheye", ['"fisheye"', "rectilinear", "equidistant", "equisolid", "orthographic"]),
    ("exposure.bracket_ev", 3, ["3"]),
    ("exposure.bracket_ev", [], ["[]", "at least 1"]),
    ("exposure.bracket_ev", [0] * 16, ["at most 15"]),
    ("board.sync_contact", "perhaps", ['"perhaps"']),
    ("camera.sensor_width_mm", 0, ["0", "from 0.5 to 300 mm"]),
    ("camera.sensor_height_mm", -24, ["-24", "from 0.5 to 300 mm"]),
    ("camera.sensor_width_mm", 301, ["301", "from 0.5 to 300 mm"]),
    ("camera.pixels_wide", 100_001, ["100001", "from 16 to 100000."]),
    ("lens.focal_length_mm", 0, ["0", "from 0.5 to 3000 mm"]),
    ("lens.focal_length_mm", 3001, ["3001", "from 0.5 to 3000 mm"]),
    ("lens.focal_length_mm", float("nan"), ["nan", "finite"]),
    ("lens.focal_length_mm", float("inf"), ["inf", "finite"]),
    ("exposure.shutter_seconds", 0, ["0", "from 1e-06 to 3600 s"]),
    ("exposure.shutter_seconds", 3601, ["3601", "3600"]),
    ("exposure.focus_ms", -1, ["-1", "from 0 to 10000 ms"]),
    ("exposure.press_ms", 0, ["0", "from 1 to"]),
    ("exposure.release_lag_ms", 5001, ["5001", "5000"]),
    ("exposure.ready_ms", -0.5, ["-0.5", "from 0 to 60000 ms"]),
    ("exposure.file_megabytes", 0, ["0", "from 0.001 to 10000 MB"]),
    ("head.ring_hz", 0, ["0", "from 0.1 to 1000 Hz"]),
    ("head.ring_damping", 1, ["1", "from 0.001 to 0.99"]),
    ("head.settle_ms", float("inf"), ["inf", "finite"]),
    ("head.settle_ms", -1, ["-1", "from 0 to 600000 ms"]),
    ("head.pan.full_steps_per_turn", 0, ["0", "from 1 to 10000"]),
    ("head.pan.microsteps", 257, ["257", "256"]),
    ("head.tilt.gear_ratio", 0, ["0", "from 0.01 to 100000"]),
    ("head.tilt.max_speed_deg_s", 361, ["361", "360"]),
    ("head.pan.max_accel_deg_s2", -1, ["-1", "from 0.01 to 3600 deg/s2"]),
    ("head.pan.min_deg", -3601, ["-3601", "-3600"]),
    ("board.baud", 300, ["300", "1200"]),
    ("board.max_step_rate_hz", 99, ["99", "100"]),
    ("board.silence_ms", 60_001, ["60001", "60000"]),
]


@pytest.mark.parametrize(("key", "value", "words"), MISTAKES)
def test_one_mistake_is_one_sentence(key: str, value: object, words: list[str]) -> None:
    (sentence,) = sentences({key: value})
    assert sentence.startswith(f"kit.toml: {key} ")
    assert sentence.endswith(".")
    assert "\n" not in sentence
    for word in words:
        assert word in sentence


def test_a_height_longer_than_the_width_names_both() -> None:
    (sentence,) = sentences({"camera.sensor_width_mm": 24.0, "camera.sensor_height_mm": 36.0})
    for word in ("[camera]", "sensor_height_mm = 36", "sensor_width_mm = 24", "long side", "`mounted`"):
        assert word in sentence


def test_pixels_of_another_shape_than_the_sensor_are_named() -> None:
    (sentence,) = sentences({"camera.pixels_high": 4500})
    for word in ("[camera]", "6000 x 4500", "36 x 24 mm", "square"):
        assert word in sentence


def test_a_shape_within_a_twentieth_passes() -> None:
    assert kit_with({"camera.pixels_high": 4180}).camera.pixels_high == 4180
    assert sentences({"camera.pixels_high": 4220})


@pytest.mark.parametrize("axis", ["pan", "tilt"])
def test_limits_must_be_in_order(axis: str) -> None:
    (sentence,) = sentences({f"head.{axis}.min_deg": 400.0, f"head.{axis}.max_deg": 300.0})
    for word in (f"[head.{axis}]", "min_deg = 400", "max_deg = 300"):
        assert word in sentence


def test_equal_limits_leave_no_travel() -> None:
    assert len(sentences({"head.pan.min_deg": 0.0, "head.pan.max_deg": 0.0})) == 1


INDEPENDENT = {
    "camera.sensor_width_mm": -1,
    "camera.mounted": "upright",
    "camera.colour": "red",
    "lens.focal_length_mm": 0,
    "exposure.press_ms": 0,
    "head.pan.microsteps": 0,
    "head.tilt.min_deg": "low",
    "board.baud": 3,
    "weather": "fine",
}


@given(st.sets(st.sampled_from(sorted(INDEPENDENT)), min_size=1))
def test_several_mistakes_are_several_sentences(keys: set[str]) -> None:
    found = sentences({key: INDEPENDENT[key] for key in keys})
    assert len(found) == len(keys)
    for key in keys:
        assert sum(sentence.startswith(f"kit.toml: {key} ") for sentence in found) == 1


def test_a_long_value_is_shown_shortened() -> None:
    (sentence,) = sentences({"camera.mounted": "up" * 500})
    assert "upup" in sentence
    assert len(sentence) < 200


def _load(path: Path) -> tuple[str, ...]:
    with pytest.raises(InputError) as caught:
        load_kit(path)
    return caught.value.sentences


def test_bad_toml_names_the_line(tmp_path: Path) -> None:
    path = tmp_path / "kit.toml"
    path.write_text('[camera]\nmounted = portrait"\n', encoding="utf-8")
    (sentence,) = _load(path)
    assert sentence.startswith(f"{path}: ")
    assert "TOML" in sentence
    assert "line 2" in sentence


def test_a_key_given_twice_is_bad_toml(tmp_path: Path) -> None:
    path = tmp_path / "kit.toml"
    path.write_text("[lens]\nfocal_length_mm = 24\nfocal_length_mm = 35\n", encoding="utf-8")
    (sentence,) = _load(path)
    assert "TOML" in sentence


def test_not_utf_8(tmp_path: Path) -> None:
    path = tmp_path / "kit.toml"
    path.write_bytes('[camera]\nmake = "Fabriqué"\n'.encode("latin-1"))
    (sentence,) = _load(path)
    assert sentence.startswith(f"{path}: ")
    assert "UTF-8" in sentence


@pytest.mark.parametrize(("name", "says"), [("nowhere.toml", "does not exist."), (".", "is a folder, not a kit.")])
def test_a_file_that_cannot_be_read(tmp_path: Path, name: str, says: str) -> None:
    (sentence,) = _load(tmp_path / name)
    assert sentence.startswith(f"{tmp_path / name}: {says}")


def test_an_empty_file_misses_both_tables(tmp_path: Path) -> None:
    path = tmp_path / "kit.toml"
    path.write_bytes(b"")
    assert _load(path) == (f"{path}: camera is missing.", f"{path}: lens is missing.")


def test_the_files_own_name_begins_every_sentence(tmp_path: Path) -> None:
    path = tmp_path / "outfit.toml"
    path.write_text("[camera]\npixels_wide = 0\n", encoding="utf-8")
    found = _load(path)
    assert len(found) == 5  # no lens, neither side of the sensor, no pixels_high, and pixels_wide is wrong
    assert all(sentence.startswith(f"{path}: ") for sentence in found)


def test_of_many_mistakes_some_are_told(tmp_path: Path) -> None:
    path = tmp_path / "kit.toml"
    path.write_text("[camera]\n" + "\n".join(f"key_{number} = {number}" for number in range(500)))
    sentences = _load(path)
    assert len(sentences) == 21
    assert sentences[-1].startswith(f"{path}: has ")
    assert sentences[-1].endswith(" more mistakes. Correct these first.")
