"""Exposures confirmed by their files; the camera over USB is a stand-in for the library's."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from controller.capture.runner import Runner, RunResult
from controller.capture.tether import UsbCamera
from controller.errors import InputError, WorldError
from controller.session.rows import ShotOutcome
from controller.session.session import Session
from tests.end_to_end.whole_runs import World, few_frames, kit_of, planned_exposures, world_of

BLIND = kit_of(exposure={"bracket_ev": [0, 1]}, board={"sync_contact": False})
NS = 1_000_000_000
TRANSFER_NS = 2 * NS


class Arriving:
    """Files that arrive two seconds after each true exposure and its dark frame, but for those in `lost`."""

    def __init__(self, world: World, lost: frozenset[int] = frozenset(), dark_s: float = 0.0) -> None:
        self._world, self._lost, self._told = world, lost, 0
        self._after_ns = TRANSFER_NS + round(dark_s * NS)

    def new_files(self) -> list[str]:
        names = []
        while self._told < len(self._world.truth):
            if self._world.truth[self._told].t_s * NS + self._after_ns > self._world.port.now():
                break
            if self._told not in self._lost:
                names.append(f"/store/FULL{self._told:04}.JPG")
            self._told += 1
        return names


def run(world: World, folder: Path, tether: Arriving) -> tuple[RunResult, list[ShotOutcome | None], list[str]]:
    with Session.create(folder / "s.sqlite", {}, durable=False) as session:
        result = Runner(world.program, world.port, session, tether=tether).run()
        outcomes = [shot.outcome for shot in session.shots()]
        return result, outcomes, [one.what for one in session.happenings() if one.what.startswith("file ")]


def test_what_would_be_assumed_is_confirmed_by_its_file(tmp_path: Path) -> None:
    world = world_of(BLIND)
    result, outcomes, files = run(world, tmp_path, Arriving(world))
    assert result.complete
    assert outcomes == [ShotOutcome.CONFIRMED] * len(planned_exposures(BLIND, few_frames()))
    assert files == [f"file /store/FULL{number:04}.JPG" for number in range(len(outcomes))]
    assert not world.rig.board._silence_ns  # disarmed at the end, and armed all along: nothing was suspended


def test_a_file_that_never_comes_is_a_try_that_failed(tmp_path: Path) -> None:
    world = world_of(BLIND)
    result, outcomes, _ = run(world, tmp_path, Arriving(world, frozenset({2})))
    assert result.complete
    assert outcomes.count(ShotOutcome.UNCONFIRMED) == 1
    assert outcomes.index(ShotOutcome.UNCONFIRMED) == 2
    assert outcomes.count(ShotOutcome.CONFIRMED) == 8


def test_a_file_comes_after_the_dark_frame_which_is_not_waited_for_twice(tmp_path: Path) -> None:
    exposure = {"shutter_seconds": 25.0, "noise_reduction": True}
    world = world_of(kit_of(exposure=exposure, board={"sync_contact": False}))
    result, outcomes, _ = run(world, tmp_path, Arriving(world, dark_s=50.0))  # from its beginning, as the truth has it
    assert result.complete
    assert outcomes == [ShotOutcome.CONFIRMED] * len(few_frames())
    # Moves and transfers come on top: half of a dark frame more for each would be too much.
    assert result.seconds < world.program.expected_ns / NS + len(outcomes) * 25 / 2


class Gone(Exception):
    """What the library raises."""


def library(events: Iterator[tuple[int, Any]], *, there: bool = True) -> SimpleNamespace:
    """The library with one camera."""

    class Camera:
        def init(self) -> None:
            if not there:
                raise Gone("[-105] Unknown model")

        def exit(self) -> None:
            """Let the camera go."""

        def wait_for_event(self, timeout_ms: int) -> tuple[int, Any]:
            assert timeout_ms == 0
            return next(events)

    return SimpleNamespace(Camera=Camera, GPhoto2Error=Gone, GP_EVENT_TIMEOUT=1, GP_EVENT_FILE_ADDED=2)


def added(name: str) -> tuple[int, Any]:
    return 2, SimpleNamespace(folder="/store/100", name=name)


def test_raw_and_jpeg_of_one_exposure_count_once(monkeypatch: pytest.MonkeyPatch) -> None:
    events = iter(
        [added("OLD.JPG"), (1, None), added("A.NEF"), (9, "noise"), (1, None), added("A.JPG"), added("B.NEF"), (1, None)]
    )
    monkeypatch.setitem(sys.modules, "gphoto2", library(events))
    with UsbCamera() as camera:
        assert camera.new_files() == ["/store/100/A.NEF"]
        assert camera.new_files() == ["/store/100/B.NEF"]


def test_no_library_no_camera_and_a_pulled_cable_are_sentences(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "gphoto2", None)
    with pytest.raises(InputError, match=r"fullturn\[tether\]"):
        UsbCamera()
    monkeypatch.setitem(sys.modules, "gphoto2", library(iter(()), there=False))
    with pytest.raises(WorldError, match="no camera answers over USB"):
        UsbCamera()

    def pulled() -> Iterator[tuple[int, Any]]:
        yield 1, None
        raise Gone("[-52] Could not find the requested device")

    monkeypatch.setitem(sys.modules, "gphoto2", library(pulled()))
    with UsbCamera() as camera, pytest.raises(WorldError, match="gone from USB"):
        camera.new_files()
