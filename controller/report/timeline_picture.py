"""The timeline of a run, drawn."""

from collections.abc import Sequence

from matplotlib.figure import Figure

from controller.capture.words.run import STATES
from controller.report.drawing import DESK_IN
from controller.report.lanes import LANES, Stretch


def timeline_picture(parts: Sequence[Stretch], width_in: float = DESK_IN) -> Figure:
    """Draw time to the right, in minutes, with a lane for each kind of time."""
    figure = Figure(figsize=(width_in, 2.4), layout="constrained")
    axes = figure.add_subplot(xlabel="minutes since the start")
    for lane, (state, colour) in enumerate(LANES.items()):
        bars = [(part.start_s / 60, part.seconds / 60) for part in parts if part.state == state]
        axes.broken_barh(bars, (lane - 0.4, 0.8), facecolors=colour)
    axes.set_yticks(range(len(LANES)), [STATES[state].lane for state in LANES])
    axes.set_ylim(len(LANES) - 0.4, -0.6)
    axes.set_xlim(left=0)
    axes.grid(axis="x", linewidth=0.6)
    axes.set_axisbelow(True)
    for side in ("top", "right", "left"):
        axes.spines[side].set_visible(False)
    return figure
