"""How far a run has come: the steps in hand, what is left to expose, what was put off, and how often it was tried.

A run goes through its steps once. What is to be exposed again is gathered in `later`; when the steps are used up, it
becomes the steps of another pass.
"""

from typing import TypeVar

from controller.program.build import build_steps
from controller.program.program import AskStep, ExposeStep, Exposure, MoveStep, Program, Step
from controller.program.turn import BracketPosition
from controller.session.rows import NOTHING, Remembered

StepKind = TypeVar("StepKind", MoveStep, ExposeStep, AskStep)
Standing = tuple[int, int] | None
"""Pan and tilt in steps; None if not known."""


class Progress:
    """What is done and what is left of one program. `remembered` is what its session knows of an earlier run."""

    def __init__(self, program: Program, remembered: Remembered = NOTHING) -> None:
        self._program = program
        self.turn = _turn(program, remembered)  # only if the camera makes the bracket by itself
        self.steps: tuple[Step, ...] = program.steps
        if self.turn is not None and remembered is not NOTHING:
            self.steps = build_steps(program.kit, program.frames, exposures_of(program.steps), turn=self.turn)
        self.cursor = 0  # of the step that is being carried out or comes next
        self.left = exposures_of(self.steps)  # of this pass
        self.later: set[Exposure] = set()  # for another pass
        self.came_back: set[Exposure] = set()  # were put off once already
        self.given_up: set[Exposure] = set()
        self.left_out: set[Exposure] = set()  # by hand, and the operator said no
        self.by_hand = {frame.id for frame in program.frames if frame.by_hand}
        self.tries = 0  # of the exposure in hand
        self.silent_in_row = 0  # exposures that were put off, one after the other
        self.row_done: int | None = None  # of the latest exposure
        self.from_anywhere = False  # the next move begins where the program did not foresee

    # Questions.

    @property
    def frame(self) -> int | None:
        """The frame that is being worked on; None for a program without steps."""
        return self.nearest().frame if self.steps else None

    @property
    def nothing_left(self) -> bool:
        """Every exposure is made or given up, and every step is done."""
        return not self.left and not self.later and self.cursor >= len(self.steps)

    @property
    def incomplete(self) -> bool:
        """Some exposures are missing."""
        return bool(self.later or self.given_up or self.left_out)

    @property
    def all_by_hand(self) -> bool:
        """The head turns for no frame at all."""
        return all(frame.id in self.by_hand for frame in self._program.frames)

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
        """The next step is in another row than the latest exposure."""
        return self.row_done is not None and self.steps[self.cursor].row != self.row_done

    # Passes.

    def begin_pass(self, wanted: set[Exposure], standing: Standing, *, look: bool) -> None:
        """Build the steps for these exposures from where the head stands.

        If there are none, take those that were put off. If there are none either, check zero again if `look`. Frames by
        hand wait until nothing else is left.
        """
        if not self._turned(wanted):
            more = self._turned(self.later) if wanted else set(self.later)
            self.later -= more
            self.came_back |= more
            wanted = wanted | more
        kit, frames = self._program.kit, self._program.frames
        self.steps = build_steps(kit, frames, wanted, from_anywhere=True, standing=standing, turn=self.turn, look=look)
        self.left = exposures_of(self.steps)
        self.cursor, self.tries, self.from_anywhere = 0, 0, True

    def pass_is_over(self, *, look: bool) -> bool:
        """The head turns for nothing more in this pass, and something is left for another.

        A frame by hand that was begun is finished first.
        """
        at = self.steps[self.cursor] if self.cursor < len(self.steps) else None
        if isinstance(at, ExposeStep) or self._turns_for(self.left):
            return False
        return (self._turns_for(self.later) if self.left else bool(self.later)) or (at is None and look)

    def _turns_for(self, exposures: set[Exposure]) -> bool:
        """Whether the head turns for any of them; asked after every exposure, so that it must not look at all."""
        return any(exposure[0] not in self.by_hand for exposure in exposures)

    def _turned(self, exposures: set[Exposure]) -> set[Exposure]:
        """Those of them for which the head turns: all but the frames by hand."""
        return {exposure for exposure in exposures if exposure[0] not in self.by_hand}

    def advance(self) -> None:
        """The step at the cursor is over."""
        self.cursor, self.tries = self.cursor + 1, 0

    def go_home_first(self, home: tuple[MoveStep, ...]) -> None:
        """Put these moves before all other steps."""
        self.steps = (*home, *self.steps)

    def skip_rest_of(self, frame: int) -> set[Exposure]:
        """Put the cursor on the last step of a frame; return the exposures of it that are left."""
        self.cursor = max(n for n, each in enumerate(self.steps) if isinstance(each, ExposeStep) and each.frame == frame)
        return {exposure for exposure in self.left if exposure[0] == frame}

    # Exposures.

    def count(self, exposure: Exposure) -> None:
        """An exposure is made, wherever the news came from."""
        self.left.discard(exposure)
        self.turn = None if self.turn is None else self.turn.after(1, exposure[0])

    def finish(self, step: ExposeStep) -> None:
        """The camera answered at this step."""
        self.silent_in_row = 0
        self.row_done = step.row
        for put_off in (self.later, self.given_up):
            put_off.discard((step.frame, step.exposure))  # made with the rest of its bracket

    def put_off(self, step: ExposeStep) -> bool:
        """The tries at this step are used up: retry it at the end, or give it up if that was the end.

        Returns whether what is left needs new steps, because the rest of the bracket was put off as well.
        """
        self.silent_in_row += 1
        exposures = {(step.frame, step.exposure)}
        if self.turn is not None:  # those after it in the bracket would be made in its place
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
        """Expose these in a later pass unless they are still to come; return those for which that is new."""
        exposures = exposures - self.left - self.later
        self.later |= exposures
        return exposures

    def retake(self, frames: tuple[int, ...]) -> set[Exposure]:
        """All exposures of these frames, as if they had never been put off. Frames outside the program are ignored."""
        numbers = range(len(self._program.kit.exposure.bracket_ev))
        known = {frame.id for frame in self._program.frames} & set(frames)
        wanted = {(frame, number) for frame in known for number in numbers}
        self.given_up -= wanted
        self.left_out -= wanted
        self.came_back -= wanted
        return wanted

    def lose_turn(self, frame: int) -> None:
        """The camera may have opened its shutter at this frame, or not."""
        self.turn = None if self.turn is None else self.turn.lost(frame)


def _turn(program: Program, remembered: Remembered) -> BracketPosition | None:
    """Which exposure of a bracket comes next when a run begins, if the camera makes the bracket by itself."""
    exposure = program.kit.exposure
    if not exposure.takes_turns:
        return None
    return BracketPosition.resumed(len(exposure.bracket_ev), remembered.exposures, remembered.latest)


def exposures_of(steps: tuple[Step, ...]) -> set[Exposure]:
    """The exposures that these steps make."""
    return {(step.frame, step.exposure) for step in steps if isinstance(step, ExposeStep)}
