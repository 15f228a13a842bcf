"""The plots of a calibration, drawn."""

from collections.abc import Sequence
from functools import partial
from typing import Any

from markupsafe import Markup
from matplotlib.figure import Figure

from controller.calibration.finding import Plot
from controller.report.colours import SERIES
from controller.report.drawing import DESK_IN, PHONE_IN, drawing

# Beside their colours: in the red look all have one hue.
DASHES = ("-", "--", "-.", ":", (0, (6, 1, 1, 1, 1, 1)), (0, (1, 3)))
MARKERS = "os^Dvx"


def draw_plots(plots: Sequence[Plot]) -> list[Markup]:
    """The plots as elements of a page."""
    return [
        drawing(partial(plot_picture, plot), f"plot-{number}", f"{plot.heading}. {plot.caption}")
        for number, plot in enumerate(plots)
    ]


def plot_picture(plot: Plot, width_in: float = DESK_IN) -> Figure:
    """The plot as a figure."""
    figure = Figure(figsize=(width_in, 3.2), layout="constrained")
    axes = figure.add_subplot(xlabel=plot.x_label, ylabel=plot.y_label)
    for number, series in enumerate(plot.series):
        kind = number % len(SERIES)
        style: dict[str, Any] = {"linewidth": 1.4, "linestyle": DASHES[kind]}
        if not series.line:
            style = {"linestyle": "none", "marker": MARKERS[kind], "markersize": 4}
        axes.plot(series.x, series.y, label=series.label, color=SERIES[kind], **style)
    if len(plot.series) > 1:
        if width_in <= PHONE_IN:  # inside it would hide the points
            figure.legend(frameon=False, loc="outside lower center", ncols=2)
        else:
            axes.legend(frameon=False)
    axes.grid(linewidth=0.6)
    axes.set_axisbelow(True)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    return figure
