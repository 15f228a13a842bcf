"""The numbers of frames in a picture of the sphere. One that would touch another is left out, so that none collide."""

from collections.abc import Callable, Iterable, Sequence

from matplotlib.axes import Axes

from controller.planning.plan import Frame
from controller.report.drawing import PHONE_IN

Place = tuple[float, float]
DESK_PT, PHONE_PT = 8.0, 10.5  # at the size of a screen, 11 to 12 px
HIGH, WIDE, PADDING = 1.4, 0.7, 0.5  # a line, a digit, both paddings of its ground, in sizes of the font
POINTS_PER_IN, DRAWN = 72, 0.82  # the share of a figure's width that is drawn on
RIM_DEG = 9.0  # a number nearer to the edge would be cut
BLACK, WHITE = "#000000", "#ffffff"


def centred(yaw_deg: float) -> float:
    """The yaw from -180 up to 180 degrees, without 180 itself."""
    return (yaw_deg + 180) % 360 - 180


def inside_part(yaw_limits_deg: tuple[float, float]) -> Callable[[Frame], Place | None]:
    """The position of a number in the part of the unrolled sphere between two yaws; None outside of it."""
    left, right = yaw_limits_deg

    def place(frame: Frame) -> Place | None:
        yaw = centred(frame.yaw_deg)
        if not left <= yaw < right:
            return None
        return min(max(yaw, left + RIM_DEG), right - RIM_DEG), min(max(frame.pitch_deg, -84.0), 84.0)

    return place


def number_frames(
    axes: Axes, frames: Sequence[Frame], place: Callable[[Frame], Place | None], taken: Iterable[Place] = ()
) -> None:
    """Write each number at its place in degrees, unless another is there. `taken` are the places of larger ones."""
    font_pt, degrees_per_pt = _scale(axes)
    em = font_pt * degrees_per_pt
    boxes = [_box(at, 3, 1.6 * em) for at in taken]
    for frame in frames:
        at = place(frame)
        if at is None:
            continue
        box = _box(at, len(str(frame.id)), em)
        if any(box[0] < o[2] and o[0] < box[2] and box[1] < o[3] and o[1] < box[3] for o in boxes):
            continue
        boxes.append(box)
        ground = {"facecolor": f"{BLACK}99", "edgecolor": "none", "pad": 1.0}
        axes.text(*at, str(frame.id), color=WHITE, ha="center", va="center", fontsize=font_pt, clip_on=True, bbox=ground)


def _box(at: Place, digits: int, em: float) -> tuple[float, float, float, float]:
    """Left, low, right and high in degrees, for a font of `em` degrees."""
    wide, high = (WIDE * digits + PADDING) / 2 * em, HIGH / 2 * em
    return at[0] - wide, at[1] - high, at[0] + wide, at[1] + high


def _scale(axes: Axes) -> tuple[float, float]:
    """The size of the font in points, and the degrees of a point: roughly, since no figure is laid out before the end."""
    figure, place = axes.get_figure(root=True), axes.get_subplotspec()
    assert figure is not None
    assert place is not None
    width_in = figure.get_figwidth()
    left, right = axes.get_xlim()
    font_pt = PHONE_PT if width_in <= PHONE_IN else DESK_PT
    return font_pt, (right - left) / (width_in * POINTS_PER_IN * DRAWN / place.get_gridspec().ncols)
