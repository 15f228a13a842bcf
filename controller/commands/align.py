"""`fullturn align`: how the head is put up today against an earlier set, and a plan that lies on that set."""

from dataclasses import dataclass
from pathlib import Path

from controller.commands.match import match_command
from controller.errors import InputError
from controller.inspection.inspecting import adjust_set
from controller.inspection.same_spot import ZeroDifference, zero_difference
from controller.inspection.shifted import Unshifted
from controller.inspection.spot_of_today import Leftover, ToMove, base_of, leftover, must_be_upright, shot_at, to_move
from controller.inspection.todays import PlacedToday, place_today
from controller.picture_file import read_facts
from controller.places import must_be_free
from controller.planning.aligned import HeadBase, aligned_plan
from controller.planning.plan import Plan
from controller.planning.plan_file import is_own_plan, load_plan, save_plan
from controller.progress import Begin


@dataclass(frozen=True, slots=True)
class TodaysPhotograph:
    """Today's photograph and the pose of today's head at which it was shot, in degrees.

    `yaw_only`: the camera was taken off the head since then, so that a lean cannot be told from how it was put back.
    """

    path: Path
    yaw_deg: float = 0.0
    pitch_deg: float = 0.0
    yaw_only: bool = False


@dataclass(frozen=True, slots=True)
class NewPlan:
    """Where to write the aligned plan, and the plan to align (None: the session's own)."""

    out: Path
    plan: Path | None = None
    replace: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class AlignedSpot:
    """What the photograph says, and the plan for today with what is left; None without one."""

    found: PlacedToday
    difference: ZeroDifference
    base: HeadBase
    way: ToMove | Unshifted
    plan: Plan | None
    left: Leftover | None


def align_command(
    session: Path, folder: Path, today: TodaysPhotograph, new: NewPlan | None, begin: Begin, begin_search: Begin
) -> AlignedSpot:
    """Compare today's photograph with the pictures in the folder, and write a plan for today if `new` says where.

    `begin` and `begin_search` are told how many pieces of work the earlier pictures and the search are. Raises InputError
    with nothing written, and StorageFailed, before the work begins if the place for the plan is taken.
    """
    if new is not None:
        must_be_free(new.out, replace=new.replace, ours=is_own_plan)
    read_facts(today.path)  # before the long work: whether it is a photograph at all
    found = match_command(session, folder)
    plan = found.plan if new is None or new.plan is None else load_plan(new.plan)
    earlier = adjust_set(found, folder, begin)
    earlier.done.finish()
    placed = place_today(earlier, today.path, today.pitch_deg, begin_search)
    head = plan.kit.head
    photograph = shot_at(head, today.yaw_deg, today.pitch_deg, earlier.frames)
    difference = zero_difference(earlier.frames, earlier.adjusted, photograph, placed.placed)
    must_be_upright(difference, str(today.path), today.yaw_deg, today.pitch_deg)
    base = base_of(difference, head, earlier.adjusted.pan_scale, yaw_only=today.yaw_only)
    aligned = None
    if new is not None:
        try:
            aligned = aligned_plan(plan, base)
        except InputError as error:
            raise InputError(f"{new.out}: was not written. {error}") from None
        save_plan(aligned, new.out, replace=new.replace)
    left = None if aligned is None else leftover(plan, aligned, base)
    return AlignedSpot(placed, difference, base, to_move(placed.placed), aligned, left)
