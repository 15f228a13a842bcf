"""A calibration as one HTML page that needs no network, in the style of the report."""

from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import Any

from matplotlib.figure import Figure

from controller.calibration.finding import Finding, Plot, coverage_factor
from controller.files import write_whole
from controller.report.drawing import DESK_IN, PHONE_IN, SERIES, drawing, page_environment
from controller.report.own_pages import is_own_page

# Beside their colours: in the red look all have one hue.
DASHES = ("-", "--", "-.", ":", (0, (6, 1, 1, 1, 1, 1)), (0, (1, 3)))
MARKERS = "os^Dvx"


def write_calibration_page(path: Path, finding: Finding, stored: str, *, replace: bool = False) -> None:
    """Write the page; `replace` overwrites an older one. `stored` says where the record went.

    Raises StorageFailed.
    """
    axis = f" of the {finding.axis.value} axis" if finding.axis is not None else ""
    text = (
        page_environment()
        .get_template("calibration.html")
        .render(
            heading=f"Calibration: {finding.kind.value}{axis}",
            finding=finding,
            stored=stored,
            rows=_rows(finding),
            plots=[
                (plot, drawing(partial(plot_picture, plot), f"plot-{number}", f"{plot.heading}. {plot.caption}"))
                for number, plot in enumerate(finding.plots)
            ],
        )
    )
    write_whole(path, text, replace=replace, ours=is_own_page)


def _rows(finding: Finding) -> Sequence[tuple[str, str, str, str]]:
    """Name, value, standard uncertainty and half-width of the 95 % interval, for people."""
    factor = coverage_factor(finding.degrees_of_freedom)
    rows = []
    for name, value in finding.values.items():
        u = finding.uncertainties.get(f"u_{name}")
        said = ("–", "–") if u is None else (f"{u:.2g}", f"±\u00a0{factor * u:.2g}")
        rows.append((name, f"{value:.7g}", *said))
    return rows


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
