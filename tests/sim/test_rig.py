"""The camera on the head: a mirror that kicks, a contact that bounces, and the truth about both."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from controller.capture.runner import Runner
from controller.commands.stand_in import rig_spec
from controller.program.build import build_program
from controller.session.rows import ShotOutcome
from controller.session.session import Session
from sim.rig import Rig
from sim.virtual_port import VirtualPort
from tests.end_to_end.whole_runs import few_frames, kit_of


def shot(
    folder: Path, *, shutter_s: float = 0.05, head: dict[str, Any] | None = None, **camera: Any
) -> tuple[Rig, Session]:
    """A run of a few frames on a rig with such a camera."""
    kit = kit_of(exposure={"shutter_seconds": shutter_s})
    spec = rig_spec(kit, 1)
    rig = Rig(replace(spec, camera=replace(spec.camera, **camera), head=replace(spec.head, **(head or {}))))
    session = Session.create(folder / "s.sqlite", {}, durable=False)
    result = Runner(build_program(kit, few_frames()), VirtualPort(rig), session).run()
    assert result.complete, result.sentence
    return rig, session


def test_a_mirror_shakes_the_picture_and_the_truth_says_how_much(tmp_path: Path) -> None:
    """A kick of v rings with the amplitude v / w_d (Thomson and Dahleh, as in sim/head.py): twice that in all."""
    calm, session = shot(tmp_path)
    session.close()
    assert all(one.still for one in calm.truth.exposures)
    (tmp_path / "s.sqlite").unlink()
    shaken, session = shot(tmp_path, shutter_s=0.5, mirror_kick_deg_s=2.0)
    session.close()
    assert not any(one.still for one in shaken.truth.exposures)
    spec = shaken.head.spec
    damped = 2 * 3.14159265 * spec.ring_hz * (1 - spec.ring_damping**2) ** 0.5
    for one in shaken.truth.exposures:
        assert 1.2 * 2.0 / damped < one.motion_px * spec.pixel_deg < 2.0 * 2.0 / damped


@pytest.mark.parametrize("bounce_ms", [1.0, 8.0, 40.0])
def test_a_bouncing_contact_confirms_nothing_twice(tmp_path: Path, bounce_ms: float) -> None:
    rig, session = shot(tmp_path, bounce_ms=bounce_ms)
    with session:
        outcomes = Counter(row.outcome for row in session.shots())
    assert outcomes == {ShotOutcome.CONFIRMED: len(rig.truth.exposures)}
    assert len(rig.truth.exposures) == len(few_frames())


def test_wind_that_comes_by_itself_is_seen_in_the_truth(tmp_path: Path) -> None:
    rig, session = shot(tmp_path, head={"gusts_every_s": 2.0, "gust_peak_deg": 0.5})
    session.close()
    assert not all(one.still for one in rig.truth.exposures)


def test_a_leaning_base_points_elsewhere(tmp_path: Path) -> None:
    rig, session = shot(tmp_path, head={"lean_deg": 1.0, "lean_toward_deg": 15.0})
    session.close()
    first = rig.truth.exposures[0]
    assert first.frame == 0
    assert first.pitch_deg == pytest.approx(few_frames()[0].pitch_deg - 1.0, abs=0.01)
