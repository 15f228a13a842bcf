"""A calibration as one HTML page that needs no network, in the style of the report."""

from collections.abc import Sequence
from pathlib import Path

from controller.calibration.finding import Finding, coverage_factor
from controller.files import write_whole
from controller.report.drawn import plot_drawings, undrawn_sentence
from controller.report.own_pages import is_own_page
from controller.report.page_template import page_environment


def write_calibration_page(path: Path, finding: Finding, stored: str, *, replace: bool = False) -> None:
    """Write the page; `replace` overwrites an older one. `stored` says where the record went.

    Raises StorageFailed.
    """
    axis = f" of the {finding.axis.value} axis" if finding.axis is not None else ""
    drawings = plot_drawings(finding.plots)
    text = (
        page_environment()
        .get_template("calibration.html")
        .render(
            heading=f"Calibration: {finding.kind.value}{axis}",
            finding=finding,
            stored=stored,
            rows=_rows(finding),
            plots=list(zip(finding.plots, drawings, strict=True)) if drawings is not None else [],
            undrawn=undrawn_sentence() if drawings is None else "",
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
