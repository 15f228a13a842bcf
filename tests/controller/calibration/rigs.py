"""Simulated rigs with known truth, one procedure each: does the truth lie within the stated 95 % interval?"""

from __future__ import annotations

import math

import numpy as np

from controller.calibration.backlash import from_approaches
from controller.calibration.finding import coverage_factor
from controller.calibration.level import from_tilts
from controller.calibration.steps import from_angles, from_turns
from controller.calibration.verify import from_visits
from sim.lean import leaned
from tests.controller.calibration.given import readings

Rng = np.random.Generator


def holds(value: float, u: float, freedom: float, truth: float) -> bool:
    return abs(value - truth) <= coverage_factor(freedom) * u


def angles_of_part_of_a_turn(rng: Rng, seed: int) -> list[bool]:
    """An instrument read over part of a turn; in every other set its error is stated, and differs from row to row."""
    rate, count = rng.uniform(50, 600), int(rng.integers(6, 30))
    steps = np.round(np.sort(rng.uniform(-120, 120, count)) * rate)
    u = 10 ** rng.uniform(-3, -1) * rng.uniform(0.5, 2, count) if seed % 2 else np.full(count, 10 ** rng.uniform(-3, -1))
    offset = rng.normal(0, 5)
    read = offset + steps / rate + rng.normal(0, u)
    columns = {"u_angle_deg": u} if seed % 2 else {}
    found = from_angles(readings(None, commanded_steps=steps, angle_deg=read, **columns), rate * rng.uniform(0.85, 1.15))
    return [
        holds(found.steps_per_degree, found.u_steps_per_degree, found.freedom, rate),
        holds(found.offset_deg, found.u_offset_deg, found.freedom, offset),
    ]


def angles_of_a_turn_without_wave(rng: Rng, seed: int) -> list[bool]:
    return whole_turn(rng, seed, amplitude=0.0)


def angles_of_a_turn_with_a_wave(rng: Rng, seed: int) -> list[bool]:
    """A once-per-turn error anywhere from nothing to fifteen times the scatter."""
    return whole_turn(rng, seed, amplitude=float(rng.uniform(0, 15)))


def whole_turn(rng: Rng, seed: int, amplitude: float) -> list[bool]:
    rate, count, scatter = rng.uniform(50, 600), int(rng.integers(12, 37)), 10 ** rng.uniform(-3, -1)
    steps = np.round(np.linspace(0, 360, count) * rate)
    true = steps / rate
    read = true + amplitude * scatter * np.cos(np.radians(true - rng.uniform(0, 360))) + rng.normal(0, scatter, count)
    found = from_angles(readings(None, commanded_steps=steps, angle_deg=read), rate, scatter if seed % 2 else None)
    return [holds(found.steps_per_degree, found.u_steps_per_degree, found.freedom, rate)]


def whole_turns(rng: Rng, seed: int) -> list[bool]:
    """Each end of a turn is nudged on to the mark, with an error of aim, and stands on a whole step."""
    rate, rows, aim = rng.uniform(50, 600), int(rng.integers(3, 9)), 10 ** rng.uniform(-2.5, -1)
    turns = rng.integers(1, 4, rows).astype(float)
    begin, error = rng.uniform(0, 1000, rows), rng.normal(0, aim, (2, rows))
    steps = np.round(begin + rate * (360 * turns + error[1])) - np.round(begin + rate * error[0])
    found = from_turns(readings(None, turns=turns, steps=steps), rate, aim if seed % 2 else None)
    return [holds(found.steps_per_degree, found.u_steps_per_degree, found.freedom, rate)]


def play(rng: Rng, seed: int) -> list[bool]:
    size, scatter = rng.uniform(0, 0.3), 10 ** rng.uniform(-3, -1.5)
    targets, times = int(rng.integers(3, 9)), int(rng.integers(3, 7))
    places = np.repeat(rng.uniform(0, 360, targets).round(1), 2 * times)
    up = np.tile(np.repeat([True, False], times), targets)
    measured = places + np.where(up, -size / 2, size / 2) + 0.05 * np.sin(np.radians(places))
    measured += rng.normal(0, scatter, len(places))
    words = ["up" if each else "down" for each in up]
    found = from_approaches(readings(words, target_deg=places, measured_deg=measured))
    return [holds(found.mean_reversal_deg, found.u_mean_reversal_deg, found.freedom, -size)]


def lean(rng: Rng, seed: int) -> list[bool]:
    size, toward, scatter = rng.uniform(0, 3), rng.uniform(0, 360), 10 ** rng.uniform(-2.5, -1)
    yaws = np.linspace(0, 360, int(rng.integers(6, 17)), endpoint=False)
    read = np.array([leaned(float(yaw), 0.0, size, toward)[1] for yaw in yaws])
    read += rng.normal(0, 1) + rng.normal(0, scatter, len(yaws))
    found = from_tilts(readings(None, yaw_deg=yaws, reading_deg=read), scatter if seed % 2 else None)
    to_0 = math.degrees(math.asin(math.sin(math.radians(size)) * math.cos(math.radians(toward))))
    off = (found.toward_deg - toward + 180) % 360 - 180
    return [
        holds(found.lean_deg, found.u_lean_deg, found.freedom, size),
        holds(off, found.u_toward_deg, found.freedom, 0.0),
        holds(found.lean_to_0_deg, found.u_lean_to_0_deg, found.freedom, to_0),
    ]


def repeatability(rng: Rng, seed: int) -> list[bool]:
    """Misses alike in all directions: the mean distance is s sqrt(pi/2), its variance s^2 (2 - pi/2) (Rayleigh)."""
    scatter, times, count = 10 ** rng.uniform(-3, -1.5), int(rng.integers(8, 31)), int(rng.integers(3, 7))
    poses = np.column_stack([rng.uniform(0, 360, count), rng.uniform(-60, 60, count)])
    targets = np.repeat(poses, times, axis=0)
    miss = rng.normal(0, scatter, targets.shape) + np.repeat(rng.normal(0, 0.05, poses.shape), times, axis=0)
    yaw, pitch = targets[:, 0], targets[:, 1]
    found = from_visits(
        readings(
            None,
            target_yaw_deg=yaw,
            target_pitch_deg=pitch,
            yaw_deg=yaw + miss[:, 0] / np.cos(np.radians(pitch)),
            pitch_deg=pitch + miss[:, 1],
        )
    )
    truth = scatter * (math.sqrt(math.pi / 2) + 3 * math.sqrt(2 - math.pi / 2))
    return [holds(found.pooled_repeatability_deg, found.u_pooled_repeatability_deg, found.freedom, truth)]
