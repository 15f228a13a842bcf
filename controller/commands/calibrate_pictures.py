"""`fullturn calibrate steps` from photographs: a closed ring of them, or two with a lens that is known."""

import math
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from controller.calibration.finding import Finding, Plot, PlotSeries, coverage_factor
from controller.calibration.found import plus_minus
from controller.calibration.lens_terms import Points, PupilPlace
from controller.calibration.pair import PairSolution, UncertaintySource, fit_pair
from controller.calibration.photographs import Photograph, camera_for, photographs_in, read_photographs
from controller.calibration.readings import NotBelievable, number, read_csv
from controller.calibration.records import AxisName, CalibrationKind
from controller.calibration.registration import common_px, features_of, matched
from controller.calibration.ring import FEWEST_PICTURES, NotClosed, Ring, close_ring
from controller.calibration.steps import GEARING_SHARE
from controller.calibration.turning import NoOverlap, PictureGeometry, PictureTurn, turn_between
from controller.commands.calibrate import Keeping
from controller.errors import InputError
from controller.kit.kit import Kit
from controller.kit.lens_data import FULL_FRAME_DIAGONAL_MM
from controller.optics.outline import Array
from controller.report.wording import counted

MISSED_DEG = 0.25  # a head that stops this far from where it was told is not calibrated but repaired
LARGEST_MISFIT_PX = 3.0
MOST_MISFIT_PX = 1.5  # of far things, whatever the lens; beyond it something near shifts
MOSTLY = 0.5  # of a variance
FOCAL_SHARE = 0.2
U_FOCAL_SHARE = 0.01  # a focal length as engraved. Common practice, no source.
PARTS: dict[UncertaintySource, str] = {
    UncertaintySource.POINTS: "points",
    UncertaintySource.FOCAL_LENGTH: "focal length",
    UncertaintySource.LENS: "lens's distortion",
    UncertaintySource.PUPIL: "place of the lens's pupil",
    UncertaintySource.REGISTRATION: "registration",
    UncertaintySource.POSES: "poses",
}
ASIDE = 0.2  # how much of a turn may be about another axis than the one that is calibrated


@dataclass(frozen=True, slots=True)
class LensGiven:
    """What the command line says of the lens; what is None comes from the kit or from the photographs."""

    focal_mm: float | None = None
    u_focal_mm: float | None = None
    pixel_um: float | None = None


def ring_command(
    paths: Sequence[Path], steps_text: str, given: LensGiven, standing: PupilPlace, keeping: Keeping
) -> Finding:
    """Close a ring of photographs of the pan axis. Raises InputError, NotBelievable."""
    kit = keeping.kit()
    taken = read_photographs(photographs_in(paths))
    if len(taken) < FEWEST_PICTURES:
        raise InputError(
            f"{paths[0]}: holds {counted(len(taken), 'photograph')}; a ring needs {FEWEST_PICTURES} or more."
        )
    steps = commanded_steps(steps_text, len(taken))
    camera = camera_for(taken[0], kit, given.focal_mm, given.pixel_um)
    pairs = matched_pairs(taken, closed=True)
    try:
        ring = close_ring(pairs, steps, camera, common_px(camera.focal_px), standing)
    except NoOverlap as error:
        raise no_overlap(taken[error.pair], taken[(error.pair + 1) % len(taken)]) from None
    except NotClosed:
        raise NotBelievable(
            f"{taken[0].path}: the turns do not add up to 360° for any focal length near the one expected; is the ring "
            "closed, in order, once round, and the focal length about right?"
        ) from None
    except ValueError as error:
        raise InputError(f"{taken[0].path}: {error}; check the lens's projection and focal length.") from None
    _must_be_believable(ring, camera, taken, kit)
    return _ring_finding(ring, camera, taken, steps, kit, given)


