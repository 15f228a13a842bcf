"""Everything that follows from a kit, each figure with its source."""

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from datetime import datetime
from typing import Any

from controller.calibration.records import Record
from controller.calibration.validity import State, calibrated, fresh
from controller.kit import exposing
from controller.kit.focus import CIRCLE_PIXELS, UNKNOWN, circle_mm, focus_of
from controller.kit.kit import Axis, Kit
from controller.kit.own_head import GEARING, example_words, examples_of_head
from controller.kit.provenance import Source, Sources, source_words, weakest
from controller.program.neighbour import NeighbourMove, neighbour_move
from controller.report.ramp_words import damping_words, swing_keys, swing_words


@dataclass(frozen=True, slots=True)
class Derived:
    """One derived quantity: its name, its value with its unit, how it is derived, and the sources of its keys."""

    what: str
    value: str
    how: str
    sources: Sources = field(default_factory=dict)

    def text(self, width: int) -> str:
        """One line for people, with values in one column."""
        why = "; ".join(part for part in (self.how, source_words(self.sources)) if part)
        return f"{self.what:{width}}  {self.value}" + (f"  ({why})" if why else "")

    def as_json(self) -> dict[str, Any]:
        """For other programs. `source` is the least reliable of `sources`, None for anything that is not a figure."""
        return asdict(self) | {"source": weakest(self.sources.values()) if self.sources else None}


class _Lines(list[Derived]):
    """The lines of one kit."""

    def __init__(self, kit: Kit) -> None:
        super().__init__()
        self.kit = kit

    def add(self, what: str, value: str, how: str, *keys: str) -> None:
        """Add a line that depends on these dotted keys; keys without a value in the kit are not counted."""
        self.append(
            Derived(what, value, how, {key: self.kit.source(key) for key in keys if _value(self.kit, key) is not None})
        )

    def chosen(self, key: str) -> str:
        """A choice of the kit in words, with a note if it is the program's default."""
        note = " by default" if self.kit.source(key) is Source.EXAMPLE else ""
        return f"{_value(self.kit, key)}{note}"


def _value(kit: Kit, key: str) -> Any:
    value: Any = kit
    for name in key.split("."):
        value = getattr(value, name)
    return value


def figures_of(plain: Kit, records: Sequence[Record], now: datetime) -> list[Derived]:
    """Everything that follows from a kit and its calibration at `now`, and how."""
    lines = _Lines(calibrated(plain, records, now))
    _camera_lines(lines)
    _exposure_lines(lines)
    _head_lines(lines)
    _power_lines(lines)
    return [*lines, *_calibration_lines(plain, records, now), *_example_lines(lines.kit)]


def _camera_lines(lines: _Lines) -> None:
    kit = lines.kit
    field, sensor = kit.field(0.0), ("camera.sensor_width_mm", "camera.sensor_height_mm")
    whole, pixel_deg = field.whole, math.degrees(field.pixel_rad)
    lines.add("sensor as mounted", f"{field.width_mm:.2f} x {field.height_mm:.2f} mm",
              f"mounted {lines.chosen('camera.mounted')}", *sensor)  # fmt: skip
    circle = ""
    if kit.lens.image_circle_mm is not None and field.circle_rad is not None:
        circle = f", image circle {_degrees(2 * field.circle_rad)} across"
    lines.add(
        "field of view",
        f"{_degrees(whole.left + whole.right)} x {_degrees(whole.bottom + whole.top)}",
        f"{lines.chosen('lens.projection')} at {field.focal_length_mm:g} mm{circle}",
        *sensor, "lens.focal_length_mm", "lens.image_circle_mm",
    )  # fmt: skip
    pixel = ("camera.sensor_width_mm", "camera.pixels_wide", "lens.focal_length_mm")
    lines.add("a pixel at the middle", f"{pixel_deg:.4f}°, {1 / pixel_deg:.1f} pixels per degree",
              "pixel size over focal length", *pixel)  # fmt: skip
    focus = focus_of(kit)
    if focus is None:
        lines.append(Derived("focus at", UNKNOWN, ""))
        return
    lines.add(
        "focus at", focus.text(),
        f"hyperfocal f²/(N c) + f at f/{kit.exposure.f_number:g} with a blur c of {CIRCLE_PIXELS} pixels, "
        f"{1000 * circle_mm(kit):.1f} µm; from half of it on",
        *pixel, "exposure.f_number",
    )  # fmt: skip


def _exposure_lines(lines: _Lines) -> None:
    kit = lines.kit
    exposure = kit.exposure
    how = "shutter_seconds x 2^bracket_ev" if len(exposure.bracket_ev) > 1 else ""
    lines.add("exposures of a frame", exposing.times_text(exposure), how,
              "exposure.shutter_seconds")  # fmt: skip
    if not exposure.bulb and max(exposure.times_s) >= exposing.NIGHT_S:
        lines.add("the camera's longest", exposing.seconds_text(exposure.longest_timed_s),
                  "longer ones need bulb", "exposure.longest_timed_s")  # fmt: skip
    noise = exposing.noise_text(kit)
    if noise is not None:
        keys = ["exposure.noise_reduction"] + ["exposure.noise_reduction_from_s"] * exposure.noise_reduction
        lines.add("noise reduction", noise, "", *keys)
    lines.add("the camera needs", f"{exposure.ready_ms:g} ms between exposures, {exposure.release_lag_ms:g} ms to open",
              "ready_ms, release_lag_ms", "exposure.ready_ms", "exposure.release_lag_ms")  # fmt: skip
    if exposure.file_megabytes is None:
        guess: Sources = {"exposure.file_megabytes": Source.EXAMPLE}
        lines.append(Derived("a photograph", f"{kit.file_megabytes():.1f} MB", "1.5 bytes a pixel", guess))
    else:
        lines.add("a photograph", f"{kit.file_megabytes():.1f} MB", "", "exposure.file_megabytes")


