"""The proof for every projection and region, compared with the definition of a core; and the promises of plans of
regions.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from controller.errors import InputError
from controller.kit.kit import Kit
from controller.optics.field import Field, make_field
from controller.optics.outline import core_outline
from controller.optics.projection import Projection
from controller.planning.cores import Cores, cores_at
from controller.planning.coverage import Proof, prove_coverage
from controller.planning.make import make_plan
from controller.planning.plan import Plan
from controller.planning.region import SPHERE, Bounds
from controller.planning.request import Arrangement, RegionKind, Request
from tests.controller.planning import oracle
from tests.controller.planning.counted import looks
from tests.controller.planning.definition import holding
from tests.controller.planning.oracle import Array
from tests.end_to_end.whole_runs import kit_of

REGIONS = {
    "sphere": SPHERE,
    "band": Bounds(-30, 40),
    "below": Bounds(-90, 20),
    "floor": Bounds(-55, 90),
    "window across zero": Bounds(-20, 35, 340, 90),
    "window wider than half a turn": Bounds(-20, 90, 300, 250),
    "small window": Bounds(10, 60, 20, 30),
}
FOCALS = dict(zip(Projection, (9.0, 10.0, 12.0, 8.0, 10.0), strict=True))
CURVED = {Projection.EQUIDISTANT, Projection.EQUISOLID}
SAMPLES = oracle.evenly_spread(4000)
SLIVER_DEG = 0.06  # what curved edges may lose (see the tests of outlines), plus a little for rounding


@cache
def field_of(projection: Projection, circle_mm: float | None = None) -> Field:
    return make_field(
        projection=projection,
        focal_length_mm=FOCALS[projection],
        size_mm=(24, 36),
        pixels=(4000, 6000),
        overlap=0.3,
        circle_mm=circle_mm,
    )


@dataclass(frozen=True)
class Case:
    """Frames anywhere, and the region that they should cover."""

    field: Field
    region: Bounds
    yaw_deg: Array
    pitch_deg: Array

    def cores(self) -> Cores:
        return cores_at(self.field, self.yaw_deg, self.pitch_deg)

    def without(self, frame: int) -> Case:
        return Case(self.field, self.region, np.delete(self.yaw_deg, frame), np.delete(self.pitch_deg, frame))

    def with_frame(self, yaw_deg: float, pitch_deg: float) -> Case:
        return Case(self.field, self.region, np.append(self.yaw_deg, yaw_deg), np.append(self.pitch_deg, pitch_deg))

    def holding(self, directions: Array, tolerance: float) -> Array:
        return holding(self.field, self.yaw_deg, self.pitch_deg, directions, tolerance)


def agreed(case: Case) -> Proof:
    """The proof, compared with the definition of a core.

    "Covered" must be true for every sample. "Not covered" must name a direction of the region that no core contains by
    more than the sliver that curved edges may lose.
    """
    proof = prove_coverage(case.cores(), case.region)
    place = oracle.direction(proof.worst_yaw_deg, proof.worst_pitch_deg)
    best_deg = float(np.degrees(case.cores().best_margin_rad(place)[0]))
    if proof.covered and case.field.projection in CURVED:
        assert best_deg > proof.worst_margin_deg - 3e-5  # a part of it may be lost
    else:
        assert best_deg == pytest.approx(proof.worst_margin_deg, abs=3e-5)
    if proof.covered:
        samples = SAMPLES[case.region.holds(SAMPLES)]
        assert case.holding(samples, -1e-9).all()
        assert np.degrees(case.cores().best_margin_rad(samples).min()) >= proof.worst_margin_deg - 3e-5
    else:
        assert proof.worst_margin_deg <= 0
        assert case.region.holds(place)[0] or on_edge(case.region, proof)
        given = np.radians(SLIVER_DEG) if case.field.projection in CURVED else 1e-6
        assert not case.holding(place, given).any()
    return proof


def on_edge(region: Bounds, proof: Proof) -> bool:
    """Whether the worst direction is on the region's edge, where rounding may put it outside."""
    yaws = region.yaw_from_deg, region.yaw_from_deg + region.yaw_width_deg
    sideways = [abs((proof.worst_yaw_deg - yaw + 180) % 360 - 180) for yaw in yaws]
    up = [abs(proof.worst_pitch_deg - pitch) for pitch in (region.pitch_from_deg, region.pitch_to_deg)]
    return min(sideways + up) < 1e-5


