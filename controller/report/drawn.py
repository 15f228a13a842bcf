"""The drawings of a page, if they can be drawn: matplotlib is an optional part of the program.

A page without it has all its words and tables, and one sentence in place of the drawings. Nothing fails for it.
"""

from collections.abc import Collection, Sequence

from markupsafe import Markup

from controller.calibration.finding import Plot
from controller.extras import line_to_add
from controller.planning.plan import Plan
from controller.report.lanes import Stretch


def run_drawings(plan: Plan, missing: Collection[int], parts: Sequence[Stretch], proof: str) -> dict[str, Markup] | None:
    """The drawings of a run's report by name; None if matplotlib is missing or cannot be loaded."""
    try:
        from controller.report.run_drawings import draw_run  # noqa: PLC0415
    except ImportError:
        return None
    return draw_run(plan, missing, parts, proof)


def plot_drawings(plots: Sequence[Plot]) -> list[Markup] | None:
    """The plots of a calibration, drawn; None if matplotlib is missing or cannot be loaded."""
    try:
        from controller.report.calibration_plots import draw_plots  # noqa: PLC0415
    except ImportError:
        return None
    return draw_plots(plots)


def undrawn_sentence() -> str:
    """Why a page has no drawings, and what to do."""
    return (
        "This page has no drawings: the part that draws them is not installed, or cannot be loaded. "
        f"Add it with: {line_to_add('report')}"
    )
