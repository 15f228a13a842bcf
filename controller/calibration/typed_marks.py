"""The shift of a near mark against a far one, which the operator reads and types in step by step.

Common practice, no source: line up a near and a far mark, then turn the head until they are at the picture's edge.
"""

from dataclasses import dataclass

from controller.bounds import BOUNDS
from controller.calibration.parallax import far_mark_words
from controller.calibration.readings import ReadingsRefused
from controller.calibration.typed_readings import PersonAtHead


@dataclass(frozen=True, slots=True)
class TypedMarks:
    """Distances from the pan axis in mm, how far right of the middle the marks were turned, and their shift there."""

    near_mm: float
    far_mm: float | None
    far_at_least_mm: float | None
    angle_deg: float
    shift_px: float


def asked_marks(operator: PersonAtHead, focal_px: float) -> TypedMarks:
    """Ask for everything that a typed parallax needs; `focal_px` is the focal length in pixels.

    Raises ReadingsRefused if an answer is left out.
    """
    operator.tell("Level the camera. First bring the lens over the pan axis sideways with `fullturn calibrate centre`.")
    operator.tell("Put up a near mark, no farther away than the nearest thing that you will photograph.")
    operator.tell(f"Choose a far mark, {far_mark_words(focal_px)}. A nearer one will do if you know its distance.")
    operator.tell("Line both up in the middle of the picture.")
    near = _needed(operator, "From the pan axis to the near mark, mm", "near_mm")
    far = operator.number("From the pan axis to the far mark, mm (empty: not known)", bound=BOUNDS["far_mm"])
    least = None if far is not None else _needed(operator, "How far is it at least, mm", "far_at_least_mm")
    operator.tell("Turn the head to the left until both marks are near the right edge, and take a photograph.")
    angle = _needed(operator, "By how many degrees was the head turned to the left", "angle_deg")
    operator.tell("Look at the photograph at full size.")
    shift = _needed(operator, "How many pixels right of the far mark is the near one (left of it: minus)", "place_px")
    return TypedMarks(near, far, least, angle, shift)


def _needed(operator: PersonAtHead, question: str, name: str) -> float:
    """The number typed in, within the bound of that name. Raises ReadingsRefused if there is none."""
    value = operator.number(question, bound=BOUNDS[name])
    if value is None:
        raise ReadingsRefused(f"{question}: nothing was typed in. Type a number to get a result.")
    return value
