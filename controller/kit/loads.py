"""What a load demands of motors, gears and tripod: statics, and the torque balance of one axis.

Estimates for choosing parts. They ignore flexible legs, soft ground, gusts and worn gears.
"""

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from controller.errors import InputError
from controller.kit.kit import Axis

GRAVITY_M_S2 = 9.80665  # standard gravity, 3rd CGPM 1901
AIR_KG_M3 = 1.225  # ISO 2533:1975, at sea level and 15 °C


@dataclass(frozen=True, slots=True)
class Motor:
    """A motor by its maker's curve: torque in N m at rising speeds in rpm, beginning at rest (holding torque)."""

    curve: tuple[tuple[float, float], ...]
    rotor_kg_m2: float
    efficiency: float

    def __post_init__(self) -> None:
        speeds = [rpm for rpm, _ in self.curve]
        if not speeds or speeds[0] != 0 or any(b <= a for a, b in pairwise(speeds)):
            raise InputError("The torque curve must begin at 0 rpm (holding torque) and its speeds must rise.")

    def torque_nm(self, rpm: float) -> float:
        """Torque in N m at a speed, between the points of the curve. Raises InputError past its end."""
        if rpm > self.curve[-1][0]:
            raise InputError(f"The torque curve ends at {self.curve[-1][0]:g} rpm, but the axis needs {rpm:.0f} rpm.")
        speeds_rpm, torques_nm = zip(*self.curve, strict=True)
        return float(np.interp(rpm, speeds_rpm, torques_nm))


@dataclass(frozen=True, slots=True)
class Need:
    """The demands of one axis: torques in N m (at the axis unless the name says motor), ramps in deg/s²."""

    acceleration_nm: float
    imbalance_nm: float
    motor_rpm: float
    motor_needs_nm: float
    motor_has_nm: float
    microstep_nm: float
    fastest_accel_deg_s2: float

    @property
    def margin(self) -> float:
        """The motor's torque as a multiple of the torque needed."""
        return self.motor_has_nm / self.motor_needs_nm if self.motor_needs_nm else math.inf


def inertia_kg_m2(mass_kg: float, sides_m: tuple[float, float], offset_m: float) -> float:
    """Inertia of a uniform box about an axis along its third side, `offset_m` from its centre: m (a² + b²) / 12 + m
    d².
    """
    return mass_kg * ((sides_m[0] ** 2 + sides_m[1] ** 2) / 12 + offset_m**2)


def axis_need(axis: Axis, motor: Motor, inertia: float, imbalance_nm: float, margin: float) -> Need:
    """Torque balance of one axis; `inertia` in kg m², `margin` must remain at the fastest ramp. Raises InputError.

    Motor's torque = (I α + T) / (g η) + J g α: the rotor (J) turns g times as fast, so it feels g times the ramp. One
    microstep's torque is holding torque × sin(90° / N), at the axis × g η (Faulhaber technical note "Microstepping Myths
    and Realities", Table 1). Under a larger load the axis lags by more than a microstep.
    """
    geared, gear = axis.gear_ratio * motor.efficiency, axis.gear_ratio
    alpha = math.radians(axis.max_accel_deg_s2)
    rpm = axis.max_speed_deg_s * gear / 6
    has, at_motor = motor.torque_nm(rpm), inertia / geared + motor.rotor_kg_m2 * gear
    spare = has / margin - imbalance_nm / geared
    return Need(
        acceleration_nm=inertia * alpha,
        imbalance_nm=imbalance_nm,
        motor_rpm=rpm,
        motor_needs_nm=imbalance_nm / geared + at_motor * alpha,
        motor_has_nm=has,
        microstep_nm=motor.curve[0][1] * math.sin(math.pi / 2 / axis.microsteps) * geared,
        fastest_accel_deg_s2=max(0.0, math.degrees(spare / at_motor)) if at_motor else math.inf,
    )


@dataclass(frozen=True, slots=True)
class Stand:
    """A tripod and the wind on it: m, m², m/s; `offset_m` is the distance of the centre of mass from the middle."""

    mass_kg: float
    feet_radius_m: float
    height_m: float
    area_m2: float
    wind_m_s: float
    offset_m: float = 0.0
    legs: int = 3
    drag: float = 1.2

    @property
    def edge_m(self) -> float:
        """Horizontal distance from the centre of mass to the nearest line between two feet: R cos(π / n) - o."""
        return self.feet_radius_m * math.cos(math.pi / self.legs) - self.offset_m

    @property
    def tips_at_n(self) -> float:
        """The horizontal force in newtons, at the height of the load, that lifts a foot: m g ρ / h; 0 if it falls by
        itself.
        """
        return max(0.0, self.mass_kg * GRAVITY_M_S2 * self.edge_m / self.height_m)

    def wind_n(self) -> float:
        """Force of steady wind in newtons: ½ ρ v² A c."""
        return AIR_KG_M3 / 2 * self.wind_m_s**2 * self.area_m2 * self.drag

    def tips_at_wind_m_s(self) -> float:
        """The steady wind in m/s that lifts a foot; infinite without area."""
        pressed = AIR_KG_M3 / 2 * self.area_m2 * self.drag
        return math.sqrt(self.tips_at_n / pressed) if pressed else math.inf


def margin_words(margin: float) -> str:
    """A margin in words. Two is the trade's usual least for steppers (common practice, no source)."""
    if margin < 1:
        return "not enough"
    if margin < 1.5:
        return "too little to rely on"
    return "small" if margin < 2 else "the usual margin or more, by this estimate"