@pytest.mark.parametrize("region", REGIONS)
@pytest.mark.parametrize("projection", Projection)
def test_proof_and_definition_agree(projection: Projection, region: str) -> None:
    """A thousand plans in all: frames are added near each gap that the proof names, until there is none.

    Then single frames are removed. Proof and definition must agree on every one of these plans.
    """
    random = np.random.default_rng(list(Projection).index(projection) * 100 + list(REGIONS).index(region))
    bounds = REGIONS[region]
    verdicts: list[bool] = []
    curved = projection in CURVED
    while len(verdicts) < (9 if curved else 45):
        field = field_of(projection, None if random.uniform() < 0.5 else 20.0)
        case = Case(field, bounds, random.uniform(0, 360, 2), random.uniform(-60, 60, 2))
        proof = agreed(case)
        while not proof.covered:
            verdicts.append(False)
            off = random.uniform(-12, 12, 2)
            case = case.with_frame(proof.worst_yaw_deg + off[0], float(np.clip(proof.worst_pitch_deg + off[1], -90, 90)))
            proof = agreed(case)
        verdicts.append(True)
        if len(case.yaw_deg) > 1:
            verdicts += [agreed(case.without(i)).covered for i in range(min(len(case.yaw_deg), 3 if curved else 8))]
    assert 0.02 < np.mean(verdicts) < 0.98  # both verdicts must have been tested


PLANNED = {
    "band": Request(region=RegionKind.BAND, pitch_from_deg=-20, pitch_to_deg=35),
    "window across zero": Request(
        region=RegionKind.WINDOW, pitch_from_deg=-20, pitch_to_deg=35, yaw_from_deg=340, yaw_to_deg=70
    ),
    "window wider than half a turn": Request(
        region=RegionKind.WINDOW, pitch_from_deg=-20, pitch_to_deg=90, yaw_from_deg=300, yaw_to_deg=190
    ),
    "single row": Request(region=RegionKind.SINGLE_ROW, row_pitch_deg=20),
    "floor": Request(floor_deg=-60),
    "nadir by hand": Request(nadir_by_hand=True),
    "sphere": Request(),
}
KITS = {
    "rectilinear": kit_of(24.0),
    "equidistant": kit_of(15.0, lens={"projection": "equidistant"}),
    "equisolid in a circle": kit_of(8.0, lens={"projection": "equisolid", "image_circle_mm": 23.0}),
    "stereographic": kit_of(12.0, lens={"projection": "stereographic"}),
    "orthographic beyond its end": kit_of(12.0, lens={"projection": "orthographic"}),
    "equidistant of 200 degrees": kit_of(6.0, lens={"projection": "equidistant", "image_circle_mm": 20.94}),
}


@cache
def plan_of(kit: str, region: str) -> Plan:
    return make_plan(KITS[kit], 0.3, PLANNED[region])


def case_of(plan: Plan) -> Case:
    yaw, pitch = np.array([f.yaw_deg for f in plan.frames]), np.array([f.pitch_deg for f in plan.frames])
    return Case(plan.kit.field(plan.overlap), plan.region.bounds(), yaw, pitch)


@pytest.mark.parametrize("region", PLANNED)
@pytest.mark.parametrize("kit", KITS)
def test_plans_cover_their_region(kit: str, region: str) -> None:
    plan = plan_of(kit, region)
    assert plan.proof.covered
    assert agreed(case_of(plan)).covered
    assert plan.links.connected


@pytest.mark.parametrize("region", PLANNED)
@pytest.mark.parametrize("kit", ["rectilinear", "stereographic", "orthographic beyond its end"])
def test_a_plan_without_a_frame_that_it_needs_is_refused(kit: str, region: str) -> None:
    """A frame is needed if it alone contains some sample of the region, by the definition of a core."""
    case = case_of(plan_of(kit, region))
    samples = SAMPLES[case.region.holds(SAMPLES)]
    needed = 0
    for i in range(len(case.yaw_deg) if len(case.yaw_deg) > 1 else 0):
        spoiled = case.without(i)
        covered = agreed(spoiled).covered
        if (spoiled.holding(samples, -1e-9) == 0).any():
            needed += 1
            assert not covered
    assert needed > 0.5 * len(case.yaw_deg) or len(case.yaw_deg) == 1


def moved_away(cores: Cores, place: Array, angle_rad: float) -> Cores:
    """Each frame turned by `angle_rad` so that the edge nearest to `place` moves straight over it."""
    margins = cores.radii - np.arccos(np.clip(np.einsum("c,nejc->nej", place, cores.poles), -1, 1))
    each = np.arange(len(cores))
    edge = margins.max(axis=2).argmin(axis=1)
    pole = cores.poles[each, edge, margins[each, edge].argmax(axis=1)]
    axes = np.cross(place, pole)  # turned about it, a cap's pole moves away from the direction
    axes /= np.linalg.norm(axes, axis=1, keepdims=True)
    turns = Rotation.from_rotvec(axes * angle_rad).as_matrix()
    forward = np.einsum("nij,nj->ni", turns, cores.forward)
    return Cores(forward, np.einsum("nij,nekj->neki", turns, cores.poles), cores.radii, cores.reach_rad, cores.shrinks)


@pytest.mark.parametrize("region", ["sphere", "band", "window across zero", "window wider than half a turn", "floor"])
@pytest.mark.parametrize("kit", KITS)
def test_poses_off_by_less_than_the_margin_are_accepted_and_by_more_refused(kit: str, region: str) -> None:
    plan = plan_of(kit, region)
    case, proof = case_of(plan), plan.proof
    place = oracle.direction(proof.worst_at.yaw_deg, proof.worst_at.pitch_deg)[0]
    margin_rad = np.radians(proof.worst_margin_deg)
    # With unions of caps, it takes slightly more until none of an edge's caps contains the direction.
    sliver_rad = np.radians(0.5) if case.field.projection in CURVED else np.radians(1e-3)
    assert prove_coverage(moved_away(case.cores(), place, 0.98 * margin_rad - 1e-7), case.region).covered
    assert not prove_coverage(moved_away(case.cores(), place, 1.02 * margin_rad + sliver_rad), case.region).covered


