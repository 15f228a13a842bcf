"""The page of a run is self-contained, and has the data that it draws."""

from __future__ import annotations

import json
import re
from dataclasses import asdict
from pathlib import Path

from controller.planning.make import make_plan
from controller.report import run_page
from controller.report.run_page import write_run_page
from sim.truth import TrueExposure
from tests.end_to_end.whole_runs import kit_of

UPLOT = Path(run_page.__file__).parent / "static" / "uplot"


def test_it_holds_its_data_and_needs_no_network(tmp_path: Path) -> None:
    plan = make_plan(kit_of(14.0), 0.3)
    samples = [(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0), (1.5, 10.0, -3.0, 10.01, -3.0, 8.0, -1.5)]
    exposure = asdict(TrueExposure(1, 0, 40.0, 1.0, 1.0, 0.01, still=False, motion_px=2.5))
    write_run_page(tmp_path / "run.html", plan, samples, [exposure])
    text = (tmp_path / "run.html").read_text(encoding="utf-8")
    found = re.search(r"^const data = (.*);$", text, re.MULTILINE)
    assert found is not None
    data = json.loads(found[1])
    assert data["samples"] == [list(row) for row in samples]
    (row,) = data["exposures"]
    frame = plan.frames[1]
    assert row == exposure | {"planned_yaw_deg": frame.yaw_deg, "planned_pitch_deg": frame.pitch_deg}
    repeat = frame.model_copy(update={"id": 99, "repeats": 1, "pass_number": 2})
    several = plan.model_copy(update={"frames": (*plan.frames, repeat)})
    write_run_page(tmp_path / "passes.html", several, samples, [exposure, exposure | {"frame": 99}])
    of_passes = re.search(r"^const data = (.*);$", (tmp_path / "passes.html").read_text(encoding="utf-8"), re.MULTILINE)
    assert of_passes is not None
    assert json.loads(of_passes[1])["exposures"] == [row, row | {"frame": 99, "pass": 2, "repeats": 1}]
    library = UPLOT.joinpath("uPlot.iife.min.js").read_text(encoding="utf-8")
    assert library in text
    assert UPLOT.joinpath("LICENSE").read_text(encoding="utf-8") in text  # it asks to be in every copy
    assert library.startswith("/*! https://github.com/leeoniya/uPlot (v1.6.32) */")
    assert "1.6.32" in UPLOT.joinpath("README.md").read_text(encoding="utf-8")
    rest = text.replace(library.splitlines()[0], "")  # its address in a comment, which nothing follows
    assert not re.search(r"https?://|src=|@import|<link|\bfetch\(|XMLHttp|WebSocket", rest)
