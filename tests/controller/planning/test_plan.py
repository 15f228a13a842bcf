"""A plan as a value and as a file."""

from __future__ import annotations

import errno
import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from controller import files
from controller.errors import InputError, StorageFailed
from controller.kit.kit import Kit
from controller.planning.make import make_plan
from controller.planning.plan import Frame, Plan, content_hash
from controller.planning.plan_file import load_plan, save_plan
from controller.system.chosen import disk
from tests.controller.kit.tables import kit_with
from tests.controller.planning import oracle
from tests.controller.planning.examples import Example, frames_of

NAMES = {
    "": {"format", "format_version", "overlap", "region", "kit", "optics", "frames", "proof", "budget", "hash"},
    "optics": {
        "projection",
        "focal_length_mm",
        "frame_width_mm",
        "frame_height_mm",
        "core_width_deg",
        "core_height_deg",
    },
    "proof": {"covered", "worst_margin_deg", "worst_at"},
    "budget": {"frames", "exposures", "seconds", "megabytes"},
}


@pytest.fixture(scope="module")
def kit() -> Kit:
    return kit_with({"exposure.bracket_ev": [-2, 0, 2]})


@pytest.fixture(scope="module")
def plan(kit: Kit) -> Plan:
    return make_plan(kit, 0.3)


def saved(plan: Plan, folder: Path) -> tuple[Path, dict[str, Any]]:
    path = folder / "plan.json"
    save_plan(plan, path)
    content: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    return path, content


def refusal(path: Path) -> str:
    with pytest.raises(InputError) as caught:
        load_plan(path)
    (sentence,) = caught.value.sentences
    assert sentence.startswith(f"{path}: ")
    return sentence


def aims(frames: Sequence[Frame]) -> list[tuple[int, float, float]]:
    """Where the frames point, in any order; at the poles any yaw will do."""
    return sorted((f.row, f.yaw_deg % 360 if abs(f.pitch_deg) < 90 else 0.0, f.pitch_deg) for f in frames)


def test_plan_holds_what_was_asked_for(plan: Plan, kit: Kit) -> None:
    assert plan.kit == kit
    assert plan.overlap == 0.3
    assert aims(plan.frames) == aims(frames_of(24.0))
    assert all(-180 < f.yaw_deg <= 180 for f in plan.frames)  # half a turn of cable either way
    # 2 a for a = (e + atan(0.4 tan e)) / 2 and tan e = 1/2 and 3/4
    core = [np.degrees(np.arctan(t) + np.arctan(0.4 * t)) for t in (0.5, 0.75)]
    optics = plan.optics
    assert (optics.core_width_deg, optics.core_height_deg) == pytest.approx(core, abs=1e-9)
    assert (optics.frame_width_mm, optics.frame_height_mm, optics.focal_length_mm) == (24, 36, 24)


def test_proof_on_record_holds_for_the_frames_on_record(plan: Plan) -> None:
    yaw, pitch = np.array([f.yaw_deg for f in plan.frames]), np.array([f.pitch_deg for f in plan.frames])
    example = Example(plan.kit.field(plan.overlap), yaw, pitch)
    assert plan.proof.covered
    place = oracle.direction(plan.proof.worst_at.yaw_deg, plan.proof.worst_at.pitch_deg)
    assert oracle.margins_deg(example.planes(), place)[0] == pytest.approx(plan.proof.worst_margin_deg, abs=2e-5)
    assert plan.proof.worst_margin_deg > 0


def test_budget(plan: Plan, kit: Kit) -> None:
    budget = plan.budget
    assert (budget.frames, budget.exposures) == (len(plan.frames), 3 * len(plan.frames))
    assert budget.megabytes == pytest.approx(budget.exposures * 36.0)
    assert budget.seconds > len(plan.frames) * sum(kit.shutter_times_s())
    slower = kit_with({"exposure.bracket_ev": [-2, 0, 2], "exposure.shutter_seconds": 1.0125})
    longer = make_plan(slower, 0.3).budget.seconds - budget.seconds
    # one second more at 0 EV means 4 + 1 + 1/4 seconds more in the bracket
    assert longer == pytest.approx(len(plan.frames) * 5.25, rel=0.02)


def test_landscape_is_planned_as_mounted() -> None:
    landscape = make_plan(kit_with({"camera.mounted": "landscape"}), 0.3)
    assert (landscape.optics.frame_width_mm, landscape.optics.frame_height_mm) == (36, 24)
    assert landscape.optics.core_width_deg > landscape.optics.core_height_deg
    assert landscape.proof.covered


def test_a_fisheye_is_planned() -> None:
    fisheye = make_plan(kit_with({"lens.projection": "equisolid", "lens.focal_length_mm": 15}), 0.3)
    assert fisheye.proof.covered
    assert fisheye.links.connected


@pytest.mark.parametrize("overlap", [-0.1, 0.95, float("nan")])
def test_an_impossible_overlap(overlap: float) -> None:
    with pytest.raises(InputError, match=r"from 0 to 0\.9"):
        make_plan(kit_with({}), overlap)


def test_the_same_kit_gives_the_same_bytes(plan: Plan, tmp_path: Path) -> None:
    again = make_plan(kit_with({"exposure.bracket_ev": [-2, 0, 2]}), 0.3)
    save_plan(plan, tmp_path / "one.json")
    save_plan(again, tmp_path / "two.json")
    assert (tmp_path / "one.json").read_bytes() == (tmp_path / "two.json").read_bytes()


def test_another_kit_gives_another_hash(plan: Plan) -> None:
    assert make_plan(kit_with({"exposure.bracket_ev": [-2, 0, 1]}), 0.3).hash != plan.hash


