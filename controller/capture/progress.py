"""How far a run has come: its steps, the exposures left, those put off, and the number of tries.

A run goes through its steps once. Exposures to repeat are collected in `later`. When the steps are finished, those become
the steps of another round. (A pass is planned: its frames are in the program from the start.)
"""

from typing import TypeVar

from controller.program.build import build_steps, step_ends_ns
from controller.program.program import AskStep, ExposeStep, Exposure, MoveStep, Program, Step
from controller.program.turn import BracketPosition
from controller.session.rows import NOTHING, Remembered

StepKind = TypeVar("StepKind", MoveStep, ExposeStep, AskStep)
Standing = tuple[int, int] | None
"""Pan and tilt in steps; None if unknown."""


class Progress:
    """What is done and what is left of one program. `remembered` is the session's record of an earlier run."""

    def __init__(self, program: Program, remembered: Remembered = NOTHING) -> None:
        self._program = program
        self.turn = _turn(program, remembered)  # only if the camera shoots the bracket by itself
        self.steps: tuple[Step, ...] = program.steps
        if self.turn is not None and remembered is not NOTHING:
            wanted = exposures_of(program.steps)
            self.steps = build_steps(program.kit, program.frames, wanted, program.axes, turn=self.turn)
        self.cursor = 0  # index of the step that is being carried out or comes next
        self.left = exposures_of(self.steps)  # of this round
        self.later: set[Exposure] = set()  # for another round
        self.came_back: set[Exposure] = set()  # were already put off once
        self.given_up: set[Exposure] = set()
        self.left_out: set[Exposure] = set()  # by hand, and the operator refused
        self.by_hand = {frame.id for frame in program.frames if frame.by_hand}
        self.tries = 0  # of the exposure at the cursor
        self.silent_in_row = 0  # exposures put off in succession
        self.row_done: int | None = None  # of the latest exposure
        self.from_anywhere = False  # the next move begins at a place that the program did not foresee

    # Questions.

    @property
    def frame(self) -> int | None:
        """The frame in progress; None for a program without steps."""
        return self.nearest().frame if self.steps else None

    @property
    def nothing_left(self) -> bool:
        """Whether every exposure is made or given up, and every step is done."""
        return not self.left and not self.later and self.cursor >= len(self.steps)

    @property
    def incomplete(self) -> bool:
        """Whether some exposures are missing."""
        return bool(self.later or self.given_up or self.left_out)

    @property
    def all_by_hand(self) -> bool:
        """Whether the head turns for no frame at all."""
        return all(frame.id in self.by_hand for frame in self._program.frames)

    def longer_ns(self) -> int:
        """How much longer the rest of this round takes if the board does not shape its ramps."""
        baud, rest = self._program.kit.board.baud, self.steps[self.cursor :]
        plain, shaped = (max(step_ends_ns(rest, baud, shaped=shaped), default=0) for shaped in (False, True))
        return plain - shaped

    def nearest(self) -> Step:
        """The step at the cursor, or the last one if the cursor is past it."""
        return self.steps[min(self.cursor, len(self.steps) - 1)]

    def comes(self, kind: type[Step]) -> bool:
        """Whether the step at the cursor is of this kind."""
        return isinstance(self.steps[self.cursor], kind)

    def step(self, kind: type[StepKind]) -> StepKind:
        """The step at the cursor, which must be of this kind."""
        step = self.steps[self.cursor]
        assert isinstance(step, kind)
        return step

    def aim(self) -> MoveStep | AskStep:
        """Where the camera was sent before the exposure at the cursor."""
        at = self.cursor
        while isinstance(step := self.steps[at], ExposeStep):
            at -= 1
        return step

    def row_ends(self) -> bool:
        """Whether the next step is in another row than the latest exposure."""
        return self.row_done is not None and self.steps[self.cursor].row != self.row_done

    # Rounds.

    def begin_round(self, wanted: set[Exposure], standing: Standing, *, look: bool) -> None:
        """Build the steps for these exposures from the head's position.

        If there are none, use those that were put off. If there are none of those either, check zero again if `look`.
        Frames by hand wait until nothing else is left.
        """
        if not self._turned(wanted):
            more = self._turned(self.later) if wanted else set(self.later)
            self.later -= more
            self.came_back |= more
            wanted = wanted | more
        kit, frames, axes = self._program.kit, self._program.frames, self._program.axes
        self.steps = build_steps(
            kit, frames, wanted, axes, from_anywhere=True, standing=standing, turn=self.turn, look=look
        )
        self.left = exposures_of(self.steps)
        self.cursor, self.tries, self.from_anywhere = 0, 0, True

    def round_is_over(self, *, look: bool) -> bool:
        """Whether the head has no more frames to turn to in this round, and something is left for another.

        A frame by hand that was begun is finished first.
        """
        at = self.steps[self.cursor] if self.cursor < len(self.steps) else None
        if isinstance(at, ExposeStep) or self._turns_for(self.left):
            return False
        return (self._turns_for(self.later) if self.left else bool(self.later)) or (at is None and look)

    def _turns_for(self, exposures: set[Exposure]) -> bool:
        """Whether the head turns for any of these exposures. Called after every exposure, so it stops at the first."""
        return any(exposure[0] not in self.by_hand for exposure in exposures)

    def _turned(self, exposures: set[Exposure]) -> set[Exposure]:
        """These exposures without the frames by hand."""
        return {exposure for exposure in exposures if exposure[0] not in self.by_hand}

    def advance(self) -> None:
        """Go to the next step."""
        self.cursor, self.tries = self.cursor + 1, 0

    def go_home_first(self, home: tuple[MoveStep, ...]) -> None:
        """Put these moves before all other steps."""
        self.steps = (*home, *self.steps)

    def skip_rest_of(self, frame: int) -> set[Exposure]:
        """Move the cursor to the last step of a frame. Returns the frame's exposures that are left."""
        self.cursor = max(n for n, each in enumerate(self.steps) if isinstance(each, ExposeStep) and each.frame == frame)
        return {exposure for exposure in self.left if exposure[0] == frame}

    # Exposures.

    def count(self, exposure: Exposure) -> None:
        """Note an exposure as made, whatever event reported it."""
        self.left.discard(exposure)
        self.turn = None if self.turn is None else self.turn.after(1, exposure[0])

    def finish(self, step: ExposeStep) -> None:
        """Note that the camera answered at this step."""
        self.silent_in_row = 0
        self.row_done = step.row
        for put_off in (self.later, self.given_up):
            put_off.discard((step.frame, step.exposure))  # made with the rest of its bracket

    def put_off(self, step: ExposeStep) -> bool:
        """Put off this step, whose tries are used up: it is retried at the end, or given up if that was the retry.

        Returns whether the rest needs new steps, because the remaining bracket was put off as well.
        """
        self.silent_in_row += 1
        exposures = {(step.frame, step.exposure)}
        if self.turn is not None:  # the later ones of the bracket would be made in its place
            exposures |= self.skip_rest_of(step.frame)
        for exposure in exposures:
            (self.given_up if exposure in self.came_back else self.later).add(exposure)
        self.left -= exposures
        return self.turn is not None and bool(self.left)

    def leave_out(self) -> None:
        """Skip the frame by hand at the cursor; its exposures stay missing."""
        exposures = self.skip_rest_of(self.step(AskStep).frame)
        self.left_out |= exposures
        self.left -= exposures

    def again(self, exposures: set[Exposure]) -> set[Exposure]:
        """Expose these in a later round unless they are still to come. Returns those for which that is new."""
        exposures = exposures - self.left - self.later
        self.later |= exposures
        return exposures

    def retake(self, frames: tuple[int, ...]) -> set[Exposure]:
        """All exposures of these frames; earlier failures are forgotten. Frames outside the program are ignored."""
        numbers = range(len(self._program.kit.exposure.bracket_ev))
        known = {frame.id for frame in self._program.frames} & set(frames)
        wanted = {(frame, number) for frame in known for number in numbers}
        self.given_up -= wanted
        self.left_out -= wanted
        self.came_back -= wanted
        return wanted

    def lose_turn(self, frame: int) -> None:
        """Note that the camera may or may not have opened its shutter at this frame."""
        self.turn = None if self.turn is None else self.turn.lost(frame)


def _turn(program: Program, remembered: Remembered) -> BracketPosition | None:
    """The next exposure of the bracket when a run begins, if the camera shoots the bracket by itself."""
    exposure = program.kit.exposure
    if not exposure.shoots_bracket_itself:
        return None
    return BracketPosition.resumed(len(exposure.bracket_ev), remembered.exposures, remembered.latest)


def exposures_of(steps: tuple[Step, ...]) -> set[Exposure]:
    """The exposures that these steps make."""
    return {(step.frame, step.exposure) for step in steps if isinstance(step, ExposeStep)}
