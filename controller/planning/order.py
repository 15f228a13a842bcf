"""The order of shooting: row by row from the zenith down, each row begun where the last one ended."""

from controller.planning.plan import Frame
from controller.planning.rows import Row


def snake(rows: list[Row]) -> tuple[Frame, ...]:
    """Frames of complete `rows`, top row first, turning to the right and to the left in turn.

    No frame lies beyond a full turn, so the cables never wind up.
    """
    frames: list[Frame] = []
    to_the_right = True
    yaw_deg = 0.0
    for number, row in enumerate(sorted(rows, key=lambda row: -row.pitch_deg)):
        # Angles from the whole turn, never by adding steps: so the row closes without an error.
        # A frame that fills a row by itself stays at the yaw where the head is.
        yaws = [360.0 * i / row.count for i in range(row.count)] if row.count > 1 else [yaw_deg]
        for yaw_deg in yaws if to_the_right else reversed(yaws):
            frames.append(Frame(id=len(frames), row=number, yaw_deg=yaw_deg, pitch_deg=row.pitch_deg))
        if row.count > 1:
            to_the_right = not to_the_right
    return tuple(frames)
