"""Whether a kit's head is the user's own: an example may be planned for and rehearsed, but never moved."""

from controller.errors import InputError
from controller.kit.kit import Axis, Kit
from controller.kit.provenance import Source

GEARING = ("full_steps_per_turn", "microsteps", "gear_ratio")
MOTION = ("max_speed_deg_s", "max_accel_deg_s2", "min_deg", "max_deg")
CONSEQUENCE = "With another head's figures it turns at another speed, to other angles, past its cables' reach."


def examples_of_head(kit: Kit) -> dict[str, list[str]]:
    """The keys that are examples and must be stated before a real head moves, by table: `head.pan`, `head.tilt`.

    The three keys of the gearing are not needed if the steps per degree are stated or measured.
    """
    found = {}
    for name, axis in (("head.pan", kit.head.pan), ("head.tilt", kit.head.tilt)):
        keys = [key for key in _needed(axis) if kit.source(f"{name}.{key}") is Source.EXAMPLE]
        if keys:
            found[name] = keys
    return found


def _needed(axis: Axis) -> tuple[str, ...]:
    return MOTION if axis.measured_steps_per_degree is not None else GEARING + MOTION


def example_words(kit: Kit) -> str | None:
    """The required keys of the head that are examples, with their tables; None if there are none."""
    examples = examples_of_head(kit)
    if not examples:
        return None
    pan, tilt = examples.get("head.pan"), examples.get("head.tilt")
    if pan == tilt and pan is not None:
        return f"{', '.join(pan)} under [head.pan] and the same under [head.tilt]"
    return " and ".join(f"{', '.join(keys)} under [{table}]" for table, keys in examples.items())


def must_be_own_head(kit: Kit, name: str) -> None:
    """Refuse to move a real head with an example's figures. `name` is the file. Raises InputError."""
    words = example_words(kit)
    if words is not None:
        raise InputError(
            f"{name}: the head is an example, so this program moves no real head with it. Look these up in your head's "
            f"handbook and state them in the kit: {words}. {CONSEQUENCE}"
        )
