"""The report as one HTML file that needs no network: its pictures are embedded."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from controller.amounts import duration, storage
from controller.files import write_whole
from controller.kit.exposing import kit_sentences
from controller.optics.field import shared_part
from controller.planning.plan import Plan
from controller.planning.request import Arrangement
from controller.report.account_words import CLOCK_UNSURE, again_words, ending_words, shot_proof_sentence
from controller.report.drawn import run_drawings, undrawn_sentence
from controller.report.lanes import shares, stretches
from controller.report.page_template import page_environment
from controller.report.plan_words import left_out_sentence, measured_sentence
from controller.report.ramp_words import ramps_sentence
from controller.report.summary import Summary
from controller.session.rows import Happening


@dataclass(frozen=True, slots=True)
class RowLine:
    """One line of the table of rows; `again` counts the repeats of its frames in later passes."""

    number: int
    pitch_deg: float
    frames: int
    again: int
    step_deg: float | None
    overlap_percent: float | None


def row_lines(plan: Plan) -> list[RowLine]:
    """The rows of the plan, with the overlap of neighbours in each row at the middle of the picture."""
    lines = []
    for number in sorted({frame.row for frame in plan.frames}):
        frames = [frame for frame in plan.first_pass if frame.row == number]
        again = sum(frame.row == number for frame in plan.frames) - len(frames)
        count, pitch = len(frames), frames[0].pitch_deg
        step = overlap = None
        if count > 1 and plan.arrangement is Arrangement.ROWS:
            step = plan.region.yaw_width_deg / count
            apart = 2 * math.asin(math.cos(math.radians(pitch)) * math.sin(math.radians(step / 2)))
            optics = plan.optics
            overlap = 100 * shared_part(optics.projection, optics.focal_length_mm, optics.frame_width_mm / 2, apart)
        lines.append(RowLine(number, pitch, count, again, step, overlap))
    return lines


def write_html(
    path: Path,
    plan: Plan,
    summary: Summary,
    happenings: Sequence[Happening],
    tale: Sequence[tuple[str, str, str]] = (),
) -> None:
    """Write the report. `tale` lists what went wrong and what was done: when, who, what. Raises StorageFailed."""
    parts = stretches(happenings, summary.virtual_seconds)
    missing, proof = summary.missing_frames, shot_proof_sentence(plan, summary)
    drawings = run_drawings(plan, missing, parts, proof)
    environment = page_environment()
    environment.filters["duration"] = duration
    text = environment.get_template("report.html").render(
        plan=plan,
        summary=summary,
        rows=row_lines(plan),
        shares=shares(parts),
        proof=proof,
        ending=ending_words(summary),
        clock=CLOCK_UNSURE if summary.clock_unsure else "",
        left_out=left_out_sentence(plan),
        measured=measured_sentence(plan),
        again=again_words(summary).strip(),
        notes=kit_sentences(plan.kit),
        card=storage(summary.card_megabytes),
        tale=tale,
        drawings=drawings,
        undrawn=undrawn_sentence() if drawings is None else "",
        missing=[frame for frame in plan.frames if frame.id in missing],
        ramps=ramps_sentence(plan, shaped=summary.ramps_shaped),
    )
    write_whole(path, text)
