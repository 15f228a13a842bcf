"""Plan files of older versions, as the programs of their time wrote them: each is read, and shot, as one of this version.

`old/version_N_WHAT.json` are plans of one kit; version 2 is older than some keys of the kit, which its files lack.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from controller.errors import InputError
from controller.planning.plan import FORMAT_VERSION, Plan, content_hash
from controller.planning.plan_file import is_own_plan, load_plan, plan_from, save_plan
from controller.planning.plan_versions import MIGRATIONS, OLDEST_VERSION, migrated
from tests.end_to_end.attended import Attended
from tests.end_to_end.test_people import CALM

KEPT = sorted(Path(__file__).with_name("old").glob("version_*.json"))


def version_of(kept: Path) -> int:
    return int(kept.stem.split("_")[1])


def test_every_version_is_kept_and_every_older_one_has_its_migration() -> None:
    assert {version_of(kept) for kept in KEPT} == set(range(OLDEST_VERSION, FORMAT_VERSION + 1))
    assert set(MIGRATIONS) == set(range(OLDEST_VERSION, FORMAT_VERSION))


@pytest.mark.parametrize("kept", KEPT, ids=lambda kept: kept.stem)
def test_an_older_plan_is_read_with_what_it_said(kept: Path) -> None:
    content, plan = json.loads(kept.read_text(encoding="utf-8")), load_plan(kept)
    assert content["format_version"] == version_of(kept)
    assert len(plan.frames) == len(content["frames"])
    for frame, told in zip(plan.frames, content["frames"], strict=True):
        assert frame.model_dump(include=set(told)) == told
    assert (plan.overlap, plan.region.solid_angle_is_whole) == (content["overlap"], True)
    assert plan.kit.camera.model_dump(include=set(content["kit"]["camera"])) == content["kit"]["camera"]
    assert (plan.proof.covered, plan.links.connected) == (True, True)
    assert plan.proof.worst_margin_deg == pytest.approx(content["proof"]["worst_margin_deg"], abs=1e-3)
    assert (plan.budget.frames, plan.budget.exposures) == (content["budget"]["frames"], content["budget"]["exposures"])
    assert is_own_plan(kept)


@pytest.mark.parametrize("kept", KEPT, ids=lambda kept: kept.stem)
def test_an_older_plan_that_is_read_can_be_written_and_read_again(kept: Path, tmp_path: Path) -> None:
    """As a file, and in a session: with its hash, though it has keys that its file did not have."""
    plan = load_plan(kept)
    save_plan(plan, tmp_path / "again.json")
    assert load_plan(tmp_path / "again.json") == plan
    assert plan_from(plan.model_dump_json(), "session", begun=True) == plan


@pytest.mark.parametrize("kept", KEPT, ids=lambda kept: kept.stem)
def test_an_older_plan_in_a_session_keeps_the_hash_that_the_session_knows(kept: Path) -> None:
    text = kept.read_text(encoding="utf-8")
    assert plan_from(text, "session", begun=True).hash == json.loads(text)["hash"]


@pytest.mark.parametrize("kept", KEPT, ids=lambda kept: kept.stem)
def test_an_edited_older_plan_is_refused(kept: Path, tmp_path: Path) -> None:
    content = json.loads(kept.read_text(encoding="utf-8"))
    content["frames"][3]["yaw_deg"] += 1e-6
    (tmp_path / "plan.json").write_text(json.dumps(content), encoding="utf-8")
    with pytest.raises(InputError, match="was changed after it was made"):
        load_plan(tmp_path / "plan.json")


@pytest.mark.parametrize("version", range(OLDEST_VERSION, FORMAT_VERSION))
def test_a_migrated_file_is_sealed_and_of_this_version(version: int) -> None:
    (kept,) = [path for path in KEPT if version_of(path) == version]
    content = migrated(json.loads(kept.read_text(encoding="utf-8")), version)
    assert content["format_version"] == FORMAT_VERSION
    assert content["hash"] == content_hash(content)
    Plan.model_validate_json(json.dumps(content))


@pytest.mark.parametrize("missing", ["kit", "frames", "overlap", "optics"])
def test_what_is_no_plan_of_its_version_is_refused_in_one_sentence(missing: str, tmp_path: Path) -> None:
    content = json.loads(KEPT[0].read_text(encoding="utf-8"))
    del content[missing]
    content["hash"] = content_hash(content)
    (tmp_path / "plan.json").write_text(json.dumps(content), encoding="utf-8")
    with pytest.raises(InputError, match=missing):
        load_plan(tmp_path / "plan.json")


def test_a_set_planned_by_version_1_is_shot_and_audited(tmp_path: Path) -> None:
    world = Attended(load_plan(KEPT[0]), tmp_path, 1, CALM)
    world.plan_path.write_bytes(KEPT[0].read_bytes())
    assert world.capture(tries=0), world.ends
    assert {(one.frame, one.exposure) for one in world.rig.truth.exposures} == world.plan.exposures
    assert world.resume(tries=1)
