"""The whole job in a folder whose path is long, with spaces and letters of other scripts."""

import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

from controller.cli.main import cli
from tests.repo.test_layers import ROOT

NAMES = (
    "Blick \u00fcber die Gr\u00e4te",
    "\u5c71 \u306e \u4e0a",
    "vue d'ensemble; (2) & suite",
    "x" * 200,
    "\U0001f4f7 100% $HOME",
)


@pytest.mark.long
def test_plan_rehearsal_report_pictures_and_match(tmp_path: Path) -> None:
    folder = tmp_path.joinpath(*NAMES)
    folder.mkdir(parents=True)
    assert len(str(folder)) > 260
    shutil.copy(ROOT / "sim/demo/kit.toml", folder / "the kit.toml")
    run("plan", folder / "the kit.toml", "--out", folder / "pl\u00e4n.json", "--region", "single-row", "--row-pitch", "0")
    run("kit", "check", folder / "the kit.toml")
    out = folder / "a rehearsal"
    run("rehearse", folder / "pl\u00e4n.json", "--out", out)
    run("rehearse", folder / "pl\u00e4n.json", "--out", out, "--replace")
    run("report", out / "session.sqlite")
    assert {path.name for path in folder.iterdir()} == {"the kit.toml", "pl\u00e4n.json", "a rehearsal"}
    card = folder / "card \u2192 1"
    run("rehearse", folder / "pl\u00e4n.json", "--out", folder / "with pictures", "--pictures", card, "--scale", "0.02")
    run(
        "match", folder / "with pictures" / "session.sqlite", card, "--out", folder / "sorted", "--sort", "frame", "--xmp"
    )
    assert (folder / "sorted" / "match.json").is_file()


def run(*words: str | Path) -> None:
    done = CliRunner().invoke(cli, [str(word) for word in words])
    assert done.exit_code == 0, (words, done.output, done.exception)
