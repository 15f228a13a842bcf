"""Where to focus once for the whole set, so that everything from as near as possible to infinity is sharp."""

import math
from dataclasses import dataclass

from controller.kit.kit import Kit
from controller.optics.depth import hyperfocal_mm, sharp_mm

# A blur two pixels wide. The finest lines that a sensor resolves are two pixels apart (Nyquist), so a narrower blur loses
# nothing. For a blur of one pixel, focus at twice the distance.
CIRCLE_PIXELS = 2
UNKNOWN = "not known: state the aperture, f_number under [exposure]"


@dataclass(frozen=True, slots=True)
class Focus:
    """The exact hyperfocal distance; `at_m`, that distance rounded up; and the nearest distance sharp at that focus."""

    at_m: float
    nearest_m: float

    def text(self) -> str:
        """The focus as text for people."""
        return f"{distance_text(self.at_m)}; sharp from {distance_text(self.nearest_m)} to infinity"


def circle_mm(kit: Kit) -> float:
    """The widest blur that counts as sharp, in millimetres on the sensor."""
    return CIRCLE_PIXELS * kit.camera.sensor_width_mm / kit.camera.pixels_wide


def focus_of(kit: Kit) -> Focus | None:
    """Where to focus with the kit's lens and aperture; None if the aperture is not stated.

    Distances are rounded up to two digits, because infinity would be less than sharp with a nearer focus.
    """
    f_number = kit.exposure.f_number
    if f_number is None:
        return None
    focal_mm, circle = kit.lens.focal_length_mm, circle_mm(kit)
    exact_mm = hyperfocal_mm(focal_mm, f_number, circle)
    at_m = rounded_up(exact_mm / 1000)
    near_mm, _ = sharp_mm(at_m * 1000, focal_mm, f_number, circle)
    return Focus(at_m, rounded_up(near_mm / 1000))


def rounded_up(value: float) -> float:
    """A positive number rounded up to two significant digits."""
    digits = 1 - math.floor(math.log10(value))
    scaled = math.ceil(value * 10.0**digits - 1e-9)
    return round(scaled / 10.0**digits, max(digits, 0))


def distance_text(metres: float) -> str:
    """A distance for people: 0.85 m, 4.1 m, 120 m, 1.2 km."""
    if metres >= 1000:
        return f"{metres / 1000:g} km"
    return f"{metres:.2g} m" if metres < 10 else f"{metres:.0f} m"


def focus_sentence(kit: Kit) -> str:
    """Where to focus, or what is missing to compute it."""
    focus = focus_of(kit)
    if focus is None:
        return f"Where to focus is {UNKNOWN}."
    return (
        f"Focus at {focus.text()} (the hyperfocal distance at f/{kit.exposure.f_number:g}, for a blur of "
        f"{CIRCLE_PIXELS} pixels at most)."
    )
