"""How far a run has come."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from controller.capture.progress import Progress, exposures_of
from controller.program.build import build_program
from controller.program.program import AskStep, ExposeStep, MoveStep
from tests.end_to_end.whole_runs import few_frames, kit_of

FRAMES = tuple(frame.model_copy(update={"by_hand": frame.id == 3}) for frame in few_frames())
PROGRAM = build_program(kit_of(exposure={"bracket_ev": [0, 1]}), FRAMES)
ALL = {(frame, number) for frame in range(4) for number in range(2)}
SUBSETS = st.sets(st.sampled_from(sorted(ALL)))


def at_next_exposure(progress: Progress) -> ExposeStep:
    while not progress.comes(ExposeStep):
        progress.advance()
    return progress.step(ExposeStep)


def test_a_program_is_worked_off_in_its_order() -> None:
    progress = Progress(PROGRAM)
    order = []
    while progress.left:
        step = at_next_exposure(progress)
        order.append((step.frame, step.exposure))
        progress.count(order[-1])
        progress.advance()
    assert order == [(step.frame, step.exposure) for step in PROGRAM.exposures]
    assert progress.nothing_left or not progress.comes(ExposeStep)
    assert not progress.incomplete


@given(SUBSETS, SUBSETS)
def test_nothing_is_lost_between_rounds(made: set[tuple[int, int]], again: set[tuple[int, int]]) -> None:
    """Whatever is made or repeated: what is left and what comes later is exactly what is missing."""
    progress = Progress(PROGRAM)
    for exposure in made:
        progress.count(exposure)
    assert progress.again(again) == again & made
    missing = (ALL - made) | again
    assert progress.left | progress.later == missing
    assert not progress.left & progress.later
    rounds = 0
    while progress.left or progress.later:
        progress.begin_round(progress.left, None, look=False)
        assert progress.left == exposures_of(progress.steps)
        assert progress.left
        turned = {exposure for exposure in progress.left if exposure[0] != 3}
        if not turned:  # a frame by hand waits until nothing else is left
            assert not {exposure for exposure in progress.later if exposure[0] != 3}
        for step in progress.steps:  # with it comes the rest of a bracket that the camera shoots in turn
            if isinstance(step, ExposeStep):
                progress.count((step.frame, step.exposure))
                missing.discard((step.frame, step.exposure))
        rounds += 1
        assert rounds <= 3
    assert not missing


def test_what_is_put_off_comes_back_once_and_is_then_given_up() -> None:
    progress = Progress(PROGRAM)
    step = at_next_exposure(progress)
    exposures = {(step.frame, number) for number in range(2)} if progress.turn else {(step.frame, step.exposure)}
    progress.put_off(step)
    assert progress.later == exposures
    assert progress.silent_in_row == 1
    progress.begin_round(set(), None, look=False)
    assert progress.left == exposures
    assert progress.came_back == exposures
    progress.put_off(at_next_exposure(progress))
    assert progress.given_up == exposures
    assert not progress.later
    assert progress.incomplete
    assert progress.retake((step.frame, 99)) == {(step.frame, number) for number in range(2)}
    assert not progress.given_up


def test_a_frame_by_hand_that_is_left_out_stays_missing() -> None:
    progress = Progress(PROGRAM)
    while not progress.comes(AskStep):
        progress.advance()
    progress.leave_out()
    assert progress.left_out == {(3, 0), (3, 1)}
    assert not progress.left & progress.left_out
    assert progress.comes(ExposeStep)
    progress.advance()
    assert progress.incomplete


def test_the_aim_of_an_exposure_is_the_move_before_it() -> None:
    progress = Progress(PROGRAM)
    for place, step in enumerate(PROGRAM.steps):
        progress.cursor = place
        if isinstance(step, ExposeStep):
            aim = progress.aim()
            assert aim.frame == step.frame
            assert isinstance(aim, MoveStep | AskStep)
    progress.cursor = len(PROGRAM.steps)
    assert progress.nearest() == PROGRAM.steps[-1]


def test_an_answer_of_the_camera_ends_its_silence() -> None:
    progress = Progress(PROGRAM)
    progress.put_off(at_next_exposure(progress))
    progress.advance()
    step = at_next_exposure(progress)
    progress.finish(step)
    assert progress.silent_in_row == 0
    assert progress.row_done == step.row


def test_a_frame_by_hand_that_was_left_out_may_be_wanted_again() -> None:
    progress = Progress(PROGRAM)
    while not progress.comes(AskStep):
        progress.advance()
    progress.leave_out()
    progress.again(progress.retake((3,)))
    assert not progress.left_out
    assert {(3, 0), (3, 1)} <= progress.later