@pytest.mark.parametrize(
    ("kit", "arrangement"),
    [
        *((kit, Arrangement.ROWS) for kit in KITS),
        *((kit, Arrangement.FEWEST) for kit in ("rectilinear", "stereographic")),
    ],
)
def test_no_plan_of_the_sphere_beats_the_bound_for_its_caps(kit: str, arrangement: Arrangement) -> None:
    """L. Fejes Toth, Lagerungen in der Ebene, auf der Kugel und im Raum, Springer 1953/1972.

    The cap passes through the core's farthest corner; a cap of half the sphere or more has no such bound.
    """
    if arrangement is Arrangement.FEWEST:
        plan = make_plan(KITS[kit], 0.3, Request(arrangement=arrangement), looks(200))
        assert len(plan.frames) <= len(plan_of(kit, "sphere").frames)
    else:
        plan = plan_of(kit, "sphere")
    reach_rad = core_outline(case_of(plan).field).reach_rad
    least = oracle.fejes_toth_count(reach_rad) if reach_rad < np.radians(89) else 2
    assert plan.proof.covered
    assert len(plan.frames) >= least


@pytest.mark.parametrize("kit", ["rectilinear", "equidistant", "stereographic", "orthographic beyond its end"])
def test_a_region_smaller_than_a_frame_is_one_frame(kit: str) -> None:
    asked = Request(region=RegionKind.WINDOW, pitch_from_deg=-2, pitch_to_deg=3, yaw_from_deg=355, yaw_to_deg=2)
    (frame,) = make_plan(KITS[kit], 0.3, asked).frames
    assert frame.yaw_deg == pytest.approx(-1.5)


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        (Request(region=RegionKind.BAND, pitch_from_deg=30, pitch_to_deg=10), "30 must be less than --pitch-to 10"),
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


# A cap that ends at latitude b has 2 pi (1 - sin |b|), a band from a to b 2 pi (sin b - sin a), a window its share.
def test_a_cap_out_of_reach_is_named() -> None:
    plan = make_plan(limited(-45, 95), 0.3)
    low = np.radians(plan.region.pitch_from_deg)
    assert plan.region.pitch_from_deg > -80
    assert plan.region.unreachable_sr == pytest.approx(2 * np.pi * (1 + np.sin(low)), abs=1e-5)
    assert all(frame.pitch_deg >= -45 for frame in plan.frames)
    assert plan.proof.covered


def test_a_band_out_of_reach_is_named() -> None:
    asked = Request(region=RegionKind.BAND, pitch_from_deg=-85, pitch_to_deg=80)
    plan = make_plan(limited(-20, 25), 0.3, asked)
    low, high = np.radians([plan.region.pitch_from_deg, plan.region.pitch_to_deg])
    out = (np.sin(low) - np.sin(np.radians(-85))) + (np.sin(np.radians(80)) - np.sin(high))
    assert plan.region.unreachable_sr == pytest.approx(2 * np.pi * out, abs=1e-5)
    assert plan.proof.covered


def test_yaw_out_of_reach_is_named() -> None:
    kit = kit_of(24.0, head={"pan": {"min_deg": -100.0, "max_deg": 100.0}})
    plan = make_plan(kit, 0.3, Request(region=RegionKind.BAND, pitch_from_deg=-30, pitch_to_deg=30))
    assert plan.region.unreachable_sr == pytest.approx(4 * np.pi * (1 - plan.region.yaw_width_deg / 360) / 2, abs=1e-5)
    assert all(-100 <= frame.yaw_deg <= 100 for frame in plan.frames)
    assert plan.proof.covered


def test_seventy_millimetres_in_one_row() -> None:
    """30 % takes 13.65 degrees, so a whole turn takes 27 frames (common practice, no source)."""
    plan = make_plan(kit_of(70.0), 0.3, Request(region=RegionKind.SINGLE_ROW))
    assert len(plan.frames) == 27
    assert 13 < 360 / 27 <= 13.65


def test_an_orthographic_lens_that_ends_within_the_sensor_has_a_circular_picture() -> None:
    """At 12 mm the projection ends 12 mm off centre, at 90 degrees; the sensor's longer side ends at 18 mm."""
    field = KITS["orthographic beyond its end"].field(0.3)
    assert field.circle_rad == pytest.approx(np.pi / 2)
    assert (field.whole.top, field.whole.right) == pytest.approx((np.pi / 2, np.pi / 2))
    outline = core_outline(field)
    assert not np.isnan(outline.poles).any()
    assert not np.isnan(outline.radii).any()
    assert "NaN" not in plan_of("orthographic beyond its end", "sphere").model_dump_json()
