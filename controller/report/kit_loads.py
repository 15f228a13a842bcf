"""What a load requires of motors and tripod, each answer with its formula."""

import math
from dataclasses import dataclass

from controller.kit.kit import Axis, Head
from controller.kit.loads import GRAVITY_M_S2, Motor, Need, Stand, axis_need, inertia_kg_m2, margin_words
from controller.report.kit_figures import Derived

MOST_ACCEL_DEG_S2 = 3600  # the largest that a kit may state
CAUTION = (
    "These are estimates from the numbers you gave. The load limits in the handbooks of head, tripod, motor and camera "
    "rule, and so do local rules; weigh, tether and try at low speed first, and keep people from under the camera."
)


@dataclass(frozen=True, slots=True)
class Load:
    """The options' figures; every length is in the unit of its name, `curve` in rpm and N m."""

    mass_kg: float
    length_mm: float
    height_mm: float
    tilt_offset_mm: float
    pan_offset_mm: float
    curve: tuple[tuple[float, float], ...]
    rotor_g_cm2: float
    gear_efficiency: float
    total_kg: float
    feet_radius_mm: float
    wind_height_mm: float
    area_m2: float
    wind_m_s: float
    margin: float


def load_lines(head: Head, load: Load) -> list[Derived]:
    """Torques, ramps, reaction and tipping."""
    motor = Motor(load.curve, load.rotor_g_cm2 * 1e-7, load.gear_efficiency)
    sides_m = (load.length_mm / 1e3, load.height_mm / 1e3)
    weight_n, lean = load.mass_kg * GRAVITY_M_S2, math.radians(head.level_error_deg + head.lean_deg)
    lines: list[Derived] = []
    reaction_nm = []
    # A level tilt axis carries its full imbalance; the pan axis only as far as it leans.
    for name, axis, offset_mm, share in (
        ("pan", head.pan, load.pan_offset_mm, math.sin(lean)),
        ("tilt", head.tilt, load.tilt_offset_mm, 1.0),
    ):
        inertia = inertia_kg_m2(load.mass_kg, sides_m, offset_mm / 1e3)
        need = axis_need(axis, motor, inertia, weight_n * offset_mm / 1e3 * share, load.margin)
        lines += _axis_lines(name, axis, need, load.margin)
        reaction_nm.append(need.acceleration_nm)
    return lines + _stand_lines(load, *reaction_nm)


def _axis_lines(name: str, axis: Axis, need: Need, margin: float) -> list[Derived]:
    late = "above" if need.imbalance_nm > need.microstep_nm else "below"
    return [
        Derived(f"{name}: torque to accelerate", f"{need.acceleration_nm:.3f} N m", "I α, I = m (a² + b²) / 12 + m d²"),
        Derived(
            f"{name}: torque of imbalance", f"{need.imbalance_nm:.3f} N m", "m g d, for pan times the sine of its lean"
        ),
        Derived(
            f"{name}: motor", f"needs {need.motor_needs_nm:.4f} N m and has {need.motor_has_nm:.4f} N m at "
            f"{need.motor_rpm:.0f} rpm, {need.margin:.1f} times: {margin_words(need.margin)}",
            "(I α + T) / (g η) + J g α",
        ),
        Derived(
            f"{name}: one microstep's torque", f"{need.microstep_nm:.3f} N m, the imbalance is {late} it",
            f"holding torque × sin(90° / {axis.microsteps}) × g η",
        ),
        Derived(
            f"{name}: fastest ramp that leaves {margin:g} times", f"{_ramp(need.fastest_accel_deg_s2)} "
            f"(the kit has {axis.max_accel_deg_s2:g}°/s²)", "(M / margin - T / (g η)) / (I / (g η) + J g), "
            "by torque alone: gears, mounts and ringing may bear far less",
        ),
    ]  # fmt: skip


def _ramp(accel_deg_s2: float) -> str:
    """A ramp, at most what a kit may state: torque alone would allow more than any mount withstands."""
    return f"{accel_deg_s2:.0f}°/s²" if accel_deg_s2 < MOST_ACCEL_DEG_S2 else f"more than {MOST_ACCEL_DEG_S2:g}°/s²"


def _tipping_words(margin: float) -> str:
    """Gusts push with the square of their speed: a gust of 1.4 times the given wind has twice its force (arithmetic)."""
    if margin < 1:
        return "a foot lifts"
    return "too little for gusts" if margin < 2 else "gusts of 1.4 times this wind are counted in, stronger ones are not"


def _stand_lines(load: Load, pan_nm: float, tilt_nm: float) -> list[Derived]:
    stand = Stand(
        mass_kg=load.total_kg,
        feet_radius_m=load.feet_radius_mm / 1e3,
        height_m=load.wind_height_mm / 1e3,
        area_m2=load.area_m2,
        wind_m_s=load.wind_m_s,
        offset_m=load.mass_kg / load.total_kg * math.hypot(load.pan_offset_mm, load.tilt_offset_mm) / 1e3,
    )
    pushed_n = stand.wind_n() + tilt_nm / stand.height_m
    margin = stand.tips_at_n / pushed_n if pushed_n else math.inf
    return [
        Derived("tripod: twisted by pan", f"{pan_nm:.3f} N m", "I α, the reaction to the ramp"),
        Derived("tripod: rocked by tilt", f"{tilt_nm:.3f} N m", "I α, the reaction to the ramp"),
        Derived("tripod: a foot lifts at", f"{stand.tips_at_n:.2f} N", "m g (R cos(π / 3) - o) / h, three legs"),
        Derived("tripod: pushed by", f"{pushed_n:.2f} N, {margin:.1f} times to spare: {_tipping_words(margin)}",
             "½ ρ v² A c + tilt's reaction / h, c = 1.2"),
        Derived("tripod: wind that lifts a foot", f"{stand.tips_at_wind_m_s():.1f} m/s", "√(2 F / (ρ A c)), steady wind"),
    ]  # fmt: skip
