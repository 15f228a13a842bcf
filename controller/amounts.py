"""Times, counts, sizes and angles as people read them."""

from controller.sizes import size_text


def duration(seconds: float) -> str:
    """Seconds as h:mm:ss, or m:ss under an hour."""
    whole = round(seconds)
    hours, rest = divmod(whole, 3600)
    minutes, rest = divmod(rest, 60)
    return f"{hours}:{minutes:02}:{rest:02}" if hours else f"{minutes}:{rest:02}"


def moment(seconds: float) -> str:
    """A time within a run as h:mm:ss.s or m:ss.s, to a tenth of a second."""
    tenths = round(seconds * 10)
    return f"{duration(tenths // 10)}.{tenths % 10}"


def counted(number: int, thing: str) -> str:
    """A number of things: 1 frame, 2 frames."""
    return f"{number} {thing}" if number == 1 else f"{number} {thing}s"


def storage(megabytes: float) -> str:
    """Megabytes in a suitable unit."""
    return size_text(megabytes * 1e6)


def degrees(value: float) -> str:
    """A direction's angle to a tenth of a degree, without minus zero."""
    return f"{round(value, 1) + 0.0:.1f}°"
