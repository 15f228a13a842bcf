"""The proof for every projection and region, against dense sampling; and what plans of such regions promise."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from enum import Enum, auto
from functools import cache

import numpy as np
import pytest

from controller.errors import InputError
from controller.kit.kit import Kit
from controller.optics.field import Field, make_field
from controller.optics.projection import Projection
from controller.planning.cores import Cores, cores_at
from controller.planning.coverage import prove_coverage
from controller.planning.directions import Array
from controller.planning.make import make_plan
from controller.planning.pose import poses_of_rows
from controller.planning.region import SPHERE, Bounds
from controller.planning.request import Arrangement, RegionKind, Request
from controller.planning.rows import Task, fewest_rows
from tests.controller.planning.oracle import evenly_spread, least_frames
from tests.end_to_end.whole_runs import kit_of

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
CURVED = (Projection.EQUIDISTANT, Projection.EQUISOLID)  # edges of many caps, which take their time
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
    GIVEN_UP = auto()  # where an interval would have to be cut in two; never a gap that is taken for covered


def verdict(cores: Cores, region: Bounds) -> Verdict:
    """Hold the proof against samples, and a gap against the place it names."""
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
    assert grown.holds(worst).all() or region.yaw_width_deg < 360  # at an edge of yaw, within rounding of it
    return Verdict.GAP


def direction(yaw_deg: float, pitch_deg: float) -> Array:
    yaw, pitch = np.radians([yaw_deg, pitch_deg])
    return np.array([[np.cos(pitch) * np.cos(yaw), np.cos(pitch) * np.sin(yaw), np.sin(pitch)]])


@pytest.mark.long
@pytest.mark.parametrize("region", REGIONS, ids=str)
@pytest.mark.parametrize(("projection", "focal"), LENSES)
def test_the_proof_and_the_sky_agree(projection: Projection, focal: float, region: Bounds) -> None:
    """More than a thousand plans in all: rows shaken by little and by much, with frames too many or too few."""
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
    """Every frame moved anyhow by less than the margin; and all that hold the worst place moved away from it by more."""
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
    """The frames that hold a place, each turned the shorter way until it holds it no more."""
    moved = aims.copy()
    for i in np.flatnonzero(holding):
        ways = [aims[i] + np.arange(0, 90, 0.05)[:, None] * axis for axis in AXES]
        gone = [cores_at(field, *way.T).margin_rad(place[None])[0] < 0 for way in ways]
        shortest = min((number for number, way in enumerate(gone) if way.any()), key=lambda number: gone[number].argmax())
        moved[i] = ways[shortest][gone[shortest].argmax()]
    return moved


@pytest.mark.parametrize(
    "request_",
    [
        Request(region=RegionKind.BAND, pitch_from_deg=-20, pitch_to_deg=35),
        Request(region=RegionKind.WINDOW, pitch_from_deg=-20, pitch_to_deg=35, yaw_from_deg=340, yaw_to_deg=70),
        Request(region=RegionKind.WINDOW, pitch_from_deg=-20, pitch_to_deg=90, yaw_from_deg=300, yaw_to_deg=190),
        Request(region=RegionKind.WINDOW, pitch_from_deg=-2, pitch_to_deg=3, yaw_from_deg=355, yaw_to_deg=2),
        Request(region=RegionKind.SINGLE_ROW, row_pitch_deg=30),
        Request(floor_deg=-60),
        Request(nadir_by_hand=True),
    ],
    ids=lambda asked: f"{asked.region} {asked.pitch_from_deg} {asked.floor_deg} {asked.nadir_by_hand}",
)
def test_plans_of_regions_cover_them(request_: Request) -> None:
    kit = kit_of(24.0)
    plan = make_plan(kit, 0.3, request_)
    assert plan.proof.covered
    yaw, pitch = np.array([f.yaw_deg for f in plan.frames]), np.array([f.pitch_deg for f in plan.frames])
    held = SAMPLES[plan.region.bounds().holds(SAMPLES)]
    lowest_deg = np.degrees(cores_at(kit.field(0.3), yaw, pitch).best_margin_rad(held).min())
    assert lowest_deg >= plan.proof.worst_margin_deg - 1e-6
    needed = [i for i in range(len(yaw)) if len(yaw) > 1]
    refused = 0
    for i in needed:
        rest = cores_at(kit.field(0.3), np.delete(yaw, i), np.delete(pitch, i))
        refused += not prove_coverage(rest, plan.region.bounds()).covered
    assert refused >= 0.8 * len(needed)  # nearly every frame is needed


def test_a_region_smaller_than_a_frame_is_one_frame() -> None:
    asked = Request(region=RegionKind.WINDOW, pitch_from_deg=-2, pitch_to_deg=3, yaw_from_deg=355, yaw_to_deg=2)
    (frame,) = make_plan(kit_of(24.0), 0.3, asked).frames
    assert abs(frame.yaw_deg + 1.5) < 1e-9


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        (Request(region=RegionKind.BAND, pitch_from_deg=30, pitch_to_deg=10), "nothing lies between"),
        (Request(region=RegionKind.BAND, pitch_from_deg=30), "needs --pitch-to"),
        (Request(region=RegionKind.BAND, pitch_from_deg=-50, pitch_to_deg=-40, floor_deg=-30), "leaves nothing"),
        (
            Request(region=RegionKind.WINDOW, pitch_from_deg=0, pitch_to_deg=9, yaw_from_deg=5, yaw_to_deg=5),
            "the same",
        ),
    ],
)
def test_impossible_regions(asked: Request, words: str) -> None:
    with pytest.raises(InputError, match=words):
        make_plan(kit_of(24.0), 0.3, asked)


def limited(low: float, high: float) -> Kit:
    return kit_of(24.0, head={"tilt": {"min_deg": low, "max_deg": high}})


def test_what_the_head_cannot_reach_is_named() -> None:
    plan = make_plan(limited(-45, 95), 0.3)
    low = np.radians(plan.region.pitch_from_deg)
    assert plan.region.pitch_from_deg > -80
    assert plan.region.unreachable_sr == pytest.approx(2 * np.pi * (1 + np.sin(low)), abs=1e-5)  # a cap's area
    assert all(frame.pitch_deg >= -45 for frame in plan.frames)
    assert plan.proof.covered


def test_seventy_millimetres_in_one_row() -> None:
    """30 % takes 13.65 degrees, so a whole turn takes 27 frames (common practice, no source)."""
    plan = make_plan(kit_of(70.0), 0.3, Request(region=RegionKind.SINGLE_ROW))
    assert len(plan.frames) == 27
    assert 13 < 360 / 27 <= 13.65


@pytest.mark.parametrize(
    ("projection", "focal", "extra"),
    [
        ("equidistant", 8.0, {}),
        ("equisolid", 8.0, {"image_circle_mm": 23.0}),
        ("stereographic", 12.0, {}),
        ("orthographic", 12.0, {}),
    ],
)
def test_fisheyes_are_planned(projection: str, focal: float, extra: dict[str, float]) -> None:
    kit = kit_of(focal, lens={"projection": projection, **extra})
    plan = make_plan(kit, 0.3)
    assert plan.proof.covered
    assert plan.links.connected
    yaw, pitch = np.array([f.yaw_deg for f in plan.frames]), np.array([f.pitch_deg for f in plan.frames])
    lowest_deg = np.degrees(cores_at(kit.field(0.3), yaw, pitch).best_margin_rad(SAMPLES).min())
    assert plan.proof.worst_margin_deg - 1e-3 <= lowest_deg


@pytest.mark.parametrize(("low", "high"), [(-60.0, 170.0), (-20.0, 200.0)])
def test_free_frames_stay_where_the_head_can_turn(low: float, high: float) -> None:
    kit = kit_of(14.0, head={"pan": {"min_deg": low, "max_deg": high}})
    rows, free = (
        make_plan(kit, 0.3, Request(arrangement=arrangement, effort_s=8.0))
        for arrangement in (Arrangement.ROWS, Arrangement.FEWEST)
    )
    assert len(free.frames) < len(rows.frames)
    assert free.proof.covered
    assert free.region.unreachable_sr == rows.region.unreachable_sr > 0
    for frame in free.frames:
        assert low <= frame.yaw_deg <= high or low <= frame.yaw_deg - 360 <= high


@pytest.mark.long
@pytest.mark.parametrize(("focal", "effort_s"), [(12.0, 4.0), (16.0, 6.0), (24.0, 10.0)])
def test_free_frames_are_fewer_but_no_fewer_than_caps(focal: float, effort_s: float) -> None:
    """Never more than rows, and never below the bound for the caps around the cores (L. Fejes Toth, as in oracle.py)."""
    kit = kit_of(focal)
    field = kit.field(0.3)
    rows, free = (
        make_plan(kit, 0.3, Request(arrangement=arrangement, effort_s=effort_s))
        for arrangement in (Arrangement.ROWS, Arrangement.FEWEST)
    )
    least = least_frames(field.core_half_width_rad, field.core_half_height_rad)
    assert least <= len(free.frames) < len(rows.frames)
    assert free.proof.covered