def pair_command(
    paths: Sequence[Path],
    steps_text: str,
    axis: AxisName,
    given: LensGiven,
    standing: PupilPlace,
    u_pose_deg: float,
    keeping: Keeping,
) -> Finding:
    """Steps per degree from two photographs of a known lens. Raises InputError, NotBelievable."""
    kit = keeping.kit()
    files = photographs_in(paths)
    if len(files) != 2:
        raise InputError(f"{paths[0]}: two photographs are needed, not {len(files)}.")
    taken = read_photographs(files)
    steps = commanded_steps(steps_text, 2)
    camera = camera_for(taken[0], kit, given.focal_mm, given.pixel_um)
    focal_mm = _focal_mm(camera, taken[0], kit, given)
    u_focal = given.u_focal_mm / focal_mm if given.u_focal_mm else U_FOCAL_SHARE
    pair = fitted(taken[0], taken[1], camera, u_focal, standing)
    about = np.array([0.0, 1.0, 0.0] if axis is AxisName.PAN else [1.0, 0.0, 0.0])
    angle_deg, toward = pair.angle_deg, pair.turn.vector_rad / max(float(np.linalg.norm(pair.turn.vector_rad)), 1e-12)
    moved = float(steps[1] - steps[0])
    aside = abs(float(toward[0 if axis is AxisName.PAN else 1]))
    if angle_deg < 0.5 or aside > ASIDE or (toward @ about) * moved <= 0:
        raise NotBelievable(
            f"{taken[1].path}: against {taken[0].path.name} the camera turned by {angle_deg:.2f}°, "
            f"{'which is too little' if angle_deg < 0.5 else 'but not as the steps say'}; give them in the order of the "
            f"steps, of the {axis} axis, at least half a degree apart."
        )
    parts = pair.parts_deg | {
        UncertaintySource.REGISTRATION: math.degrees(common_px(camera.focal_px) / camera.focal_px),
        UncertaintySource.POSES: math.sqrt(2) * u_pose_deg,
    }
    value, u_angle = abs(moved) / angle_deg, math.hypot(*parts.values())
    u_value = value * u_angle / angle_deg
    _must_fit_gearing(value, axis, kit, taken[0])
    largest = max(parts, key=lambda name: parts[name])
    return Finding(
        kind=CalibrationKind.STEPS,
        axis=axis,
        values={"steps_per_degree": value, "angle_deg": angle_deg},
        uncertainties={"u_steps_per_degree": u_value, "u_angle_deg": u_angle},
        degrees_of_freedom=None,
        how="two photographs of a known lens",
        sentences=(
            f"{abs(moved):g} steps turned the camera by {plus_minus(angle_deg, u_angle, math.inf)}°: "
            f"{plus_minus(value, u_value, math.inf)} steps per degree (95 %, "
            f"{counted(int(pair.turn.kept.sum()), 'point')}).",
            f"Most of that uncertainty comes from the {PARTS[largest]}. A closed ring (--ring) needs to know less.",
        ),
        more={"u_parts_deg": {part.value: parts[part] for part in parts}},
        lens=lens_name(kit),
        focal_length_mm=focal_mm,
    )


def commanded_steps(text: str, count: int) -> Array:
    """Where the head was told to stand for each photograph: one number is the steps between neighbours, else one for
    each, separated by commas or as the column commanded_steps of a CSV file. Raises InputError.
    """
    path = Path(text)
    if path.suffix.lower() == ".csv" or path.is_file():
        steps = read_csv(path, ("commanded_steps",)).numbers["commanded_steps"]
    else:
        cells = text.split(",")
        steps = np.array([number(cell.strip(), "--commanded-steps") for cell in cells])
        if len(steps) == 1:
            steps = np.arange(count) * steps[0]
    if len(steps) != count:
        raise InputError(f"--commanded-steps {text}: gives {len(steps)} places for {counted(count, 'photograph')}.")
    moved = np.diff(steps)
    if not (np.all(moved > 0) or np.all(moved < 0)):
        raise InputError(
            f"--commanded-steps {text}: the steps must keep growing (or falling), as the photographs were taken."
        )
    return steps


def matched_pairs(taken: Sequence[Photograph], *, closed: bool) -> list[Points]:
    """Points of each photograph with the next, and of the last with the first if `closed`. Raises InputError."""
    features = [features_of(photograph.grey) for photograph in taken]
    following = [*features[1:], features[0]] if closed else features[1:]
    return [matched(one, other) for one, other in zip(features, following, strict=False)]


def registered(
    first: Photograph, second: Photograph, camera: PictureGeometry, without: tuple[float, float, float] | None = None
) -> tuple[PictureTurn, Points]:
    """The turn between two photographs, and the points it was found from.

    What the first one shows around `without` (column, row, and half the width and height) is left out, as it is near.
    Raises InputError, NotBelievable.
    """
    points = matched(features_of(first.grey), features_of(second.grey))
    if without is not None:
        far = np.abs(points[0] - without[:2]).max(axis=1) > without[2]
        points = points[0][far], points[1][far]
    with finding_turn(first, second):
        return turn_between(*points, camera), points


@contextmanager
def finding_turn(first: Photograph, second: Photograph) -> Iterator[None]:
    """Within: what a turn between two photographs cannot be found from is raised as InputError."""
    try:
        yield
    except NoOverlap:
        raise no_overlap(first, second) from None
    except ValueError as error:  # LinAlgError is one
        raise InputError(f"{first.path}: {error}; check the lens's projection and focal length.") from None


def fitted(
    first: Photograph,
    second: Photograph,
    camera: PictureGeometry,
    u_focal_share: float,
    standing: PupilPlace,
    without: tuple[float, float, float] | None = None,
) -> PairSolution:
    """The turn between two photographs and the lens, as `fit_pair` finds them. Raises InputError, NotBelievable."""
    turn, points = registered(first, second, camera, without)
    with finding_turn(first, second):
        pair = fit_pair((points[0][turn.kept], points[1][turn.kept]), camera, u_focal_share, standing)
    must_fit(pair, first)
    return pair


