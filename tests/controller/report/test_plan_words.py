"""Sentences about calibrated properties and repeated exposures."""

from controller.planning.make import make_plan
from controller.report.account_words import again_words
from controller.report.plan_words import measured_sentence
from controller.report.summary import summarise
from controller.session.rows import DoubtReason, DoubtRow, Intent, ShotOutcome, ShotRow
from tests.end_to_end.whole_runs import kit_of

PLAN = make_plan(kit_of(12.0), 0.3)


def test_a_head_by_its_data_sheet_says_nothing() -> None:
    assert measured_sentence(PLAN) == ""


def test_what_was_measured_is_named() -> None:
    kit = kit_of(12.0, head={"pan": {"measured_steps_per_degree": 321.5}, "lean_deg": 0.4, "lean_toward_deg": 30.0})
    plan = make_plan(kit, 0.3)
    assert measured_sentence(plan) == (
        "By calibration: 321.500 steps per degree of pan, a lean of 0.40° toward yaw 30.0°."
    )


def test_what_is_suspect_and_what_was_made_again_are_told() -> None:
    frames = [frame.id for frame in PLAN.frames]

    def shot(number: int, frame: int) -> ShotRow:
        return ShotRow(number, Intent(frame, 0, 1, number, 0.0, 0.0, 0.01), number, ShotOutcome.CONFIRMED, number, None)

    shots = [shot(number, frame) for number, frame in enumerate([*frames, frames[0]], 1)]
    doubts = [
        DoubtRow(frames[0], 0, len(frames), DoubtReason.RETAKE),
        DoubtRow(frames[1], 0, len(frames), DoubtReason.SUSPECT),
    ]
    summary = summarise(PLAN, shots, doubts, kind="capture", seed=None, sentence="Over.", seconds=1.0)
    assert (summary.exposures_retaken, summary.exposures_suspect) == (1, 1)
    assert summary.missing_frames == (frames[1],)
    assert not summary.complete
    assert again_words(summary) == (" Reshot: 1 exposure. Suspect, and not reshot yet: 1 exposure.")
