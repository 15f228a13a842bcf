"""Plans for a target: a resolution, a number of frames or a length of time."""

from collections.abc import Callable
from dataclasses import dataclass, replace

from controller.errors import InputError, WorldError
from controller.kit.kit import Kit
from controller.planning.budget import pixels_per_degree
from controller.planning.effort import Effort
from controller.planning.make import make_plan
from controller.planning.plan import Plan
from controller.planning.request import Arrangement, Request

# Common focal lengths, in millimetres. Common practice, no source.
USUAL_FOCAL_LENGTHS_MM = (8, 10, 12, 14, 16, 18, 20, 24, 28, 35, 40, 50, 70, 85, 100, 135, 200, 300, 400, 600)


@dataclass(frozen=True, slots=True)
class LensChoice:
    """A focal length and camera orientation that reach a resolution, and the frames they need."""

    focal_length_mm: float
    mounted: str
    frames: int
    pixels_per_degree: float


def print_resolution(width_cm: float, dots_per_inch: float, yaw_width_deg: float) -> float:
    """Pixels per degree for a print of `yaw_width_deg` across `width_cm`; an inch is 2.54 cm."""
    return width_cm / 2.54 * dots_per_inch / yaw_width_deg


def mounted(kit: Kit, way: str) -> Kit:
    """The kit with the camera mounted in `portrait` or `landscape`."""
    return kit.model_copy(update={"camera": kit.camera.model_copy(update={"mounted": way})})


def with_focal_length(kit: Kit, focal_length_mm: float) -> Kit:
    """The kit with another focal length."""
    return kit.model_copy(update={"lens": kit.lens.model_copy(update={"focal_length_mm": focal_length_mm})})


def choices_for(kit: Kit, overlap: float, request: Request, wanted_per_degree: float, most: int = 3) -> list[LensChoice]:
    """The shortest common focal lengths that reach a resolution, in rows, with the better orientation first."""
    request = replace(request, arrangement=Arrangement.ROWS)
    found: list[LensChoice] = []
    for focal_length_mm in USUAL_FOCAL_LENGTHS_MM:
        tried = with_focal_length(kit, focal_length_mm)
        reached = pixels_per_degree(tried.field(overlap))
        if reached < wanted_per_degree:
            continue
        plans = [(way, make_plan(mounted(tried, way), overlap, request)) for way in ("portrait", "landscape")]
        found += [LensChoice(focal_length_mm, way, plan.budget.frames, round(reached, 1)) for way, plan in plans]
        if len(found) >= 2 * most:
            break
    return sorted(found, key=lambda choice: (choice.focal_length_mm, choice.frames))


def better_mounted(
    kit: Kit, overlap: float, request: Request, effort: Effort | None = None
) -> tuple[Plan, dict[str, tuple[int, float]]]:
    """The better plan of the two camera orientations, and frames and seconds of each.

    Fewer frames win, then less time. `effort` covers both searches together.
    """
    effort, plans = effort or Effort(request.effort_s), {}
    for way in ("portrait", "landscape"):
        with effort.part(1 / 2):
            plans[way] = make_plan(mounted(kit, way), overlap, request, effort)
    best = min(plans.values(), key=lambda plan: (plan.budget.frames, plan.budget.seconds))
    return best, {way: (plan.budget.frames, plan.budget.seconds) for way, plan in plans.items()}


def must_meet_limits(plan: Plan, request: Request) -> None:
    """Raise WorldError, with the nearest possible plan, if this one exceeds the allowed frames or time."""
    within: list[tuple[str, Callable[[Plan], bool]]] = []
    if (frames := request.max_frames) is not None:
        within.append((f"{frames} frame{'s' if frames > 1 else ''}", lambda made: made.budget.frames <= frames))
    if (seconds := request.max_seconds) is not None:
        within.append((f"{seconds:g} seconds", lambda made: made.budget.seconds <= seconds))
    for limit, fits in within:
        if not fits(plan):
            raise WorldError(
                f"{plan.budget.frames} frames and {plan.budget.seconds:.0f} seconds are needed at "
                f"{100 * plan.overlap:.0f} % overlap, more than the {limit} allowed. {_nearest(plan, request, fits)}"
            )


def _nearest(plan: Plan, request: Request, fits: Callable[[Plan], bool]) -> str:
    """The largest overlap below the plan's, in whole per cent, that fits in rows; in words.

    A search for each overlap would take many times the allowed effort.
    """
    low, high = 0, round(100 * plan.overlap)
    free = replace(request, max_frames=None, max_seconds=None, arrangement=Arrangement.ROWS)
    searched = request.arrangement is Arrangement.FEWEST
    best: Plan | None = None
    while low < high:
        middle = (low + high) // 2
        made = make_plan(plan.kit, middle / 100, free)
        if fits(made):
            low, best = middle + 1, made
        else:
            high = middle
    if best is None:
        return "No overlap is small enough. Use a shorter focal length or a smaller region."
    return (
        f"An overlap of {100 * best.overlap:.0f} % would do{' in rows' if searched else ''} "
        f"({best.budget.frames} frames, {best.budget.seconds:.0f} seconds)."
    )


def must_reach(kit: Kit, overlap: float, request: Request, wanted_per_degree: float) -> None:
    """Raise WorldError if the kit resolves less than `wanted_per_degree`; name focal lengths that reach it.

    Raises InputError for a resolution that is not positive.
    """
    if wanted_per_degree <= 0:
        raise InputError("The resolution must be more than zero pixels per degree.")
    reached = pixels_per_degree(kit.field(overlap))
    if reached >= wanted_per_degree:
        return
    choices = choices_for(kit, overlap, replace(request, max_frames=None, max_seconds=None), wanted_per_degree)
    listed = "; ".join(f"{c.focal_length_mm:g} mm {c.mounted}: {c.frames} frames" for c in choices)
    needed_mm = kit.lens.focal_length_mm * wanted_per_degree / reached
    raise WorldError(
        f"This kit resolves {reached:.1f} pixels per degree, not the {wanted_per_degree:.1f} requested. It takes a "
        f"focal length of {needed_mm:.0f} mm or more" + (f" ({listed})." if listed else ".")
    )
