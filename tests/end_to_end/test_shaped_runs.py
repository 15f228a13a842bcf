"""Whole runs between hosts and boards that shape their ramps or do not, in any combination, with restarts in between.

What holds for all of them: every planned exposure is made, still and in place; the board is only ever told a shaper if it
can use one; each arming is for two axes that were described to this boot, with their shapers; and the time is predicted.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from controller.capture.effects import Effect
from controller.capture.hand import Hand
from controller.capture.runner import Runner, RunResult
from controller.commands.stand_in import rig_spec
from controller.program.build import build_program
from controller.session.session import Session
from protocol.codec import decode_message, frame_of
from protocol.framing import Deframer
from protocol.messages import Accepted, Arm, Booted, Capability, Cause, Hello, Message, Move, SetAxis, SetShaper, Welcome
from protocol.shaper import Shaper, impulses_of
from protocol.units import AxisId
from sim.rig import Rig
from sim.virtual_port import VirtualPort
from tests.end_to_end.whole_runs import apart_deg, few_frames, kit_of, let_pass, within_deg

SOFT = kit_of(50.0, head={"ring_hz": 4.0, "ring_damping": 0.03})
FRAMES = few_frames()[:3]
PROGRAM = build_program(SOFT, FRAMES)
SHAPERS = {name: axis.shaper for name, axis in zip(AxisId, PROGRAM.axes, strict=True)}
OLD_MINORS = (0, 1)
STILL_SWINGING_DEG = 0.03  # what moves by a quarter of a pixel in 1/80 s at 4 Hz may swing by a few pixels


class Line(VirtualPort):
    """The line to a rig; it keeps what crosses it, and may take the host or the board for an older version's.

    An old host says its minor version in Hello. An old board says its own in Welcome; the capability bit of a newer
    version is set in it, and means nothing there.
    """

    def __init__(self, rig: Rig, *, host_minor: int | None = None, board_minor: int | None = None) -> None:
        super().__init__(rig)
        self.rig = rig
        self._host_minor, self._board_minor = host_minor, board_minor
        self._ends = Deframer(), Deframer()
        self.messages: list[Message] = []

    def write(self, data: bytes) -> None:
        super().write(b"".join(self._passing(0, data, self._from_host)))

    def wait_bytes(self, deadline_ns: int | None) -> bytes:
        return b"".join(self._passing(1, super().wait_bytes(deadline_ns), self._from_board))

    def _passing(self, end: int, data: bytes, edit: Callable[[Message], Message]) -> list[bytes]:
        frames = self._ends[end].feed(data)
        edited = [(frame.seq, edit(decode_message(frame.kind, frame.payload))) for frame in frames]
        self.messages += [message for _, message in edited]
        return [frame_of(message, seq) for seq, message in edited]

    def _from_host(self, message: Message) -> Message:
        if self._host_minor is not None and isinstance(message, Hello):
            return replace(message, version_minor=self._host_minor)
        return message

    def _from_board(self, message: Message) -> Message:
        if not isinstance(message, Welcome):
            return message
        if self._host_minor is not None:  # which drops a bit that it does not know
            return replace(message, capabilities=message.capabilities & ~Capability.SHAPER)
        if self._board_minor is not None:
            capabilities = message.capabilities | Capability.SHAPER
            return replace(message, version_minor=self._board_minor, capabilities=capabilities)
        return message


def rig_of(*, shapes: bool) -> Rig:
    return Rig(replace(rig_spec(SOFT, 3), shapes=shapes))


def run(
    line: Line,
    folder: Path,
    on_exposure: Callable[[], None] = lambda: None,
    warn: Callable[[str], None] = lambda _: None,
    runner: type[Runner] = Runner,
) -> RunResult:
    """A run of what the session in `folder` still lacks."""
    path = folder / "s.sqlite"
    begun = path.exists()
    with Session.open(path, to_write=True) if begun else Session.create(path, {}, durable=False) as session:
        made = session.made()
        program = build_program(SOFT, FRAMES, made) if made else PROGRAM
        first_id = session.next_command_id()
        return runner(program, line, session, first_id=first_id, on_exposure=on_exposure, warn=warn).run()


def check_truth(rig: Rig) -> None:
    """Every exposure was still and in place, and none is missing."""
    aims = {frame.id: (frame.yaw_deg, frame.pitch_deg) for frame in FRAMES}
    for shot in rig.truth.exposures:
        assert shot.still, shot
        assert apart_deg((shot.yaw_deg, shot.pitch_deg), aims[shot.frame]) <= within_deg(SOFT) + STILL_SWINGING_DEG, shot
    assert {shot.frame for shot in rig.truth.exposures} == set(aims)


def told_before_each_arm(messages: list[Message]) -> list[dict[AxisId, Shaper]]:
    """The shapers of both axes at each Arm, of a boot that was told both axes; a SetAxis makes an axis plain."""
    told: dict[AxisId, Shaper] = {}
    arms = []
    for message in messages:
        if isinstance(message, Booted):
            told = {}
        elif isinstance(message, SetAxis):
            told[message.axis] = Shaper()
        elif isinstance(message, SetShaper):
            assert message.axis in told
            told[message.axis] = Shaper(impulses_of(message))
        elif isinstance(message, Arm):
            assert set(told) == set(AxisId)
            arms.append(dict(told))
    return arms


PLAIN = dict.fromkeys(AxisId, Shaper())


def test_the_plan_counts_on_shaping() -> None:
    assert all(shaper.impulses for shaper in SHAPERS.values())
    assert PROGRAM.counts_on_shaping
    assert PROGRAM.whole_ns(shaped=True) < 0.75 * PROGRAM.whole_ns(shaped=False)


@pytest.mark.parametrize(
    ("line", "shaped"),
    [
        (lambda: Line(rig_of(shapes=True)), True),
        (lambda: Line(rig_of(shapes=False)), False),
        *((lambda minor=minor: Line(rig_of(shapes=False), board_minor=minor), False) for minor in OLD_MINORS),
        *((lambda minor=minor: Line(rig_of(shapes=True), host_minor=minor), False) for minor in OLD_MINORS),
    ],
    ids=["1.2 both", "without the capability", "1.0 board", "1.1 board", "1.0 host", "1.1 host"],
)
def test_any_host_and_any_board(line: Callable[[], Line], shaped: bool, tmp_path: Path) -> None:
    port, warnings = line(), list[str]()
    result = run(port, tmp_path, warn=warnings.append)
    assert result.complete
    check_truth(port.rig)
    assert told_before_each_arm(port.messages) == [SHAPERS if shaped else PLAIN]
    assert any(isinstance(message, SetShaper) for message in port.messages) is shaped
    assert result.seconds * 1e9 == pytest.approx(PROGRAM.whole_ns(shaped=shaped), rel=0.02)
    if shaped:
        assert warnings == []
    else:
        (warning,) = warnings
        assert "does not shape its ramps" in warning
        assert "longer in all" in warning


@pytest.mark.parametrize(("before", "after"), [(True, True), (True, False), (False, True), (False, False)])
@pytest.mark.parametrize("made", [1, 2])
def test_a_board_that_restarts_comes_back_as_what_it_is(before: bool, after: bool, made: int, tmp_path: Path) -> None:
    """The same firmware, or another one; its axes are described again, and shaped if it can, before it is armed."""
    rig = rig_of(shapes=before)
    line, warnings = Line(rig), list[str]()

    def restart() -> None:
        if rig.board is first and len(rig.truth.exposures) == made:
            rig.shapes = after
            rig.restart_board(line.now(), Cause.POWER_ON)

    first = rig.board
    result = run(line, tmp_path, restart, warnings.append)
    assert result.complete
    check_truth(rig)
    assert told_before_each_arm(line.messages) == [SHAPERS if shapes else PLAIN for shapes in (before, after)]
    assert len([warning for warning in warnings if "does not shape" in warning]) == (not before) + (before and not after)


class Killed(Exception):
    """The host was killed."""


class Mortal(Runner):
    """A host that is killed when the second frame is exposed."""

    def _perform(self, effect: Effect, at_ns: int) -> None:
        super()._perform(effect, at_ns)
        if len(self._session.made()) == 2:
            raise Killed


@pytest.mark.parametrize("restarted", [False, True])
@pytest.mark.parametrize("after", [True, False])
def test_a_run_that_is_resumed(restarted: bool, after: bool, tmp_path: Path) -> None:
    rig = rig_of(shapes=True)
    line = Line(rig)
    with pytest.raises(Killed):
        run(line, tmp_path, runner=Mortal)
    let_pass(line, 5)
    if restarted:
        rig.shapes = after
        rig.restart_board(line.now(), Cause.POWER_ON)
    line.messages.clear()
    assert run(line, tmp_path).complete
    check_truth(rig)
    assert told_before_each_arm(line.messages) == [SHAPERS if after or not restarted else PLAIN]


def test_by_hand_the_head_moves_unshaped_and_a_run_afterwards_does_not(tmp_path: Path) -> None:
    """On one line, without a restart between them: SetAxis makes an axis plain again."""
    rig = rig_of(shapes=True)
    line = Line(rig)

    def jog() -> None:
        hand = Hand(line, PROGRAM)
        hand.wait_ready()
        hand.wait_zero()
        hand.wait_move(3000, 0)
        hand.wait_rest()

    jog()
    assert run(line, tmp_path).complete
    jog()
    assert told_before_each_arm(line.messages) == [PLAIN, SHAPERS, PLAIN]
    check_truth(rig)


def test_a_boards_word_for_a_shaper_is_held_against_its_moves(tmp_path: Path) -> None:
    """A board that takes a shaper and does not use it would spoil every photograph: its moves end too soon."""
    rig = rig_of(shapes=True)
    line = Line(rig)
    accept = line._from_board

    def forget(message: Message) -> Message:
        if isinstance(message, Accepted):
            for axis in AxisId:
                rig.board._shapers[axis] = Shaper()
        return accept(message)

    line._from_board = forget  # type: ignore[method-assign]
    result = run(line, tmp_path)
    assert not result.complete
    assert "at least" in result.sentence
    moves = [message for message in line.messages if isinstance(message, Move)]
    assert len(moves) == 1
