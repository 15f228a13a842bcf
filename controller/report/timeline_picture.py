"""The timeline of a run, drawn."""

from collections.abc import Sequence

import numpy as np
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch
from matplotlib.path import Path

from controller.capture.words.run import STATES
from controller.report.drawing import DESK_IN
from controller.report.lanes import LANES, Stretch


def timeline_picture(parts: Sequence[Stretch], width_in: float = DESK_IN) -> Figure:
    """Draw time to the right, in minutes, with a lane for each kind of time."""
    figure = Figure(figsize=(width_in, 2.4), layout="constrained")
    axes = figure.add_subplot(xlabel="minutes since the start")
    for lane, (state, colour) in enumerate(LANES.items()):
        spans = [(part.start_s / 60, (part.start_s + part.seconds) / 60) for part in parts if part.state == state]
        if spans:
            axes.add_patch(PathPatch(_bars(spans, lane - 0.4, lane + 0.4), facecolor=colour, linewidth=0))
    axes.set_yticks(range(len(LANES)), [STATES[state].lane for state in LANES])
    axes.set_ylim(len(LANES) - 0.4, -0.6)
    axes.set_xlim(0, max((part.start_s + part.seconds for part in parts), default=0.0) / 60 or 1.0)
    axes.grid(axis="x", linewidth=0.6)
    axes.set_axisbelow(True)
    for side in ("top", "right", "left"):
        axes.spines[side].set_visible(False)
    return figure


def _bars(spans: Sequence[tuple[float, float]], low: float, high: float) -> Path:
    """Bars between two heights as one path: matplotlib draws it quicker than a thousand."""
    left, right = np.array(spans).T
    bottom, top = np.full_like(left, low), np.full_like(left, high)
    corners = np.stack([left, bottom, left, top, right, top, right, bottom], axis=1).reshape(-1, 4, 2)
    return Path.make_compound_path_from_polys(corners)
