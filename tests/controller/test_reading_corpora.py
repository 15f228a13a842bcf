"""Reading JSON and TOML from published test suites: JSONTestSuite and toml-test, see tests/corpora/README.md."""

from __future__ import annotations

import json
import math
import tomllib
from base64 import b64decode
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import pytest

from controller.errors import InputError
from controller.reading import KIT, PLAN, FileKind, read_json, read_toml

CORPORA = Path(__file__).resolve().parents[1] / "corpora"
TWICE = {
    "y_object_duplicated_key.json",
    "y_object_duplicated_key_and_value.json",
}  # RFC 8259, section 4


def cases(name: str) -> dict[str, bytes]:
    found = json.loads((CORPORA / name).read_text(encoding="utf-8"))
    return {case: b64decode(content) for case, content in found.items()}


def floats_in(value: object) -> list[float]:
    inside = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    return [value] if isinstance(value, float) else [each for one in inside for each in floats_in(one)]


def refusal(read: Callable[[Path, FileKind], object], path: Path, kind: FileKind) -> str:
    with pytest.raises(InputError) as caught:
        read(path, kind)
    (sentence,) = caught.value.sentences
    assert sentence.startswith(f"{path}: ")
    assert sentence.endswith(kind.cure)
    assert sentence.isprintable()
    return sentence


def test_json_test_suite(tmp_path: Path) -> None:
    deep = {
        "n_structure_100000_opening_arrays.json": b"[" * 100_000,
        "n_structure_open_array_object.json": b'[{"":' * 50_000,
    }
    path = tmp_path / "plan.json"
    for name, content in (cases("json_test_suite.json") | deep).items():
        path.write_bytes(content)
        if name[0] == "y" and name not in TWICE:
            assert read_json(path, PLAN) == json.loads(content), name
        elif name[0] == "n" or name in TWICE:
            refusal(read_json, path, PLAN)
        else:  # the standard leaves it open
            with suppress(InputError):
                json.dumps(read_json(path, PLAN), allow_nan=False).encode()


def test_toml_test(tmp_path: Path) -> None:
    path = tmp_path / "kit.toml"
    for name, content in cases("toml_test.json").items():
        path.write_bytes(content)
        if name.startswith("invalid/"):
            assert "line " in refusal(read_toml, path, KIT), name
            continue
        tables = tomllib.loads(content.decode())
        if any(map(math.isinf, floats_in(tables))) or any(map(math.isnan, floats_in(tables))):
            assert "is not a finite number" in refusal(read_toml, path, KIT)  # TOML has them, but our files must not
        else:
            assert read_toml(path, KIT) == tables, name
