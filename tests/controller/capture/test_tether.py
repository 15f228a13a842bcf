"""Exposures confirmed by their files; the USB camera is simulated in place of the library's."""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace
from importlib.machinery import ModuleSpec
from itertools import pairwise
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast
from uuid import uuid4

import pytest

from controller.capture.events import EventKind, Wanted
from controller.capture.gate import Gate
from controller.capture.people import Precautions, YesNoQuestion
from controller.capture.runner import Runner, RunResult
from controller.capture.states import AWAY, ENDING, RunState
from controller.capture.tether import UsbCamera
from controller.commands.stand_in import rig_spec
from controller.errors import InputError, WorldError
from controller.extras import line_to_add
from controller.program.build import build_program
from controller.session.rows import Happening, ShotOutcome
from controller.session.session import Session
from protocol.codec import decode_message
from protocol.framing import Deframer
from protocol.messages import Expose, Halt, Move, Request, Stop
from sim.rig import Rig
from sim.scenario import Fault, Scenario
from sim.virtual_port import VirtualPort
from tests.end_to_end.whole_runs import World, few_frames, kit_of, planned_exposures, world_of

BLIND = kit_of(exposure={"bracket_ev": [0, 1]}, board={"sync_contact": False})
NS = 1_000_000_000
TRANSFER_NS = 2 * NS


class Arriving:
    """Files that arrive two seconds after each true exposure and its dark frame, except for those in `lost`."""

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
        return result, outcomes, [one.file for one in session.happenings() if one.file is not None]


def test_what_would_be_assumed_is_confirmed_by_its_file(tmp_path: Path) -> None:
    world = world_of(BLIND)
    result, outcomes, files = run(world, tmp_path, Arriving(world))
    assert result.complete
    assert outcomes == [ShotOutcome.CONFIRMED] * len(planned_exposures(BLIND, few_frames()))
    assert files == [f"/store/FULL{number:04}.JPG" for number in range(len(outcomes))]
    assert not world.rig.board._silence_ns  # disarmed at the end, and armed until then: nothing was suspended


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
    result, outcomes, _ = run(world, tmp_path, Arriving(world, dark_s=50.0))  # from its beginning, as in the truth
    assert result.complete
    assert outcomes == [ShotOutcome.CONFIRMED] * len(few_frames())
    # Moves and transfers come in addition: another half of a dark frame each would be too much.
    assert result.seconds < world.program.expected_ns / NS + len(outcomes) * 25 / 2


# Every state of a tethered run, interrupted.

FRAMES = tuple(frame.model_copy(update={"by_hand": frame.id == 3}) for frame in few_frames())
RICH = kit_of(exposure={"bracket_ev": [0, 1], "ready_ms": 3000}, board={"sync_contact": False, "wind_sensor": True})
TROUBLE = (Fault("line-cut", after_exposure=3, for_s=2.0), Fault("gust", at_s=50.0, for_s=15.0, degrees=0.5))
LASTING: set[RunState] = set(RunState) - {RunState.IDLE, RunState.STOPPING, RunState.DONE, RunState.FAILED}
BY_NAME = [state for state in RunState if state in LASTING]
# The longest time from the operator's request until the board is told: both happen at the same moment.
AT_ONCE_NS = 0


@dataclass
class Tethered:
    """A run on a rig with faults, with a tether and an operator who answers after two seconds and may make requests."""

    world: World
    result: RunResult
    happenings: list[Happening]
    sent: list[tuple[int, Request]]
    outcomes: dict[tuple[int, int], ShotOutcome | None]
    filed: set[tuple[int, int]]


