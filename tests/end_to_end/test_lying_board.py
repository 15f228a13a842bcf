"""Whatever a board reports: no traceback, no claim beyond the truth, no motion after a stop, and an end in time with a
sentence that names what was wrong. The board is independent: it has its own codec and its own truth.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from random import Random

import pytest

from controller.capture.runner import Runner, RunResult
from controller.planning.plan import Frame
from controller.program.build import build_program
from controller.session.rows import Doubts
from controller.session.session import Session
from tests.end_to_end.lies import LIES, Lie, both
from tests.end_to_end.lying_board import NS, LyingBoard, LyingPort, Message, Words
from tests.end_to_end.whole_runs import kit_of

QUICK = {"max_speed_deg_s": 90.0, "max_accel_deg_s2": 360.0}
KIT = kit_of(exposure={"bracket_ev": [0, 1]}, head={"pan": QUICK, "tilt": QUICK})
AIMS = ((15.0, 5.0), (120.0, -15.5), (-60.0, 30.25), (40.0, -10.0))
FRAMES = tuple(Frame(id=number, row=0, yaw_deg=yaw, pitch_deg=pitch) for number, (yaw, pitch) in enumerate(AIMS))
PROGRAM = build_program(KIT, FRAMES)
BEGINS = (0, 3)  # exposures truly made before the lie begins
PAIRS = 40
MOTION = {"Arm", "Reference", "Move", "Expose"}


class Trial:
    """One run with a board that begins to lie after so many exposures."""

    def __init__(self, lies: list[Lie], begins: int, folder: Path) -> None:
        self.board = LyingBoard()
        self.lies, self.begins = lies, begins
        self.lied_ns: int | None = None
        self._say: Callable[[LyingBoard, Message], Words] | None = None
        for lie in lies:
            if lie.say is not None:
                self._say = lie.say if self._say is None else both(self._say, lie.say)
        streams = [lie.stream for lie in lies if lie.stream is not None]
        self.board.say = self._speak
        port = LyingPort(self.board, (lambda at: streams[0](at) if self._lying() else b"") if streams else None)
        if begins == 0:
            self._lying()
        with Session.create(folder / "s.sqlite", {}, durable=False) as session:
            self.result: RunResult = Runner(PROGRAM, port, session).run()
            self.shots, self.happenings = session.shots(), session.happenings()
            self.doubts, self.made = Doubts.of(session.doubts()), session.made()

    def _lying(self) -> bool:
        if self.lied_ns is None and len(self.board.truth) >= self.begins:
            self.lied_ns = self.board.now
            for lie in self.lies:
                lie.deed(self.board)
        return self.lied_ns is not None

    def _speak(self, board: LyingBoard, message: Message) -> Words:
        return self._say(board, message) if self._lying() and self._say is not None else [message]

    def claims(self) -> list[str]:
        """Exposures recorded as made and still valid that the truth does not have at the recorded position within one
        step.
        """
        wrong = []
        for shot in self.shots:
            intent = shot.intent
            if shot.outcome is None or not shot.outcome.made:
                continue
            if self.doubts.against(intent.frame, intent.exposure, shot.number) is not None:
                continue
            place = (intent.commanded_pan_steps, intent.commanded_tilt_steps)
            assert place[0] is not None
            assert place[1] is not None
            assert (shot.reported_pan_steps, shot.reported_tilt_steps) == place
            assert shot.ended_ns is not None
            if not any(
                (one.frame, one.exposure) == (intent.frame, intent.exposure)
                and one.still
                and shot.intended_ns <= one.at_ns <= shot.ended_ns
                and all(abs(at - there) <= 1 for at, there in zip(one.at_steps, place, strict=True) if there is not None)
                for one in self.board.truth
            ):
                wrong.append(f"{intent} was recorded as {shot.outcome}")
        return wrong

    def motion_after_a_stop(self) -> list[tuple[int, str]]:
        """Commands to move between a stop and the next arming; and any at all after the first contradiction."""
        wrong, stopped = [], False
        told = [happening.at_ns for happening in self.happenings if happening.what == "contradicted"]
        for at_ns, name in self.board.commands:
            stopped = name in {"Stop", "Halt"} or (stopped and name != "Arm")
            if name in MOTION and ((stopped and name != "Arm") or (told and at_ns > told[0])):
                wrong.append((at_ns, name))
        return wrong

    def check(self) -> None:
        assert self.claims() == []
        assert self.motion_after_a_stop() == []
        if self.result.complete:
            assert self.made == {(frame.id, number) for frame in FRAMES for number in range(2)}
        if self.lied_ns is not None:
            patience_ns = max((lie.patience_s for lie in self.lies), default=0.0) * NS
            assert self.result.ended_ns - self.lied_ns <= patience_ns, self.result.sentence


def test_an_honest_board_makes_the_set(tmp_path: Path) -> None:
    trial = Trial([], 99, tmp_path)
    assert trial.result.sentence == "The run is through."
    assert Counter((one.frame, one.exposure) for one in trial.board.truth) == Counter(trial.made)
    assert len(trial.made) == 8
    assert [name for _, name in trial.board.commands].count("SetShaper") == 2  # so that lies about it are told
    trial.check()


def test_there_are_enough_lies() -> None:
    assert len(LIES) >= 40


@pytest.mark.parametrize("begins", BEGINS)
@pytest.mark.parametrize("name", LIES)
def test_a_lie_ends_in_time_with_its_name_and_no_claim(name: str, begins: int, tmp_path: Path) -> None:
    trial = Trial([LIES[name]], begins, tmp_path)
    trial.check()
    if begins == 0 or not trial.result.complete:  # for example, a board already greeted cannot lie in its Welcome
        assert re.search(LIES[name].speaks_of, trial.result.sentence), trial.result.sentence
    assert trial.result.complete or len(trial.result.sentence) > 40


@pytest.mark.parametrize("seed", range(PAIRS))
def test_two_lies_at_once(seed: int, tmp_path: Path) -> None:
    random = Random(seed)
    names = random.sample(sorted(LIES), 2)
    trial = Trial([LIES[name] for name in names], random.randrange(6), tmp_path)
    trial.check()
    assert trial.result.complete or len(trial.result.sentence) > 40
