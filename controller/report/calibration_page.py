"""A calibration as one HTML page that needs no network, in the style of the report."""

from collections.abc import Sequence
from pathlib import Path

from matplotlib.figure import Figure

from controller.calibration.finding import Finding, Plot, coverage_factor
from controller.files import write_whole
from controller.report.drawing import page_environment, svg
from controller.report.own_pages import is_own_page

# Colours that colour-blind eyes can tell apart (M. Okabe and K. Ito, "Color Universal Design", 2008).
COLOURS = ("#0072b2", "#e69f00", "#009e73", "#cc79a7", "#56b4e9", "#d55e00")


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
            plots=[(plot, svg(plot_picture(plot))) for plot in finding.plots],
        )
    )
    write_whole(path, text, replace=replace, ours=is_own_page)


def _rows(finding: Finding) -> Sequence[tuple[str, str, str, str]]:
    """Name, value, standard uncertainty and half-width of the 95 % interval, for people."""
    factor = coverage_factor(finding.degrees_of_freedom)
    rows = []
    for name, value in finding.values.items():
        u = finding.uncertainties.get(f"u_{name}")
        said = ("–", "–") if u is None else (f"{u:.2g}", f"± {factor * u:.2g}")
        rows.append((name, f"{value:.7g}", *said))
    return rows


def plot_picture(plot: Plot) -> Figure:
    """The plot as a figure."""
    figure = Figure(figsize=(11, 3.2), layout="constrained")
    axes = figure.add_subplot(xlabel=plot.x_label, ylabel=plot.y_label)
    for number, series in enumerate(plot.series):
        style = {"linewidth": 1.4} if series.line else {"linestyle": "none", "marker": "o", "markersize": 4}
        axes.plot(series.x, series.y, label=series.label, color=COLOURS[number % len(COLOURS)], **style)
    if len(plot.series) > 1:
        axes.legend(frameon=False)
    axes.grid(color="#dddddd", linewidth=0.6)
    axes.set_axisbelow(True)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    return figure