def run_tethered(folder: Path, *wanted: tuple[int, Wanted], faults: tuple[Fault, ...] = ()) -> Tethered:
    """Pause once and continue, answer every question, and make the requests in `wanted`, each at its nanosecond."""
    rig = Rig(replace(rig_spec(RICH, 0), scenario=Scenario("trouble", "", (*TROUBLE, *faults))))
    world = World(RICH, build_program(RICH, FRAMES), rig, VirtualPort(rig))
    pauses = [(20 * NS, Wanted(EventKind.PAUSE)), (45 * NS, Wanted(EventKind.GO_ON))]
    if any(one.kind is EventKind.PAUSE and at_ns < pauses[1][0] for at_ns, one in wanted):
        pauses.pop()
    left = sorted((*pauses, *wanted), key=lambda due: due[0])
    sent: list[tuple[int, Request]] = []

    def ask(question: YesNoQuestion) -> None:
        if question.hold_deg is not None:
            rig.head.hold_by_hand(*question.hold_deg)
        left.append((world.port.now() + 2 * NS, Wanted(EventKind.ANSWERED)))
        left.sort(key=lambda due: due[0])
        world.port.wake_at(left[0][0])

    def operator() -> Wanted | None:
        return left.pop(0)[1] if left and world.port.now() >= left[0][0] else None

    def withdraw() -> None:
        left[:] = [due for due in left if due[1].kind is not EventKind.ANSWERED]

    for at_ns, _ in left:
        world.port.wake_at(at_ns)
    deframer, write = Deframer(), world.port.write

    def listened(data: bytes) -> None:
        for frame in deframer.feed(data):
            sent.append((world.port.now(), cast(Request, decode_message(frame.kind, frame.payload))))
        write(data)

    world.port.write = listened  # type: ignore[method-assign]
    gate = Gate(world.port.now, lambda *_: None)
    with Session.create(folder / f"{uuid4().hex}.sqlite", {}, durable=False) as session:
        runner = Runner(
            *(world.program, world.port, session, operator),
            ask=ask,
            withdraw=withdraw,
            tether=Arriving(world),
            care=Precautions(lead_ns=3 * NS, asks=True),
            gate=gate,
        )
        result = runner.run()
        outcomes = {(row.intent.frame, row.intent.exposure): row.outcome for row in session.shots()}
        happenings = session.happenings()
    arrived = {one.file.removeprefix("/store/FULL") for one in happenings if one.file is not None}
    filed = {(shot.frame, shot.exposure) for n, shot in enumerate(world.truth) if f"{n:04}.JPG" in arrived}
    return Tethered(world, result, happenings, sent, outcomes, filed)


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory: pytest.TempPathFactory) -> Tethered:
    return run_tethered(tmp_path_factory.mktemp("undisturbed"))


