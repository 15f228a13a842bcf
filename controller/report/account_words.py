"""The account of a set in words: the headline, what is missing, what the photographs cover."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from controller.amounts import counted
from controller.capture.words.run import THROUGH
from controller.kit.kit import Head, Kit
from controller.planning.plan import Plan
from controller.report.plan_words import direction_words, proof_sentence, region_words
from controller.report.verdict import SetStanding, Verdict, has_switch

if TYPE_CHECKING:
    from controller.report.summary import Summary

CLOCK_UNSURE = "The computer's time of day was unsure: times may be wrong, the seconds between two are right."
SHOWN = 20  # numbers of missing frames in a sentence


def headline(found: Verdict, kit: Kit) -> str:
    """The verdict as sentences. A set is called complete only if every exposure is confirmed."""
    made = len(found.confirmed) + len(found.assumed)
    sentence = {
        SetStanding.COMPLETE: "The set is complete.",
        SetStanding.ASSUMED: _assumed(found, contact=kit.board.sync_contact),
        SetStanding.UNCHECKED: "No exposure is missing, but zero was not checked since; `fullturn resume` checks it.",
        SetStanding.INCOMPLETE: _incomplete(found),
        SetStanding.NOT_BEGUN: "No exposure has been made yet.",
        SetStanding.DAMAGED: f"The session is damaged: {'; '.join(found.losses)}.",
        SetStanding.UNDER_WAY: f"The run is under way: {made} of {found.planned} exposures made so far.",
    }[found.standing]
    return " ".join([sentence, *_unchecked(found, kit.head)])


def _incomplete(found: Verdict) -> str:
    if set(found.missing_frames) == set(found.missing_repeats):
        return "Every frame was shot at least once, but not in every pass."
    return "The set is not complete."


def _assumed(found: Verdict, *, contact: bool) -> str:
    confirmed = f"{len(found.confirmed)} confirmed" if found.confirmed else "none confirmed"
    why = "" if contact else " (no sync contact)"
    return (
        f"Every exposure was made as far as can be known: {len(found.assumed)} of {found.planned} assumed, "
        f"{confirmed}{why}."
    )


def _unchecked(found: Verdict, head: Head) -> list[str]:
    """The axes that were not checked, as sentences; empty while there is nothing to check."""
    if found.standing not in {SetStanding.COMPLETE, SetStanding.ASSUMED, SetStanding.UNCHECKED}:
        return []
    blind = [axis for axis in found.unchecked if not has_switch(head, axis)]
    late = [axis for axis in found.unchecked if has_switch(head, axis)]
    sentences = []
    if late:
        sentences.append(f"Not checked after the last exposures: {' and '.join(late)}.")
    if blind:
        sentences.append(f"No switch to check zero by: {' and '.join(blind)}.")
    return sentences


def made_words(summary: "Summary") -> str:
    """The headline and the exposures made, without a full stop."""
    kinds = f"({summary.exposures_confirmed} confirmed, {summary.exposures_assumed} assumed)"
    if summary.verdict is SetStanding.ASSUMED:
        return summary.headline.removesuffix(".")
    if summary.verdict is SetStanding.UNDER_WAY:
        return f"{summary.headline.removesuffix('.')} {kinds}"
    return f"{summary.headline} {summary.exposures_made} of {summary.exposures_planned} exposures made {kinds}"


def again_words(summary: "Summary") -> str:
    """What was reshot and what must be, as sentences to append; empty if nothing."""
    text = ""
    if summary.exposures_retaken:
        text += f" Reshot: {counted(summary.exposures_retaken, 'exposure')}."
    if summary.exposures_suspect:
        text += f" Suspect, and not reshot yet: {counted(summary.exposures_suspect, 'exposure')}."
    if summary.exposures_to_retake:
        text += f" To be reshot: {counted(summary.exposures_to_retake, 'exposure')}."
    return text


def missing_words(summary: "Summary") -> str:
    """The missing frames, as a sentence to append; empty if none."""
    repeats = summary.missing_repeats
    missing = [frame for frame in summary.missing_frames if frame not in set(repeats)]
    what = "Still to come" if summary.verdict is SetStanding.UNDER_WAY else "Missing"
    text = f" {what} or in doubt: {_frames(missing)}." if missing else ""
    if repeats:
        text += f" {what} or in doubt, but shot in another pass: {_frames(repeats)}."
    return text


def _frames(numbers: Sequence[int]) -> str:
    """How many frames, and which."""
    listed = ", ".join(map(str, numbers[:SHOWN])) + (" and more" if len(numbers) > SHOWN else "")
    return f"{counted(len(numbers), 'frame')} ({listed})"


def ending_words(summary: "Summary") -> str:
    """How the last run ended, if that adds to the headline; otherwise empty."""
    if summary.verdict is SetStanding.UNDER_WAY or summary.sentence in {"", THROUGH}:
        return ""
    return f"How the last run ended: {summary.sentence}"


def account_text(summary: "Summary") -> str:
    """The text that `capture`, `resume` and `report` print."""
    text = f"{made_words(summary)}.{again_words(summary)}{missing_words(summary)}"
    clock = CLOCK_UNSURE if summary.clock_unsure else ""
    return "\n".join(line for line in (text, ending_words(summary), clock) if line)


def shot_proof_sentence(plan: Plan, summary: "Summary") -> str:
    """What the frames shot so far cover, in sentences; the plan's own proof if none is missing."""
    if not set(summary.missing_frames) - set(summary.missing_repeats):
        return proof_sentence(plan)
    if summary.worst_margin_deg is None or summary.worst_yaw_deg is None or summary.worst_pitch_deg is None:
        return "No frame has all its exposures yet, so nothing is covered."
    what = region_words(plan)
    place = direction_words(summary.worst_yaw_deg, summary.worst_pitch_deg)
    if summary.covered:
        text = (
            f"Even without the missing frames, every direction of {what} is in the core of a frame that was shot. "
            f"The tightest place is {place}, with {summary.worst_margin_deg:.3f}° to spare."
        )
    else:
        begin = "Shooting goes on" if summary.verdict is SetStanding.UNDER_WAY else "There are holes"
        text = (
            f"{begin}: what was shot does not cover {what}. The largest hole is at {place}, "
            f"{-summary.worst_margin_deg:.1f}° from the nearest core."
        )
    if not summary.linked:
        text += " The frames that were shot do not all overlap enough to be joined."
    return text