def _head_lines(lines: _Lines) -> None:
    kit = lines.kit
    head, pixel_deg = kit.head, math.degrees(kit.field(0.0).pixel_rad)
    for name, axis in (("pan", head.pan), ("tilt", head.tilt)):
        _axis_lines(lines, name, axis, pixel_deg)
    _arrival_lines(lines)
    rates = [key for name, axis in (("pan", head.pan), ("tilt", head.tilt)) for key in _rate_keys(name, axis)]
    lines.add("a pose may be off by", f"{head.pointing_error_deg():.3f}°",
              "half a step, 5 % of a full step, and the level", *rates, "head.level_error_deg")  # fmt: skip


def _arrival_lines(lines: _Lines) -> None:
    """How long a move to the next frame takes, and how long the camera then swings."""
    kit, head = lines.kit, lines.kit.head
    if head.settle_ms is not None:
        lines.add("wait after a move", f"{head.settle_ms / 1000:.2f} s", "settle_ms", "head.settle_ms")
        return
    keys = (*swing_keys(head), "head.ring_hz_within", "head.ring_damping_within")
    known = (
        f"swings at {swing_words(head)}, known to {100 * head.ring_hz_within:.3g} %; damping "
        f"{damping_words(head)}, known to {100 * head.ring_damping_within:.3g} %"
    )
    plain = neighbour_move(kit, shaped=False)
    if kit.board.shapes_ramps:
        shaped = neighbour_move(kit, shaped=True)
        how = f"shaped ramps take {shaped.shaper_s:.2f} s longer; {known}"
        lines.add("to the next frame", _arrival_text(shaped), how, *keys, "board.shapes_ramps")
    lines.add("the same, plain ramps" if kit.board.shapes_ramps else "to the next frame", _arrival_text(plain),
              "" if kit.board.shapes_ramps else known, *keys, "head.pan.max_accel_deg_s2")  # fmt: skip


def _arrival_text(move: NeighbourMove) -> str:
    return f"{move.degrees:.1f}° in {move.turning_s:.2f} s, then {move.wait_s:.2f} s until it is still"


def _rate_keys(name: str, axis: Axis) -> tuple[str, ...]:
    """The keys on which the steps per degree of an axis depend."""
    keys = GEARING if axis.measured_steps_per_degree is None else ("measured_steps_per_degree",)
    return tuple(f"head.{name}.{key}" for key in keys)


def _axis_lines(lines: _Lines, name: str, axis: Axis, pixel_deg: float) -> None:
    rate, keys = axis.steps_per_degree, _rate_keys(name, axis)
    how = f"{axis.full_steps_per_turn} x {axis.microsteps} x {axis.gear_ratio:g} / 360"
    if axis.measured_steps_per_degree is not None:
        how = f"by the gearing it would be {axis.nominal_steps_per_degree:.3f}"
    lines.add(f"{name}: steps per degree", f"{rate:.3f}", how, *keys)
    lines.add(
        f"{name}: a step", f"{1 / rate:.4f}°, {1 / rate / pixel_deg:.2f} pixels", "one over steps per degree", *keys
    )
    play = f"head.{name}.backlash_deg"
    if lines.kit.source(play) is Source.EXAMPLE:
        lines.append(Derived(f"{name}: play taken up", "none", "not known: neither stated nor measured"))
    else:
        lines.add(
            f"{name}: play taken up", f"{axis.backlash_deg:.3f}°", "every frame is approached with growing angle", play
        )
    lines.add(f"{name}: turns", f"{axis.min_deg:g}° to {axis.max_deg:g}°, at most {axis.max_speed_deg_s:g}°/s", "",
              *(f"head.{name}.{key}" for key in ("min_deg", "max_deg", "max_speed_deg_s")))  # fmt: skip


def _power_lines(lines: _Lines) -> None:
    power = lines.kit.power
    lines.add("power", f"{power.head_watts:g} W for the head, {power.camera_watts:g} W for the camera", "",
              "power.head_watts", "power.camera_watts")  # fmt: skip
    if power.battery_watt_hours is None:
        lines.append(Derived("battery", "not known: battery_watt_hours is not stated", ""))
    else:
        lines.add("battery", f"{power.battery_watt_hours:g} Wh when full", "", "power.battery_watt_hours")


def _degrees(angle_rad: float) -> str:
    return f"{math.degrees(angle_rad):.2f}°"


STATE_WORDS = {State.PRESENT: "fresh", State.STALE: "stale", State.MISSING: "missing"}


def _calibration_lines(plain: Kit, records: Sequence[Record], now: datetime) -> list[Derived]:
    standings = fresh(plain, records, now)
    return [Derived("calibration", standing.sentence, STATE_WORDS[standing.state]) for standing in standings]


def _example_lines(kit: Kit) -> list[Derived]:
    """What keeps this program from moving a real head with the kit."""
    words = example_words(kit)
    if words is None:
        return []
    keys = [f"{table}.{key}" for table, names in examples_of_head(kit).items() for key in names]
    text = f"not stated, so this program moves no real head. State {words}."
    return [Derived("your head", text, "", dict.fromkeys(keys, Source.EXAMPLE))]
