"""Inspected sets for what is drawn from them: plans of invented kits, true poses, and pictures made in memory."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from PIL import Image

from controller.inspection.head_measured import HeadMeasured, Measured, Unmeasured
from controller.inspection.inspected import (
    Blemish,
    FrameFault,
    Inspected,
    InspectedFrame,
    InspectedLink,
    LensMeasured,
    LinkVerdict,
    PoseKnown,
)
from controller.inspection.lens_model import Array, BrownLens, see
from controller.inspection.poses import HeadFrame, commanded
from controller.picture_file import Coloured
from controller.planning.make import make_plan
from controller.planning.plan import Plan
from controller.planning.request import Request
from tests.end_to_end.whole_runs import kit_of

Light = Callable[[Array], Array]
"""Colours (n, 3), 0 to 255, of directions (n, 3) in the axes of `poses`."""
VERDICTS = list(LinkVerdict)


def plan_of(focal_mm: float = 14.0, request: Request | None = None, **tables: dict[str, Any]) -> Plan:
    return make_plan(kit_of(focal_mm, **tables), 0.3, request or Request())


def lens_of(plan: Plan, across: int, **terms: float) -> tuple[BrownLens, tuple[int, int]]:
    optics = plan.optics
    size = across, round(across * optics.frame_height_mm / optics.frame_width_mm)
    focal = optics.focal_length_mm / optics.frame_width_mm * across
    return BrownLens(optics.projection, focal, (size[0] - 1) / 2, (size[1] - 1) / 2, **terms), size


def pose(yaw: float, pitch: float, roll: float, sd: float) -> PoseKnown:
    return PoseKnown(Measured(yaw, sd), Measured(pitch, sd), Measured(roll, sd))


def inspected_of(
    plan: Plan,
    across: int = 200,
    rolls: Sequence[float] = (0.0,),
    verdict: Callable[[int], LinkVerdict] = lambda _: LinkVerdict.LINKED,
    **terms: float,
) -> Inspected:
    """A set in which all is well; link number n has `verdict(n)`."""
    lens, size = lens_of(plan, across, **terms)
    frames = []
    for number, frame in enumerate(plan.frames):
        angles = frame.yaw_deg, frame.pitch_deg, rolls[number % len(rolls)]
        (rotation,) = commanded([HeadFrame(*angles, 0.1, 0.1, 0.1, 0.0, 0.0)])
        known = pose(*angles, 0.02), pose(*angles, 0.003)
        frames.append(
            InspectedFrame(
                frame.id,
                frame.row,
                1,
                f"IMG_{number:04}.JPG",
                0,
                size,
                *known,
                rotation,
                False,
                (),
                0.98,
                0.03,
                0.0,
                0.01,
            )
        )
    forward = np.stack([frame.rotation[:, 2] for frame in frames])
    cosines = forward @ forward.T
    reach = np.cos(np.radians(1.2 * max(plan.optics.core_width_deg, plan.optics.core_height_deg)))
    pairs = [(one, two) for one in range(len(frames)) for two in range(one + 1, len(frames)) if cosines[one, two] > reach]
    links = []
    for number, (one, two) in enumerate(pairs):
        said = verdict(number)
        points = 84 if said is LinkVerdict.LINKED else 3 if said is LinkVerdict.WEAK else 0
        links.append(
            InspectedLink(
                frames[one].frame, frames[two].frame, said, points, 0.31 if points else np.nan, 0.02, f"Because {said}."
            )
        )
    focal = Measured(plan.optics.focal_length_mm, 0.004)
    measured = LensMeasured(
        lens, {"focal_px": Measured(lens.focal_px, 0.4)}, focal, pupil_reason="nothing near is in view"
    )
    head = HeadMeasured(
        Measured(88.91, 0.004),
        Unmeasured.ONE_TILT,
        Measured(0.021, 0.004),
        Unmeasured.ONE_APPROACH,
        Unmeasured.NO_PLUMB_LINE,
    )
    return Inspected(plan, frames, links, measured, head, [], [], [])


def blemished(inspected: Inspected, faults: dict[int, FrameFault], retake: bool = True) -> Inspected:
    """The set with one fault in each of these frames, and what follows from that."""
    frames = []
    for place, frame in enumerate(inspected.frames):
        if place not in faults:
            frames.append(frame)
            continue
        fault = faults[place]
        sentence = f"Frame {frame.frame}: {fault}."
        gone = fault is FrameFault.NO_PICTURE
        frames.append(
            replace(
                frame, blemishes=(Blemish(fault, 1.0, sentence, retake),), file=None if gone else frame.file, alone=gone
            )
        )
    again = [frames[place].frame for place in faults] if retake else []
    todo = [f"Shoot frame {frame} again." for frame in again]
    return replace(inspected, frames=frames, retake=again, todo=todo)


def smooth(directions: Array) -> Array:
    """A smooth sky of colours without any seam."""
    x, y, z = directions.T
    return 127 + 90 * np.stack([np.sin(9 * x + z), np.cos(8 * y) * x, np.sin(9 * z - y)], axis=1)


def pictures(inspected: Inspected, light: Light = smooth) -> Callable[[InspectedFrame, float], Coloured]:
    """Draws frames in full size as they are asked for, black where the lens shows nothing."""

    def read(frame: InspectedFrame, share: float) -> Coloured:
        columns, rows = frame.size_px
        points = np.stack(np.meshgrid(np.arange(columns), np.arange(rows)), axis=-1).reshape(-1, 2).astype(np.float64)
        rays = see(inspected.lens.lens, points).rays @ frame.rotation.T
        codes = np.nan_to_num(np.rint(np.clip(light(rays), 0, 255))).astype(np.uint8)
        return Coloured(Image.fromarray(codes.reshape(rows, columns, 3)), 1.0)

    return read
