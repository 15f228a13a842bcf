"""Proof and sampling must agree on thousands of plans, good and spoiled.

Each verdict is checked by what would refute it. "Not covered" must name a direction that no frame contains. "Covered"
must survive a dense independent search, and its worst direction must have the worst margin.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.controller.planning import oracle
from tests.controller.planning.examples import Example, cube, planned

SPREAD = oracle.evenly_spread(3000)


def agree(example: Example) -> bool:
    """Compare proof and oracle. Returns whether the sphere is covered."""
    proof, planes = example.proof(), example.planes()
    place = oracle.direction(proof.worst_yaw_deg, proof.worst_pitch_deg)
    at_worst = oracle.margins_deg(planes, place)[0]
    assert at_worst == pytest.approx(proof.worst_margin_deg, abs=2e-5)
    if proof.covered:
        assert proof.worst_margin_deg > -2e-6
        assert oracle.quick_lowest(planes, SPREAD) > proof.worst_margin_deg - 2e-5
    else:
        assert at_worst < 0
    return proof.covered


def jittered(example: Example, rng: np.random.Generator, largest_deg: float) -> Example:
    """Every frame off by up to `largest_deg` in a random direction on the sphere."""
    away, bearing = (
        rng.uniform(0, largest_deg, len(example.yaw_deg)),
        rng.uniform(0, 2 * np.pi, len(example.yaw_deg)),
    )
    pitch = np.clip(example.pitch_deg + away * np.sin(bearing), -90, 90)
    narrowing = np.maximum(np.cos(np.radians(pitch)), 0.02)
    return Example(example.field, (example.yaw_deg + away * np.cos(bearing) / narrowing) % 360, pitch)


@pytest.mark.long
@pytest.mark.parametrize(
    ("example", "cases", "times_margin"),
    [
        pytest.param(cube(18.0, 17.0), 600, 3, id="cube with 1.6 degrees"),
        pytest.param(cube(18.0, 15.0), 250, 4, id="cube with 5.2 degrees"),
        pytest.param(cube(18.0, 17.9), 400, 3, id="cube with a fifth of a degree"),
        pytest.param(planned(14.0), 200, 6, id="16 frames"),
        pytest.param(planned(12.0), 100, 8, id="13 frames"),
        pytest.param(planned(18.0), 100, 6, id="22 frames"),
    ],
)
def test_jittered_plans(example: Example, cases: int, times_margin: float) -> None:
    rng = np.random.default_rng(cases)
    margin_deg = example.proof().worst_margin_deg
    covered = [agree(jittered(example, rng, margin_deg * rng.uniform(0, times_margin))) for _ in range(cases)]
    # both verdicts must have been tested
    assert 0.1 * cases < sum(covered) < 0.9 * cases


@pytest.mark.long
def test_frames_thrown_at_random() -> None:
    """Frames anywhere, so many that about half of the sets cover."""
    rng = np.random.default_rng(11)
    field = cube(18.0, 9.0).field
    covered = [
        agree(Example(field, rng.uniform(0, 360, n), np.degrees(np.arcsin(rng.uniform(-1, 1, n)))))
        for n in rng.integers(6, 26, size=200)
    ]
    assert 20 < sum(covered) < 180


def test_a_gap_smaller_than_any_sample() -> None:
    """A pinhole where three faces meet: closed, it passes; opened by a ten-thousandth of a degree, it is named."""
    for half_angle_deg, covers in ((45.0001, True), (44.9999, False)):
        assert agree(cube(18.0, float(18.0 / np.tan(np.radians(half_angle_deg))))) == covers
