"""`fullturn plan`: from a kit file to a plan file."""

from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from controller import clock
from controller.calibration.records import read
from controller.calibration.use import calibrated, standing_sentences
from controller.errors import WorldError
from controller.kit.exposing import kit_sentences
from controller.kit.load import load_kit
from controller.places import must_be_free
from controller.planning.effort import Effort
from controller.planning.make import make_plan
from controller.planning.order import Order
from controller.planning.plan import Plan, is_own_plan, save_plan
from controller.planning.request import Request
from controller.planning.targets import better_mounted, hold_limits, mounted, must_reach, print_resolution
from controller.report.wording import counted, degrees, duration, left_out_sentence, proof_sentence, reach_text, storage

ORDER_WORDS = {Order.QUICKEST: "Quickest order", Order.ROWS: "By rows", Order.COLUMNS: "By columns"}


@dataclass(frozen=True, slots=True)
class PlanExtras:
    """What the command line asks for beside the request itself."""

    overlap: float = 0.30
    request: Request = field(default_factory=Request)
    mounted: str | None = None
    resolution: float | None = None
    print_width_cm: float | None = None
    dpi: float = 300.0


@dataclass(frozen=True, slots=True)
class WeighedPlan:
    """A plan, and what was weighed against it: frames and seconds of each way to mount the camera."""

    plan: Plan
    compared: dict[str, tuple[int, float]]
    calibration: tuple[str, ...] = ()
    """A sentence for each calibration that is counted in, or was once made and no longer counts."""


def plan_command(
    kit_path: Path, out: Path, asked: PlanExtras, effort: Effort | None = None, *, replace: bool = False
) -> WeighedPlan:
    """Make the plan, with what is calibrated of the kit, and write it; with `replace`, in place of an older plan.

    `effort` limits the search for fewer frames.

    Raises InputError; StorageFailed, before the work begins; WorldError, with nothing written, when the plan does not
    cover, leaves something out of reach that was not allowed to be, or breaks a limit.
    """
    must_be_free(out, replace=replace, ours=is_own_plan)
    kit, kept = load_kit(kit_path), read(kit_path)
    calibration = standing_sentences(kit, kept, datetime.fromisoformat(clock.wall_time()))
    kit = calibrated(kit, kept)
    if asked.mounted in {"portrait", "landscape"}:
        kit = mounted(kit, asked.mounted)
    request, wanted = asked.request, asked.resolution
    compared: dict[str, tuple[int, float]] = {}
    if asked.mounted == "best":
        plan, compared = better_mounted(kit, asked.overlap, request, effort)
    else:
        plan = make_plan(kit, asked.overlap, request, effort)
    if asked.print_width_cm is not None:
        wanted = print_resolution(asked.print_width_cm, asked.dpi, plan.region.yaw_width_deg)
    if wanted is not None:
        must_reach(plan.kit, asked.overlap, request, wanted)
    if not plan.proof.covered:
        raise WorldError(f"{proof_sentence(plan)} Nothing was written; report this kit as a fault.")
    if plan.region.unreachable_sr > 0 and not request.allow_unreachable:
        raise WorldError(
            f"{plan.region.unreachable_sr:.3f} steradians of this region are out of the head's reach "
            f"({reach_text(plan)}); add --allow-unreachable to plan the rest, or --nadir-by-hand."
        )
    hold_limits(plan, request)
    save_plan(plan, out, replace=replace)
    return WeighedPlan(plan, compared, calibration)


def plan_text(made: WeighedPlan, out: Path) -> str:
    """What the photographer reads."""
    plan = made.plan
    rows = max(frame.row for frame in plan.frames) + 1
    budget, region, proof = plan.budget, plan.region, plan.proof
    lines = [
        f"{counted(budget.frames, 'frame')} in {counted(rows, 'row')}, {counted(budget.exposures, 'exposure')}, about "
        f"{duration(budget.seconds)} (mostly {budget.dominated_by}), {storage(budget.megabytes)}, "
        f"{budget.watt_hours:.1f} Wh; the picture becomes {budget.picture_pixels_wide} x "
        f"{budget.picture_pixels_high} pixels.",
        proof_sentence(plan),
    ]
    if proof.worst_margin_deg < proof.pointing_error_deg:
        lines.append(
            f"Mind: the plan survives {proof.worst_margin_deg:.2f}° of pointing error and this head may be off by "
            f"{proof.pointing_error_deg:.2f}°, so neighbours may share a little less than asked; ask for one or two per "
            "cent more overlap if that matters."
        )
    else:
        lines.append(
            f"The plan survives {proof.worst_margin_deg:.2f}° of pointing error; this head needs "
            f"{proof.pointing_error_deg:.2f}°."
        )
    if region.kind == "single-row":
        lines.append(f"The row gives a picture from {degrees(region.pitch_from_deg)} to {degrees(region.pitch_to_deg)}.")
    if region.unreachable_sr > 0:
        lines.append(left_out_sentence(plan))
    lines += _link_lines(plan) + _order_lines(plan) + kit_sentences(plan.kit) + _sun_lines(plan)
    for way, (frames, seconds) in made.compared.items():
        lines.append(f"{way}: {frames} frames, {duration(seconds)}")
    lines += [f"Calibration of {sentence}" for sentence in made.calibration]
    lines.append(f"The plan is in {out}")
    return "\n".join(lines)


def _link_lines(plan: Plan) -> list[str]:
    links = plan.links
    if len(plan.frames) == 1:
        return []
    if not links.connected:
        return ["The frames do not all share enough picture to be matched: more overlap is needed."]
    text = f"The frames are joined by overlaps of at least {100 * links.weakest_share:.0f} % of a picture"
    if links.frames_that_split:
        return [f"{text}. Losing one of frames {', '.join(map(str, links.frames_that_split))} would split the set."]
    return [f"{text}, even if any one frame fails."]


def _order_lines(plan: Plan) -> list[str]:
    lines = []
    for order, cost in sorted(plan.budget.orders.items()):
        gap = f"; longest gap between overlapping frames {duration(cost.neighbours_apart_seconds)}"
        chosen = " This is the plan's order." if order is plan.order else ""
        lines.append(f"{ORDER_WORDS[order]}: {duration(cost.seconds)}{gap if len(plan.frames) > 1 else ''}.{chosen}")
    return lines


def _sun_lines(plan: Plan) -> list[str]:
    sun = plan.sun
    if sun is None:
        return []
    moved = abs((sun.azimuth_deg[1] - sun.azimuth_deg[0] + 180) % 360 - 180)
    place = f"The sun stands at azimuth {degrees(sun.azimuth_deg[0])}, altitude {degrees(sun.altitude_deg[0])}"
    seen = f"frames {', '.join(map(str, sun.frames))} see it" if sun.frames else "no frame sees it"
    return [f"{place}, moves by {degrees(moved)} in azimuth during the run, and {seen}."]