def test_round_trip(plan: Plan, tmp_path: Path) -> None:
    path, _ = saved(plan, tmp_path)
    assert load_plan(path) == plan
    assert list(tmp_path.iterdir()) == [path]


def test_names_that_outsiders_rely_on(plan: Plan, tmp_path: Path) -> None:
    _, content = saved(plan, tmp_path)
    for part, names in NAMES.items():
        assert names <= set(content[part] if part else content)
    assert set(content["proof"]["worst_at"]) == {"yaw_deg", "pitch_deg"}
    assert content["region"]["kind"] == "sphere"
    for number, frame in enumerate(content["frames"]):
        assert {"id", "row", "yaw_deg", "pitch_deg"} <= set(frame)
        assert frame["id"] == number


@pytest.mark.parametrize(
    "keys",
    [
        ("overlap",),
        ("frames", 3, "yaw_deg"),
        ("frames", -1, "pitch_deg"),
        ("proof", "worst_margin_deg"),
        ("optics", "focal_length_mm"),
        ("kit", "head", "pan", "gear_ratio"),
        ("budget", "seconds"),
    ],
)
def test_an_edited_number_is_refused(plan: Plan, tmp_path: Path, keys: tuple[str | int, ...]) -> None:
    path, content = saved(plan, tmp_path)
    part: Any = content
    for key in keys[:-1]:
        part = part[key]
    part[keys[-1]] += 1e-6
    path.write_text(json.dumps(content), encoding="utf-8")
    assert "changed" in refusal(path)


def test_a_frame_taken_out_is_refused(plan: Plan, tmp_path: Path) -> None:
    path, content = saved(plan, tmp_path)
    del content["frames"][5]
    path.write_text(json.dumps(content), encoding="utf-8")
    assert "changed" in refusal(path)


@pytest.mark.parametrize("forged", ["", "0" * 64])
def test_another_hash_is_refused(plan: Plan, tmp_path: Path, forged: str) -> None:
    path, content = saved(plan, tmp_path)
    path.write_text(json.dumps({**content, "hash": forged}), encoding="utf-8")
    assert "changed" in refusal(path)


def test_layout_does_not_matter(plan: Plan, tmp_path: Path) -> None:
    path, content = saved(plan, tmp_path)
    path.write_text(json.dumps(content, sort_keys=True, indent=7), encoding="utf-8")
    assert load_plan(path) == plan


@pytest.mark.parametrize("version", [0, -1, 3, 10**9, "2", None, True, 2.0])
def test_another_version_is_refused(plan: Plan, tmp_path: Path, version: object) -> None:
    path, content = saved(plan, tmp_path)
    content["format_version"] = version
    content["hash"] = content_hash(content)
    path.write_text(json.dumps(content), encoding="utf-8")
    sentence = refusal(path)
    assert f"version {version}" in sentence
    assert "this program reads versions 1 to 2" in sentence
    assert ("which is newer" in sentence) is (version in {3, 10**9})


@pytest.mark.parametrize("text", ["", "{", "kit.toml", "[1, 2]", "{}", '{"format": "another"}', "\xff", "null"])
def test_what_is_no_plan_is_refused(tmp_path: Path, text: str) -> None:
    path = tmp_path / "plan.json"
    path.write_bytes(text.encode("latin-1"))
    assert "is not a plan" in refusal(path)


def test_a_plan_cut_short_is_refused(plan: Plan, tmp_path: Path) -> None:
    path, _ = saved(plan, tmp_path)
    path.write_bytes(path.read_bytes()[:-40])
    assert "is not a plan" in refusal(path)


def test_an_unknown_name_is_refused(plan: Plan, tmp_path: Path) -> None:
    path, content = saved(plan, tmp_path)
    content["frames"][0]["roll_deg"] = 0.0
    content["hash"] = content_hash(content)
    path.write_text(json.dumps(content), encoding="utf-8")
    assert "frames[0].roll_deg" in refusal(path)


def test_a_missing_file_is_refused(tmp_path: Path) -> None:
    assert refusal(tmp_path / "nowhere.json").endswith("nowhere.json: does not exist.")


@pytest.mark.parametrize("failing", ["open", "chmod", "replace"])
def test_a_failed_write_leaves_the_old_plan_and_nothing_else(
    plan: Plan, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, failing: str
) -> None:
    path = tmp_path / "plan.json"
    save_plan(plan, path)
    yesterday = path.read_bytes()

    def disk_full(written: Path, *_: Any, **__: Any) -> None:
        if failing == "open":
            written.write_bytes(b"the first lines")
        raise OSError(errno.ENOSPC, "No space left on device")

    if failing == "open":
        monkeypatch.setattr(files, "open", disk_full, raising=False)
    else:
        monkeypatch.setattr(type(disk) if failing == "replace" else Path, failing, disk_full)
    with pytest.raises(StorageFailed, match="the disk is full") as caught:
        save_plan(plan, path, replace=True)
    monkeypatch.undo()
    assert str(path) in str(caught.value)
    assert list(tmp_path.iterdir()) == [path]
    assert path.read_bytes() == yesterday


def test_a_missing_folder_is_said(plan: Plan, tmp_path: Path) -> None:
    with pytest.raises(StorageFailed, match="is no folder"):
        save_plan(plan, tmp_path / "nowhere" / "plan.json")
    assert list(tmp_path.iterdir()) == []


def test_a_folder_in_the_plans_place_is_said(plan: Plan, tmp_path: Path) -> None:
    folder = tmp_path / "plan.json"
    folder.mkdir()
    with pytest.raises(StorageFailed):
        save_plan(plan, folder)
    assert list(tmp_path.iterdir()) == [folder]
