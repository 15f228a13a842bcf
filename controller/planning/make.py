"""From a kit to a plan: field, rows, frames, proof, budget."""

import numpy as np

from controller.kit.kit import Kit
from controller.planning.cores import cores_at
from controller.planning.coverage import prove_coverage
from controller.planning.order import snake
from controller.planning.plan import Budget, Frame, Optics, Place, Plan, ProofRecord, Region
from controller.planning.rows import fewest_rows
from controller.program.build import build_program


def make_plan(kit: Kit, overlap: float) -> Plan:
    """The full sphere in complete rows with the fewest frames, proved and costed.

    `overlap` is the share of the picture (0 to 0.9) that neighbours have in common at least.
    Raises InputError where the kit cannot be planned.
    """
    field = kit.field(overlap)
    frames = snake(fewest_rows(field))
    proof = prove_coverage(
        cores_at(field, np.array([f.yaw_deg for f in frames]), np.array([f.pitch_deg for f in frames]))
    )
    return Plan(
        overlap=overlap,
        region=Region(),
        kit=kit,
        optics=Optics(
            projection=field.projection,
            focal_length_mm=field.focal_length_mm,
            frame_width_mm=field.width_mm,
            frame_height_mm=field.height_mm,
            core_width_deg=float(np.degrees(2 * field.core_half_width_rad)),
            core_height_deg=float(np.degrees(2 * field.core_half_height_rad)),
        ),
        frames=frames,
        proof=ProofRecord(
            covered=proof.covered,
            worst_margin_deg=proof.worst_margin_deg,
            worst_at=Place(yaw_deg=proof.worst_yaw_deg, pitch_deg=proof.worst_pitch_deg),
        ),
        budget=cost(kit, frames),
    ).sealed()


def cost(kit: Kit, frames: tuple[Frame, ...]) -> Budget:
    """What shooting `frames` with `kit` costs in time and storage."""
    exposures = len(frames) * len(kit.exposure.bracket_ev)
    return Budget(
        frames=len(frames),
        exposures=exposures,
        seconds=round(build_program(kit, frames).expected_ns / 1e9, 3),
        megabytes=round(exposures * kit.file_megabytes(), 1),
    )