def moments(run: Tethered) -> dict[RunState, int]:
    """The middle of the longest stretch of each state."""
    changes = [one for one in run.happenings if one.file is None]
    longest: dict[RunState, tuple[int, int]] = {}
    for here, after in pairwise(changes):
        lasts, state = after.at_ns - here.at_ns, RunState(here.state)
        longest[state] = max(longest.get(state, (0, 0)), (lasts, here.at_ns + lasts // 2))
    return {state: middle for state, (lasts, middle) in longest.items() if lasts}


def test_a_tethered_run_in_trouble_is_through_and_every_file_counts(undisturbed: Tethered) -> None:
    assert undisturbed.result.complete
    assert set(undisturbed.outcomes.values()) == {ShotOutcome.CONFIRMED}
    assert set(undisturbed.outcomes) == undisturbed.filed
    assert set(moments(undisturbed)) == LASTING


@pytest.mark.parametrize("state", BY_NAME)
@pytest.mark.parametrize("kind", [EventKind.HALT, EventKind.STOP])
def test_whatever_a_tethered_run_does_a_halt_and_a_stop_are_sent_at_once(
    undisturbed: Tethered, tmp_path: Path, state: RunState, kind: EventKind
) -> None:
    at_ns = moments(undisturbed)[state]
    run = run_tethered(tmp_path, (at_ns, Wanted(kind)))
    wanted = Halt if kind is EventKind.HALT else Stop
    told = [moment for moment, request in run.sent if isinstance(request, wanted) and moment >= at_ns]
    ended = next(
        one.at_ns for one in run.happenings if one.at_ns >= at_ns and one.state in {"stopping", "failed", "done"}
    )
    assert not run.result.complete or state is RunState.CLOSING
    if state in {RunState.CONNECTING, *AWAY}:  # nothing is armed, or nobody receives it
        assert ended - at_ns <= AT_ONCE_NS
        assert run.result.ended_ns == at_ns
    elif not (state in ENDING and kind is EventKind.STOP):  # it is already told
        assert told[0] - at_ns <= AT_ONCE_NS
        assert run.result.ended_ns - at_ns < 3 * NS
    assert {shot for shot, outcome in run.outcomes.items() if outcome is ShotOutcome.CONFIRMED} <= run.filed


@pytest.mark.parametrize("state", BY_NAME)
def test_whatever_a_tethered_run_does_a_pause_is_heard_at_once(
    undisturbed: Tethered, tmp_path: Path, state: RunState
) -> None:
    """Nothing is exposed from then on until the run continues; then the set is completed."""
    at_ns = moments(undisturbed)[state]
    run = run_tethered(tmp_path, (at_ns, Wanted(EventKind.PAUSE)), (at_ns + 200 * NS, Wanted(EventKind.GO_ON)))
    assert run.result.complete
    begun = [moment for moment, request in run.sent if isinstance(request, Expose | Move)]
    paused = [one.at_ns for one in run.happenings if one.state == "paused" and one.at_ns >= at_ns]
    if paused and state is not RunState.PAUSED:
        assert not [moment for moment in begun if paused[0] < moment < at_ns + 200 * NS]
        assert len([moment for moment in begun if at_ns < moment < paused[0]]) == 0 or state in {*AWAY, RunState.WINDY}
    assert set(run.outcomes) == run.filed == set(planned_exposures(RICH, FRAMES))


@pytest.mark.parametrize("state", BY_NAME)
@pytest.mark.parametrize("kind", ["line-cut", "limit-hit", "supply-dip", "board-reset"])
def test_whatever_befalls_a_tethered_run_only_what_has_a_file_counts(
    undisturbed: Tethered, tmp_path: Path, state: RunState, kind: str
) -> None:
    at_s = moments(undisturbed)[state] / NS
    lasts = {} if kind in {"limit-hit", "board-reset"} else {"for_s": 3.0}
    run = run_tethered(tmp_path, faults=(Fault(kind, at_s=at_s, **lasts),))  # type: ignore[arg-type]
    assert run.result.complete or kind in {"limit-hit", "supply-dip"}
    if kind == "supply-dip" and not run.result.complete:
        assert "supply" in run.result.sentence
    made = {shot for shot, outcome in run.outcomes.items() if outcome is ShotOutcome.CONFIRMED}
    assert made <= run.filed
    if run.result.complete:
        assert made == set(planned_exposures(RICH, FRAMES))
    elif state not in {RunState.CLOSING, RunState.PAUSED, *AWAY}:  # the board's reports of it are received at once
        assert run.result.ended_ns / NS - at_s < 2.0


class Gone(Exception):
    """The library's exception."""


def library(events: Iterator[tuple[int, Any]], *, there: bool = True) -> SimpleNamespace:
    """The library with one camera."""

    class Camera:
        def init(self) -> None:
            if not there:
                raise Gone("[-105] Unknown model")

        def exit(self) -> None:
            """Release the camera."""

        def wait_for_event(self, timeout_ms: int) -> tuple[int, Any]:
            assert timeout_ms == 0
            return next(events)

    spec = ModuleSpec("gphoto2", None)
    return SimpleNamespace(Camera=Camera, GPhoto2Error=Gone, GP_EVENT_TIMEOUT=1, GP_EVENT_FILE_ADDED=2, __spec__=spec)


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
    with pytest.raises(InputError, match=re.escape(line_to_add("tether"))):
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