def must_fit(pair: PairSolution, first: Photograph) -> None:
    """Raise NotBelievable if the points fit no turn well."""
    if pair.turn.rms_px > LARGEST_MISFIT_PX:
        raise NotBelievable(_misfit_sentence(first.path, pair.turn.rms_px))


def no_overlap(first: Photograph, second: Photograph) -> InputError:
    """Two photographs that have too little in common."""
    return InputError(
        f"{second.path}: shows too little of what {first.path.name} shows; take neighbours that share a third of the "
        "picture, sharp, of something with detail."
    )


def lens_name(kit: Kit | None) -> str | None:
    """The kit's lens by make and model, where it has a name."""
    if kit is None:
        return None
    return " ".join(part for part in (kit.lens.make, kit.lens.model) if part) or None


def _misfit_sentence(path: Path, rms_px: float) -> str:
    return (
        f"{path}: its points fit no turn of the camera better than {rms_px:.1f} px; did the camera stand off its "
        "no-parallax point, or does the lens distort?"
    )


def _focal_mm(camera: PictureGeometry, photograph: Photograph, kit: Kit | None, given: LensGiven) -> float:
    """The camera's focal length in mm; in units of the picture's diagonal as on 36x24 mm where no size is known."""
    own_px = camera.focal_px / photograph.share
    if given.pixel_um is not None:
        return own_px * given.pixel_um / 1000
    if kit is not None:
        return float(own_px * kit.field(0.0).width_mm / photograph.own_px[0])
    return own_px * FULL_FRAME_DIAGONAL_MM / math.hypot(*photograph.own_px)


def _must_fit_gearing(value: float, axis: AxisName, kit: Kit | None, first: Photograph) -> None:
    if kit is None:
        return
    nominal = (kit.head.pan if axis is AxisName.PAN else kit.head.tilt).nominal_steps_per_degree
    if abs(value / nominal - 1) > GEARING_SHARE:
        raise NotBelievable(
            f"{first.path}: {value:.5g} steps per degree are more than {100 * GEARING_SHARE:.0f} % off the kit's gearing "
            f"({nominal:.5g}); check the kit, the steps and the order of the photographs."
        )


def _must_be_believable(ring: Ring, expected: PictureGeometry, taken: Sequence[Photograph], kit: Kit | None) -> None:
    first = taken[0]
    share = ring.camera.focal_px / expected.focal_px
    if abs(share - 1) > FOCAL_SHARE:
        raise NotBelievable(
            f"{first.path}: the ring closes at {share:.2f} times the focal length expected; is it closed, once round?"
        )
    if ring.steps_per_degree < 0:
        raise NotBelievable(f"{first.path}: the camera turned the other way than the steps say; reverse one of them.")
    for number_of_pair, turn in enumerate(ring.turns):
        if turn.rms_px > LARGEST_MISFIT_PX:
            raise NotBelievable(_misfit_sentence(taken[number_of_pair].path, turn.rms_px))
    if ring.slip.seen:
        jump = ring.slip.jump_deg
        raise NotBelievable(
            f"{taken[ring.slip.after].path}: from this photograph to the next the camera turned by {abs(jump):.2f}° "
            f"{'more' if jump > 0 else 'less'} than the steps say, and stayed off; find out what slipped, and shoot the "
            "ring again."
        )
    if ring.missed_deg > MISSED_DEG:
        worst = int(np.argmax(np.abs(ring.residual_deg)))
        raise NotBelievable(
            f"{taken[worst].path}: from here the camera turned by {abs(ring.residual_deg[worst]):.2f}° more or less "
            "than the "
            "steps say; were all photographs taken, in order, and did the head slip?"
        )
    _must_fit_gearing(ring.steps_per_degree, AxisName.PAN, kit, first)


def _ring_finding(
    ring: Ring, expected: PictureGeometry, taken: Sequence[Photograph], steps: Array, kit: Kit | None, given: LensGiven
) -> Finding:
    focal_mm = _focal_mm(ring.camera, taken[0], kit, given)
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
            "Most of the focal length's uncertainty comes from the lens's place: near things shift if it is off. "
            "Measure that (`fullturn calibrate parallax`), and say --u-pupil-mm."
        )
    if rms > MOST_MISFIT_PX:
        sentences.append(
            "Mind: the points fit worse than they should. Near things shift if the lens stands off its no-parallax point."
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
        focal_length_mm=_focal_mm(expected, taken[0], kit, given),
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
        caption="What each turn to the next photograph differs from what the steps say; the last one closes the ring.",
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
