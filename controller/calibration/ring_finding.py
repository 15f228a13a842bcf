"""The finding of a closed ring of photographs: steps per degree, focal length, and how the lens distorts."""

import math
from collections.abc import Sequence

import numpy as np

from controller.amounts import counted
from controller.calibration.finding import Finding, Plot, PlotSeries, coverage_factor
from controller.calibration.interval_words import plus_minus
from controller.calibration.known_lens import LensGiven, focal_of_camera_mm, lens_name
from controller.calibration.lens_terms import PupilPlace
from controller.calibration.pair import UncertaintySource
from controller.calibration.photograph_pairs import LARGEST_MISFIT_PX, matched_pairs, misfit_sentence, no_overlap
from controller.calibration.photographs import Photograph, camera_for
from controller.calibration.readings import ReadingsRefused
from controller.calibration.records import AxisName, CalibrationKind, nominal_rate
from controller.calibration.registration import common_px
from controller.calibration.ring import NotClosed, Ring, close_ring
from controller.calibration.steps import must_fit_gearing
from controller.calibration.turning import NoOverlap, PictureGeometry
from controller.errors import InputError
from controller.kit.kit import Kit
from controller.optics.outline import Array

MISSED_DEG = 0.25  # the head of a larger scatter needs repair, not calibration
MOST_MISFIT_PX = 1.5  # for far things, with any lens; beyond this, something near is shifting
MOSTLY = 0.5  # the share of a variance that counts as most of it
FOCAL_SHARE = 0.2


def ring_finding(
    taken: Sequence[Photograph], steps: Array, kit: Kit | None, given: LensGiven, standing: PupilPlace
) -> Finding:
    """The finding of photographs in order once round, shot at these steps of the pan axis.

    Raises InputError; ReadingsRefused if the result is unreliable.
    """
    camera = camera_for(taken[0], kit, given.focal_mm, given.pixel_um)
    pairs = matched_pairs(taken, closed=True)
    try:
        ring = close_ring(pairs, steps, camera, common_px(camera.focal_px), standing)
    except NoOverlap as error:
        raise no_overlap(taken[error.pair], taken[(error.pair + 1) % len(taken)]) from None
    except NotClosed:
        raise ReadingsRefused(
            f"{taken[0].path}: the turns do not add up to 360° for any focal length near the one expected. Shoot one "
            "closed ring in order, and check the focal length."
        ) from None
    except ValueError as error:
        raise InputError(f"{taken[0].path}: {error}; check the lens's projection and focal length.") from None
    _check_fit(ring, camera, taken, kit)
    return _finding(ring, camera, taken, steps, kit, given)


def _check_fit(ring: Ring, expected: PictureGeometry, taken: Sequence[Photograph], kit: Kit | None) -> None:
    first = taken[0]
    share = ring.camera.focal_px / expected.focal_px
    if abs(share - 1) > FOCAL_SHARE:
        raise ReadingsRefused(
            f"{first.path}: the ring closes at {share:.2f} times the expected focal length; shoot one closed turn."
        )
    if ring.steps_per_degree < 0:
        raise ReadingsRefused(f"{first.path}: the camera turned the other way than the steps say; reverse one of them.")
    for number_of_pair, turn in enumerate(ring.turns):
        if turn.rms_px > LARGEST_MISFIT_PX:
            raise ReadingsRefused(misfit_sentence(taken[number_of_pair].path, turn.rms_px))
    if ring.slip.seen:
        jump = ring.slip.jump_deg
        raise ReadingsRefused(
            f"{taken[ring.slip.after].path}: from this photograph to the next the camera turned by {abs(jump):.2f}° "
            f"{'more' if jump > 0 else 'less'} than the steps say, and stayed off; find out what slipped, and shoot the "
            "ring again."
        )
    if ring.missed_deg > MISSED_DEG:
        worst = int(np.argmax(np.abs(ring.residual_deg)))
        raise ReadingsRefused(
            f"{taken[worst].path}: from here the camera turned by {abs(ring.residual_deg[worst]):.2f}° more or less than "
            "the steps say. Check that no photograph is missing or out of order, and that nothing slips."
        )
    must_fit_gearing(str(first.path), ring.steps_per_degree, nominal_rate(kit, AxisName.PAN))


