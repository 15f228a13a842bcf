"""The proof for every projection and region, on plans spoiled at random."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from enum import Enum, auto
from functools import cache

import numpy as np
import pytest

from controller.optics.field import Field, make_field
from controller.optics.projection import Projection
from controller.planning.cores import Cores, cores_at
from controller.planning.coverage import prove_coverage
from controller.planning.directions import Array
from controller.planning.region import SPHERE, Bounds
from controller.planning.row_poses import poses_of_rows
from controller.planning.rows import Task, fewest_rows
from tests.controller.planning.oracle import evenly_spread

REGIONS = [
    SPHERE,
    Bounds(-30, 40),
    Bounds(-90, 20),
    Bounds(-20, 35, 340, 90),
    Bounds(-20, 90, 300, 250),
    Bounds(10, 60, 20, 30),
]
LENSES = [(kind, focal) for kind, focal in zip(Projection, (14.0, 12.0, 12.0, 12.0, 14.0), strict=True)]
SAMPLES = evenly_spread(4_000)
CURVED = (Projection.EQUIDISTANT, Projection.EQUISOLID)  # edges of many caps, which take time
ROUNDING = 1e-6


@cache
def planned(projection: Projection, focal: float, region: Bounds) -> tuple[Field, Array]:
    """A lens and the aims (n, 2) of complete rows that cover the region."""
    field = make_field(projection=projection, focal_length_mm=focal, size_mm=(24, 36), pixels=(4000, 6000), overlap=0.3)
    task = Task(field, region)
    return field, np.array([(pose.yaw_deg, pose.pitch_deg) for pose in poses_of_rows(fewest_rows(task), task)])


class Verdict(Enum):
    COVERED = auto()
    GAP = auto()
    GIVEN_UP = auto()  # an interval would have to be split in two; a gap never counts as covered


def verdict(cores: Cores, region: Bounds) -> Verdict:
    """Compare the proof with samples, and a gap with the direction that it names."""
    proof = prove_coverage(cores, region)
    lowest = np.degrees(cores.best_margin_rad(SAMPLES[region.holds(SAMPLES)]).min())
    if proof.covered:
        assert lowest >= proof.worst_margin_deg - ROUNDING
        return Verdict.COVERED
    worst = direction(proof.worst_yaw_deg, proof.worst_pitch_deg)
    margin_deg = float(np.degrees(cores.best_margin_rad(worst)[0]))
    if margin_deg > ROUNDING:
        assert proof.worst_margin_deg == 0
        assert lowest > 0
        return Verdict.GIVEN_UP
    assert margin_deg == pytest.approx(proof.worst_margin_deg, abs=ROUNDING)
    assert margin_deg <= lowest + ROUNDING
    grown = replace(region, pitch_from_deg=region.pitch_from_deg - 1e-6, pitch_to_deg=region.pitch_to_deg + 1e-6)
    assert grown.holds(worst).all() or region.yaw_width_deg < 360  # at an edge of yaw, within rounding
    return Verdict.GAP


def direction(yaw_deg: float, pitch_deg: float) -> Array:
    yaw, pitch = np.radians([yaw_deg, pitch_deg])
    return np.array([[np.cos(pitch) * np.cos(yaw), np.cos(pitch) * np.sin(yaw), np.sin(pitch)]])


@pytest.mark.long
@pytest.mark.parametrize("region", REGIONS, ids=str)
@pytest.mark.parametrize(("projection", "focal"), LENSES)
def test_the_proof_and_the_sky_agree(projection: Projection, focal: float, region: Bounds) -> None:
    """More than a thousand plans in all: rows shaken slightly and strongly, with frames too many or too few."""
    field, aims = planned(projection, focal, region)
    random = np.random.default_rng(REGIONS.index(region) + 10 * list(Projection).index(projection))
    verdicts = Counter[Verdict]()
    plans = 8 if projection in CURVED else 60
    for number in range(plans):
        shaken = aims + random.normal(scale=10.0 ** random.uniform(-2, 1.3), size=aims.shape)
        if number % 3 == 1:
            shaken = np.delete(shaken, random.integers(len(shaken)), axis=0)
        elif number % 3 == 2:
            more = aims[random.integers(len(aims), size=1 + len(aims) // 2)]
            shaken = np.vstack([shaken, more + random.normal(scale=6, size=more.shape)])
        if len(shaken):
            verdicts[verdict(cores_at(field, *shaken.T), region)] += 1
    assert verdicts[Verdict.GAP] or len(aims) == 1
    assert verdicts[Verdict.COVERED]
    assert verdicts[Verdict.GIVEN_UP] <= 1 + plans // 50


@pytest.mark.parametrize("region", [SPHERE, Bounds(-30, 40), Bounds(-20, 35, 340, 90)], ids=str)
@pytest.mark.parametrize(("projection", "focal"), LENSES)
def test_frames_may_be_off_by_the_margin_and_no_more(projection: Projection, focal: float, region: Bounds) -> None:
    """Every frame moved in any way by less than the margin; and all that contain the worst direction moved away by
    more.
    """
    field, aims = planned(projection, focal, region)
    proof = prove_coverage(cores_at(field, *aims.T), region)
    assert proof.covered
    random = np.random.default_rng(1)
    for _ in range(4):
        turn = random.uniform(0, 2 * np.pi, len(aims))
        off = 0.99 * proof.worst_margin_deg * np.stack([np.cos(turn), np.sin(turn)], axis=1) / np.sqrt(2)
        assert prove_coverage(cores_at(field, *(aims + off).T), region).covered
    worst = direction(proof.worst_yaw_deg, proof.worst_pitch_deg)
    holding = cores_at(field, *aims.T).margin_rad(worst)[0] >= 0
    moved = away(field, aims, holding, worst[0])
    assert cores_at(field, *moved.T).best_margin_rad(worst)[0] < 0
    assert verdict(cores_at(field, *moved.T), region) is Verdict.GAP


AXES = [np.array(step) for step in ((1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (-1, 1), (1, -1), (-1, -1))]


def away(field: Field, aims: Array, holding: Array, place: Array) -> Array:
    """The frames that contain a direction, each turned the shorter way until it no longer does."""
    moved = aims.copy()
    for i in np.flatnonzero(holding):
        ways = [aims[i] + np.arange(0, 90, 0.05)[:, None] * axis for axis in AXES]
        gone = [cores_at(field, *way.T).margin_rad(place[None])[0] < 0 for way in ways]
        shortest = min((number for number, way in enumerate(gone) if way.any()), key=lambda number: gone[number].argmax())
        moved[i] = ways[shortest][gone[shortest].argmax()]
    return moved
