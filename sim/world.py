"""The world of a scenario, for the whole run: a camera, a mechanism and weather that differ from the kit.

    [world]
    buffer_exposures = 4
    write_ms = 2500

Each key is in one table, with its range. Most keys are named like the field of the camera, head or axis that they set.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np

from sim.axis import AxisSpec
from sim.camera import CameraSpec
from sim.head import HeadSpec
from sim.torque import Drive

WorldValue = float | tuple[float, float]


@dataclass(frozen=True, slots=True)
class WorldKey:
    """One key: its sentence, its range, its unit, and the keys that must be stated with it."""

    says: str
    least: float
    most: float
    unit: str = ""
    whole: bool = False
    pair: bool = False
    needs: tuple[str, ...] = ()

    def mistake(self, value: object) -> str | None:
        """What is wrong with a value, None if nothing."""
        if not self.pair:
            return self._mistake_of_one(value)
        if not isinstance(value, list | tuple) or len(value) != len(("least", "most")):
            return "must be two numbers, the least and the most"
        if wrong := next((why for one in value if (why := self._mistake_of_one(one))), None):
            return wrong
        return None if value[0] < value[1] else "must begin with the least"

    def _mistake_of_one(self, value: object) -> str | None:
        if isinstance(value, bool) or not isinstance(value, int | float) or math.isnan(value):
            return "must be a number"
        if self.whole and not isinstance(value, int):
            return "must be a whole number"
        if self.least <= value <= self.most:
            return None
        return f"must be from {self.least:.10g} to {self.most:.10g} {self.unit}".rstrip()

    def text(self, value: WorldValue) -> str:
        """The sentence with this value in it."""
        return self.says.format(*(value if isinstance(value, tuple) else (value,)))


COUNT, TORQUE_NM = 1_000_000, 1000.0
MOST_DAMPING = 0.99  # above it nothing swings any more
MOTORS = ("holding_nm", "no_load_deg_s", "inertia_kg_m2")
KEYS: dict[str, WorldKey] = {
    # the camera
    "card_exposures": WorldKey("the card has room for {:.10g} exposures", 0, COUNT, whole=True),
    "battery_exposures": WorldKey("the camera's battery lasts for {:.10g} exposures", 0, COUNT, whole=True),
    "buffer_exposures": WorldKey(
        "the camera's buffer holds {:.10g} exposures", 1, COUNT, whole=True, needs=("write_ms",)
    ),
    "write_ms": WorldKey(
        "writing an exposure to the card takes {:.10g} ms", 0, 600_000, "ms", needs=("buffer_exposures",)
    ),
    "noise_reduction_s": WorldKey("the camera shoots a dark frame after exposures of {:.10g} s or more", 0, 3600, "s"),
    "misfire_share": WorldKey("the camera misses a share of {:.10g} of its releases", 0, 1),
    "lag_scatter_ms": WorldKey("the release lag varies by {:.10g} ms, at most by half of itself", 0, 5000, "ms"),
    "mirror_kick_deg_s": WorldKey("the mirror kicks the tilt axis by {:.10g}°/s", 0, 100, "°/s"),
    "bounce_ms": WorldKey("the sync contact bounces for {:.10g} ms", 0, 10_000, "ms"),
    # the weather
    "gusts_every_s": WorldKey("a gust comes every {:.10g} s on average", 0.5, 86_400, "s", needs=("gust_peak_deg",)),
    "gust_peak_deg": WorldKey("gusts shake the head by up to {:.10g}°", 0, 45, "°", needs=("gusts_every_s",)),
    # both axes
    "wobble_deg": WorldKey("each axis is off by up to {:.10g}° once per turn", 0, 10, "°"),
    "flag_scatter_deg": WorldKey("the switches at zero scatter by {:.10g}°", 0, 1, "°"),
    "play_deg": WorldKey("each axis has {:.10g}° of play", 0, 10, "°"),
    "jerk_deg_s3": WorldKey("the board limits the jerk of its ramps to {:.10g}°/s³", 1, 1e6, "°/s³"),
    "holding_nm": WorldKey("each motor holds {:.10g} Nm at its axis", 1e-3, TORQUE_NM, "Nm", needs=MOTORS),
    "no_load_deg_s": WorldKey("a motor without load reaches {:.10g}°/s", 0.1, 10_000, "°/s", needs=MOTORS),
    "inertia_kg_m2": WorldKey("the load has {:.10g} kg m² about each axis", 0, 100, "kg m²", needs=MOTORS),
    "imbalance_nm": WorldKey("the load is out of balance by {:.10g} Nm", 0, TORQUE_NM, "Nm", needs=MOTORS),
    # how the camera swings
    "ring_hz_share": WorldKey("the camera swings {:.10g} times as fast as the kit says", 0.1, 10),
    "ring_hz_zenith_share": WorldKey(
        "the camera swings {:.10g} times as fast at the zenith and the nadir as at the horizon", 0.1, 10
    ),
    "ring_damping_share": WorldKey("its swing is damped {:.10g} times as much as the kit says", 0.01, 100),
    "second_ring_hz": WorldKey("the camera has a second swing at {:.10g} Hz", 0.1, 1000, "Hz"),
    "second_ring_damping": WorldKey("the second swing has a damping ratio of {:.10g}", 0.001, 0.99,
                                    needs=("second_ring_hz",)),
    "second_ring_gain": WorldKey("the second swing takes part in {:.10g} of the motion", 0, 1,
                                 needs=("second_ring_hz",)),
    # the limit switches
    "pan_limits_deg": WorldKey("the limit switches of pan are at {:.10g}° and {:.10g}°", -3600, 3600, "°", pair=True),
    "tilt_limits_deg": WorldKey("the limit switches of tilt are at {:.10g}° and {:.10g}°", -3600, 3600, "°", pair=True),
}  # fmt: skip


def world_texts(world: Mapping[str, WorldValue]) -> list[str]:
    """The sentences of a world, one for each key."""
    return [KEYS[key].text(value) for key, value in world.items()]


def in_world(world: Mapping[str, WorldValue], camera: CameraSpec, head: HeadSpec) -> tuple[CameraSpec, HeadSpec]:
    """The camera and the head in this world."""
    head = _swinging(world, head)
    axes: dict[str, Any] = {}
    for name, axis in (("pan", head.pan), ("tilt", head.tilt)):
        stated = _of(AxisSpec, world) | ({"drive": _drive(world)} if "holding_nm" in world else {})
        if f"{name}_limits_deg" in world:
            stated["limits_deg"] = world[f"{name}_limits_deg"]
        axes[name] = replace(axis, **stated)
    return replace(camera, **_of(CameraSpec, world)), replace(head, **axes, **_of(HeadSpec, world))


def _swinging(world: Mapping[str, WorldValue], head: HeadSpec) -> HeadSpec:
    """The head, as its camera swings in this world."""
    faster, damped, upward = (
        _number(world, name, 1.0) for name in ("ring_hz_share", "ring_damping_share", "ring_hz_zenith_share")
    )
    if (faster, damped, upward) == (1.0, 1.0, 1.0):
        return head

    def ratio(damping: float | None) -> float | None:
        return None if damping is None else min(MOST_DAMPING, damping * damped)

    def rows(axis: AxisSpec) -> tuple[tuple[float, float], ...]:
        """The table over pitch, with rows where the share of the zenith has its corners."""
        pitches, hz = zip(*(axis.ring_over_pitch or ((0.0, axis.ring_hz or head.ring_hz),)), strict=True)
        corners = {-90.0, 0.0, 90.0} if upward != 1 else set()
        wanted = sorted({*pitches, *corners})
        shares = [faster * (1 + (upward - 1) * min(1.0, abs(pitch) / 90)) for pitch in wanted]
        return tuple(zip(wanted, (np.interp(wanted, pitches, hz) * shares).tolist(), strict=True))

    pan, tilt = (
        replace(axis, ring_over_pitch=rows(axis), ring_damping=ratio(axis.ring_damping)) for axis in (head.pan, head.tilt)
    )
    return replace(
        head,
        pan=pan,
        tilt=tilt,
        ring_damping=min(MOST_DAMPING, head.ring_damping * damped),
        second_ring_hz=head.second_ring_hz and head.second_ring_hz * faster,
        second_ring_damping=ratio(head.second_ring_damping),
    )


def _number(world: Mapping[str, WorldValue], key: str, default: float) -> float:
    value = world.get(key, default)
    assert not isinstance(value, tuple)
    return value


def _of(spec: type[CameraSpec | HeadSpec | AxisSpec | Drive], world: Mapping[str, WorldValue]) -> dict[str, Any]:
    names = {field.name for field in fields(spec)}
    return {key: value for key, value in world.items() if key in names}


def _drive(world: Mapping[str, WorldValue]) -> Drive:
    return Drive(**_of(Drive, world))
