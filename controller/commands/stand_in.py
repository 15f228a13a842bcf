"""From a kit to the simulated rig that stands in for it. Controller and sim meet here and in `rehearse`."""

import math

from controller.kit.kit import Kit
from sim.axis import AxisSpec
from sim.camera import CameraSpec
from sim.head import HeadSpec
from sim.rig import RigSpec


def rig_spec(kit: Kit, seed: int) -> RigSpec:
    """A rig exactly as the kit describes it; the seed settles where it starts and how the camera dithers."""
    head = kit.head
    return RigSpec(
        head=HeadSpec(
            pan=AxisSpec(head.pan.steps_per_degree, head.pan.backlash_deg),
            tilt=AxisSpec(head.tilt.steps_per_degree, head.tilt.backlash_deg),
            ring_hz=head.ring_hz,
            ring_damping=head.ring_damping,
            pixel_deg=math.degrees(kit.field(0.0).pixel_rad),
        ),
        camera=CameraSpec(
            shutter_s=kit.shutter_times_s(),
            release_lag_ms=kit.exposure.release_lag_ms,
            ready_ms=kit.exposure.ready_ms,
        ),
        baud=kit.board.baud,
        sync_contact=kit.board.sync_contact,
        max_step_rate=kit.board.max_step_rate_hz,
        seed=seed,
    )