def _finding(
    ring: Ring, expected: PictureGeometry, taken: Sequence[Photograph], steps: Array, kit: Kit | None, given: LensGiven
) -> Finding:
    focal_mm = focal_of_camera_mm(ring.camera, taken[0], kit, given)
    u_focal_mm = focal_mm * ring.u_focal_px / ring.camera.focal_px
    u_steps, freedoms = ring.u_steps_per_degree, (ring.steps_freedom, ring.focal_freedom)
    halves = (coverage_factor(freedoms[0]) * u_steps, coverage_factor(freedoms[1]) * u_focal_mm)
    low, high = ring.missed_interval_deg
    rms = float(np.sqrt(np.mean([turn.rms_px**2 for turn in ring.turns])))
    points = int(np.sum([turn.kept.sum() for turn in ring.turns]))
    known = "" if kit is not None or given.pixel_um is not None else " as on 36x24 mm"
    lens = _lens_found(ring, expected, taken[0])
    sentences = [
        f"The ring of {len(taken)} photographs closes: {plus_minus(ring.steps_per_degree, u_steps, freedoms[0])} "
        f"steps per degree; focal length {plus_minus(focal_mm, u_focal_mm, freedoms[1])} mm{known} (95 %).",
        f"{counted(points, 'point')} fit within {rms:.2f} px; the head stopped within {ring.missed_deg:.2g}° of where it "
        f"was told (standard deviation, 95 %: {low:.2g} to {high:.2g}°).",
        _lens_sentence(lens),
    ]
    if ring.pupil_share > MOSTLY:
        sentences.append(
            "Most of the focal length's uncertainty comes from the lens's place: near things shift if it is wrong. "
            "Measure that (`fullturn calibrate parallax`), and give --u-pupil-mm."
        )
    if rms > MOST_MISFIT_PX:
        sentences.append(
            "The points fit worse than they should. Near things shift if the pan axis misses the no-parallax point."
        )
    return Finding(
        kind=CalibrationKind.STEPS,
        axis=AxisName.PAN,
        values={"steps_per_degree": ring.steps_per_degree, "focal_length_mm": focal_mm, "missed_deg": ring.missed_deg},
        uncertainties={
            "u_steps_per_degree": u_steps,
            "u_focal_length_mm": u_focal_mm,
            "u_missed_deg": (high - low) / (2 * coverage_factor(None)),
        },
        degrees_of_freedom=ring.steps_freedom,
        how=f"closed ring of {len(taken)} photographs",
        sentences=tuple(sentences),
        residuals={"turn_deg": tuple(ring.residual_deg.tolist())},
        more={
            "focal_length_px": ring.camera.focal_px / taken[0].share,
            "correlation": ring.correlation,
            UncertaintySource.POINTS: points,
            "misfit_px": rms,
            UncertaintySource.LENS: lens,
            "interval_95": {
                "steps_per_degree": (ring.steps_per_degree - halves[0], ring.steps_per_degree + halves[0]),
                "focal_length_mm": (focal_mm - halves[1], focal_mm + halves[1]),
                "missed_deg": (low, high),
            },
        },
        plots=(_residual_plot(ring, steps), _misfit_plot(ring)),
        lens=lens_name(kit),
        focal_length_mm=focal_of_camera_mm(expected, taken[0], kit, given),
    )


def _lens_found(ring: Ring, expected: PictureGeometry, first: Photograph) -> dict[str, float]:
    """Distortion at the corner in per cent, and how far right of and below the expected place the axis meets the picture.

    In the file's own pixels, each with its standard uncertainty.
    """
    powers = ring.camera.corner ** np.array([2.0, 4.0, 6.0])
    to_own = ring.camera.focal_px / first.share
    u_aside = to_own * np.sqrt(np.diag(ring.lens_covariance)[4:])
    aside = (np.array(ring.camera.middle_px) - expected.middle_px) / first.share
    return {
        "corner_distortion_percent": -100 * ring.camera.corner_share,
        "u_corner_distortion_percent": 100 * math.sqrt(float(powers @ ring.lens_covariance[1:4, 1:4] @ powers)),
        "axis_right_px": float(aside[0]),
        "u_axis_right_px": float(u_aside[0]),
        "axis_down_px": float(aside[1]),
        "u_axis_down_px": float(u_aside[1]),
    }


def _lens_sentence(lens: dict[str, float]) -> str:
    said = [
        plus_minus(lens[name], lens[f"u_{name}"], math.inf)
        for name in ("corner_distortion_percent", "axis_right_px", "axis_down_px")
    ]
    return (
        f"The lens distorts by {said[0]} % at the corner (barrel: minus); its axis meets the picture {said[1]} px to the "
        f"right of and {said[2]} px below the expected place (95 %)."
    )


def _residual_plot(ring: Ring, steps: Array) -> Plot:
    return Plot(
        heading="Residuals",
        caption="Difference of each turn to the next photograph from the steps; the last one closes the ring.",
        x_label="steps",
        y_label="residual °",
        series=(PlotSeries("turn to the next", steps.tolist(), ring.residual_deg.tolist()),),
    )


def _misfit_plot(ring: Ring) -> Plot:
    count = list(range(1, len(ring.turns) + 1))
    return Plot(
        heading="Registration",
        caption="How well the points of neighbours fit, root mean square.",
        x_label="pair",
        y_label="misfit px",
        series=(PlotSeries("pair", count, [turn.rms_px for turn in ring.turns]),),
    )
