"""The three drawings of a run's report."""

from collections.abc import Collection, Sequence
from functools import partial

from markupsafe import Markup

from controller.planning.plan import Plan
from controller.report.drawing import drawing
from controller.report.lanes import Stretch
from controller.report.sphere_picture import pole_picture, sphere_picture
from controller.report.timeline_picture import timeline_picture


def draw_run(plan: Plan, missing: Collection[int], parts: Sequence[Stretch], proof: str) -> dict[str, Markup]:
    """The sphere, the poles and the timeline by the names that the page gives them. `proof` is in words."""
    return {
        "sphere": drawing(partial(sphere_picture, plan, missing), "sphere", f"The sphere, unrolled. {proof}"),
        "poles": drawing(partial(pole_picture, plan, missing), "poles", "The sphere, seen toward each pole."),
        "timeline": drawing(
            partial(timeline_picture, parts), "timeline", "What the run did, and when. The table has the sums."
        ),
    }
