"""Sentences about calibrated properties, the sun and repeated exposures."""

from dataclasses import replace
from datetime import UTC, datetime

from controller.planning.make import make_plan
from controller.planning.request import RegionKind, Request, SunWatch
from controller.planning.sun import sun_at
from controller.planning.sun_caution import sun_seconds
from controller.report.account_words import again_words
from controller.report.plan_words import SUN_HARMS, measured_sentence, plan_sentences
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


def test_a_plan_that_may_face_the_sun_says_what_it_harms() -> None:
    assert f"If the sun is up, frames may face it. {SUN_HARMS}" in plan_sentences(PLAN, {}, ())
    down = Request(region=RegionKind.WINDOW, pitch_from_deg=-80, pitch_to_deg=-60, yaw_from_deg=0, yaw_to_deg=30)
    assert not [text for text in plan_sentences(make_plan(kit_of(100.0), 0.3, down), {}, ()) if "sun" in text]


def test_the_plan_says_when_the_frames_with_the_sun_are_shot() -> None:
    noon = datetime(2026, 6, 21, 12, 0, tzinfo=UTC)
    watch = SunWatch(50.0, 8.0, noon, -sun_at(50.0, 8.0, noon).azimuth_deg)
    first, last = (make_plan(kit_of(12.0), 0.3, Request(sun=replace(watch, when=when))) for when in ("first", "last"))
    whole_s = last.budget.seconds
    early, late = sun_seconds(first), sun_seconds(last)
    assert early is not None
    assert late is not None
    assert 0 < early[0] <= early[1] < late[0] <= late[1] < whole_s
    assert whole_s - late[1] < whole_s / len(last.frames)
    said = [text for text in plan_sentences(last, {}, ()) if text.startswith("Frames that see the sun are shot")]
    assert len(said) == 1
    assert said[0].endswith(f"after the run begins. {SUN_HARMS}")
    night = replace(watch, start=datetime(2026, 6, 21, 0, 0, tzinfo=UTC))
    assert not [
        text for text in plan_sentences(make_plan(kit_of(12.0), 0.3, Request(sun=night)), {}, ()) if SUN_HARMS in text
    ]
