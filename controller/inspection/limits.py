"""The limits by which frames and links are judged: each with its default, its unit and its reason."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, fields

from controller.errors import InputError
from controller.numerals import number_in
from controller.quantity import plain, quoted


def limit(default: float, least: float, most: float, unit: str, why: str) -> float:
    """A limit of the table below, with the range in which it can be set."""
    value: float = field(default=default, metadata={"least": least, "most": most, "unit": unit, "why": why})
    return value


@dataclass(frozen=True, slots=True)
class Limits:
    """All limits. Our own choices from simulated sets, no source."""

    points: float = limit(
        12, 6, 200, "points", "Fewer good points make a link weak. Wrong points agree by chance in a few."
    )
    rms_px: float = limit(3.0, 0.2, 50, "px", "More misfit of the points makes a link weak. A good lens reaches 0.5 px.")
    turned_deg: float = limit(0.12, 0.01, 10, "°", "A frame turned further from its pose than this is reported.")
    detail: float = limit(
        0.8,
        0.05,
        0.95,
        "share",
        "A frame that shows less of its neighbours' detail is soft or has moved. Sound frames show 0.85 to 1.2, a disc "
        "of blur of 3 px leaves 0.75, a motion of 4 px 0.7.",
    )
    moved: float = limit(
        0.22,
        0.05,
        0.9,
        "share",
        "A blurred frame has moved if this share of its loss depends on the direction. Motion shows 0.25 to 0.6, "
        "defocus up to 0.2.",
    )
    brighter_ev: float = limit(0.4, 0.05, 4, "EV", "A larger step of brightness against the neighbours is reported.")
    step_ev: float = limit(
        1.0, 0.2, 4, "EV", "A step of the bracket may be off by so much: a JPEG's tones are not exact."
    )
    clipped: float = limit(0.02, 0.0, 1, "share", "More clipped picture in every exposure is reported.")
    differs: float = limit(0.02, 0.001, 1, "share", "More of an overlap that differs is reported: people, cars, leaves.")


def limits_from(settings: Iterable[str]) -> Limits:
    """The limits with settings like "detail=0.4". Raises InputError."""
    known = {each.name: each for each in fields(Limits)}
    changed: dict[str, float] = {}
    for setting in settings:
        name, _, text = setting.partition("=")
        each = known.get(name.strip())
        if each is None:
            raise InputError(f"{quoted(setting)} names no limit. Write NAME=VALUE; the names: {', '.join(known)}.")
        least, most = each.metadata["least"], each.metadata["most"]
        value = number_in(text)
        if value is None or not least <= value <= most:
            right = f"a number from {plain(least)} to {plain(most)} ({each.metadata['unit']})"
            raise InputError(f"{quoted(setting)} cannot be used. Write {each.name}= and {right}.")
        changed[each.name] = value
    return Limits(**changed)


def limit_lines() -> Iterator[str]:
    """Each limit with its default, its range and its reason."""
    for each in fields(Limits):
        about = each.metadata
        yield f"{each.name}={each.default:g}  {about['least']:g} to {about['most']:g} {about['unit']}. {about['why']}"
