"""What kit and records say before the pictures are seen."""

import math

import numpy as np
import pytest

from controller.calibration.records import AxisName, CalibrationKind, new_record
from controller.inspection.adjustment import adjust
from controller.inspection.kit_priors import lens_prior, priors_of
from controller.inspection.lens_model import TERMS, BrownLens, project
from controller.inspection.poses import HEAD_PRIOR, HEAD_TERMS, pan_axis
from controller.inspection.problem import NOTHING_KNOWN, Priors
from controller.optics.projection import Projection
from tests.controller.inspection.sets import ASSUMED, grid, make
from tests.controller.kit.tables import kit_with

KIT, SIZE = kit_with({}), (4000, 3000)


@pytest.mark.parametrize("focal_px", [1500.0, 4000.0, 30_000.0])
def test_the_first_term_alone_moves_the_corner_by_three_per_cent(focal_px: float) -> None:
    plain = BrownLens(Projection.RECTILINEAR, focal_px, 2000.0, 1500.0)
    k1 = lens_prior(plain, SIZE)[TERMS.index("k1")]
    ray = np.array([[2000.0, 1500.0, focal_px]])
    corner, bent = (project(lens, ray).pixels[0] - (2000, 1500) for lens in (plain, plain.moved(("k1",), np.array([k1]))))
    assert math.hypot(*bent) / math.hypot(*corner) == pytest.approx(1.03)


def test_records_narrow_what_they_are_about_and_no_more() -> None:
    more = {"made_at": "2026-06-21T12:00:00+00:00", "how": "rings"}
    steps = new_record(
        KIT,
        CalibrationKind.STEPS,
        AxisName.TILT,
        values={"steps_per_degree": 320.0},
        uncertainties={"u_steps_per_degree": 0.8},
        **more,
    )
    play = new_record(KIT, CalibrationKind.BACKLASH, AxisName.PAN, values={"play_deg": 0.1}, uncertainties={}, **more)
    found = dict(zip(HEAD_TERMS, priors_of(KIT, [steps, play], ASSUMED, SIZE).head, strict=True))
    due = dict(zip(HEAD_TERMS, HEAD_PRIOR, strict=True)) | {
        "tilt_scale": math.hypot(0.0025, 0.001),
        "pan_play": math.radians(0.1),
    }
    assert found == pytest.approx(due)
    assert priors_of(KIT, [], ASSUMED, SIZE).head == NOTHING_KNOWN.head


def test_a_sure_prior_is_kept_and_a_vague_one_gives_way() -> None:
    made = make(np.random.default_rng(1), grid(np.arange(3) * 25.0, np.array([0.0])), points=12)
    sure = Priors(lens=(1e-6, *NOTHING_KNOWN.lens[1:]))
    held, free = (adjust(made.frames, made.links, ASSUMED, pan_axis(0, 0), priors) for priors in (sure, NOTHING_KNOWN))
    assert held.lens.focal_px == pytest.approx(ASSUMED.focal_px, abs=0.1)
    assert abs(free.lens.focal_px - ASSUMED.focal_px) > 10


@pytest.mark.parametrize("lens", [(0.05,), (0.05, 0.3, 0.02, 0.0, 0.3, 0.3)])
def test_priors_need_an_uncertainty_for_each_term(lens: tuple[float, ...]) -> None:
    with pytest.raises(ValueError, match="one positive standard uncertainty for each of focal_px"):
        Priors(lens=lens)
