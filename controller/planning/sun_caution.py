"""Which frames of a plan may face the sun, and when: for the cautions in the plan and before a run."""

from controller.planning.plan import Plan
from controller.program.build import build_program, step_ends_ns
from controller.program.program import ExposeStep
from protocol.units import NS

MAY_FACE_DEG = -30.0
"""A core that reaches higher than this may face a low sun: the picture goes on beyond its core, and glare beyond that.
Common practice, no source."""


def may_face_sun(plan: Plan) -> bool:
    """Whether any frame looks so high that the sun may shine into the lens. Nothing says that it is up."""
    half_deg = max(plan.optics.core_width_deg, plan.optics.core_height_deg) / 2
    return max(frame.pitch_deg for frame in plan.frames) + half_deg > MAY_FACE_DEG


def sun_seconds(plan: Plan) -> tuple[float, float] | None:
    """When the frames that see the sun are shot: the first and the last exposure, seconds after the run begins.

    None if no frame sees it, or the place and time were not stated.
    """
    if plan.sun is None or not plan.sun.frames:
        return None
    program = build_program(plan.kit, plan.frames)
    ends = step_ends_ns(program.steps, plan.kit.board.baud)
    seen = set(plan.sun.frames)
    begins = [
        end - step.expected_ns
        for step, end in zip(program.steps, ends, strict=True)
        if isinstance(step, ExposeStep) and step.frame in seen
    ]
    if not begins:
        return None
    before_ns = program.expected_ns - max(ends)
    return (before_ns + min(begins)) / NS, (before_ns + max(begins)) / NS
