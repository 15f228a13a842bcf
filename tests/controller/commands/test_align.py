"""`fullturn align` as it is typed: on a rendered set and a photograph of another day."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from controller.cli.main import cli
from controller.errors import InputError, StorageFailed
from controller.planning.plan_file import load_plan
from tests.sets.another_day import OtherDay, TrueBase, photograph_of
from tests.sets.making import SetMaker
from tests.sets.spec import ORDINARY, SetSpec
from tests.sets.truth import MadeSet

SEED = 3
SPEC = SetSpec(20.0, mounted="landscape", long_px=720, band_deg=(-20, 25), window_deg=(-50, 60), hidden=ORDINARY)


@pytest.fixture(scope="module")
def made(set_maker: SetMaker) -> MadeSet:
    return set_maker.make(SPEC, SEED)


@pytest.fixture(scope="module")
def today(made: MadeSet, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A head that was put up 20 degrees further to the right and leans, 60 mm to the right of where it was."""
    file = tmp_path_factory.mktemp("today") / "today.jpg"
    return photograph_of(SPEC, SEED, file, TrueBase(20.0, 0.6, -30.0), (5.0, -4.0), OtherDay(moved_mm=(0.0, 60.0)))


def typed(made: MadeSet, photograph: Path, *more: object) -> Result:
    words = ["align", str(made.session), str(made.folder), str(photograph), "--yaw", "5", "--pitch", "-4"]
    return CliRunner().invoke(cli, [*words, *map(str, more)])


def test_it_says_how_the_head_differs_and_writes_a_plan(made: MadeSet, today: Path, tmp_path: Path) -> None:
    out = tmp_path / "new.json"
    done = typed(made, today, "--out", out, "--nearest-mm", 2500)
    assert done.exit_code == 0, done.output
    assert "Yaw 0 is 20.0" in done.output
    assert "° to the right of where it was." in done.output
    assert "The pan axis leans 0.6" in done.output
    assert "add --yaw-only" in done.output
    assert "as this photograph sees it, to the left by" in done.output
    assert " mm" in done.output
    assert "lean_deg = 0.6" in done.output
    assert f"The plan is in {out}" in done.output
    plan = load_plan(out)  # sealed, and proved again
    assert [frame.id for frame in plan.frames] == [frame.id for frame in made.plan.frames]
    assert plan.frames[0].yaw_deg == pytest.approx(made.plan.frames[0].yaw_deg - 20, abs=0.2)
    assert plan.kit.head.lean_deg == pytest.approx(0.6, abs=0.05)
    # The same place is not written twice, and the plan may be given again.
    refused = typed(made, today, "--out", out)
    assert isinstance(refused.exception, StorageFailed)
    again = typed(made, today, "--out", out, "--plan", out, "--replace", "--yaw-only")
    assert again.exit_code == 0, again.output
    assert load_plan(out).frames[0].yaw_deg == pytest.approx(made.plan.frames[0].yaw_deg - 40, abs=0.4)


def test_json_has_the_same_as_values(made: MadeSet, today: Path) -> None:
    done = typed(made, today, "--json")
    assert done.exit_code == 0
    values = json.loads(done.stdout)
    assert values["yaw_deg"]["from"] < 20.0 < values["yaw_deg"]["to"]
    assert values["base"]["lean_deg"] == pytest.approx(0.6, abs=0.05)
    assert values["move"]["right"]["value"] < 0
    assert values["out"] is values["leftover"] is values["overlap"] is None
    assert values["points"] > 40
    assert values["frames"]


def test_what_cannot_be_aligned_is_refused_before_anything_is_written(made: MadeSet, today: Path, tmp_path: Path) -> None:
    out = tmp_path / "new.json"
    no_picture = tmp_path / "no picture.jpg"
    no_picture.write_bytes(b"no picture")
    elsewhere = photograph_of(SPEC, SEED, tmp_path / "else.jpg", TrueBase(20.0), day=OtherDay(place=9))
    smaller = photograph_of(replace(SPEC, long_px=480), SEED, tmp_path / "small.jpg", TrueBase(20.0))
    for photograph, sentence in (
        (no_picture, "is not a photograph"),
        (elsewhere, "does not fit any picture"),
        (smaller, "is 480 x 320 pixels"),
    ):
        refused = typed(made, photograph, "--out", out)
        assert isinstance(refused.exception, InputError), refused.output
        assert str(refused.exception).startswith(f"{photograph}: {sentence}")
    assert not out.exists()


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--plan", "plan.json"], "--plan"),
        (["--replace"], "--replace"),
        (["--yaw", "361"], "--yaw: 361 is out of range"),
        (["--pitch", "-91"], "--pitch: -91 is out of range"),
        (["--nearest-mm", "0"], "--nearest-mm: 0 is out of range"),
    ],
)
def test_wrong_options_are_refused_at_once(words: list[str], sentence: str, tmp_path: Path) -> None:
    for name in ("session", "photograph", "plan.json"):
        (tmp_path / name).touch()
    words = [str(tmp_path / word) if word == "plan.json" else word for word in words]
    paths = [str(tmp_path / "session"), str(tmp_path), str(tmp_path / "photograph")]
    refused = CliRunner().invoke(cli, ["align", *paths, *words])
    assert refused.exit_code == 2
    assert sentence in refused.output
