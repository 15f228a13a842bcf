"""How much of a picture's curved edges the caps lose, and that they never claim too much."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from controller.optics.field import Field, make_field
from controller.optics.outline import core_outline
from controller.optics.projection import LAWS, Projection

# Lens, focal length, image circle and overlap; the last sees 360 degrees from corner to corner.
LENSES = [
    (Projection.EQUIDISTANT, 8.0, None, 0.3),
    (Projection.EQUIDISTANT, 12.0, None, 0.1),
    (Projection.EQUIDISTANT, 6.0, 20.0, 0.3),
    (Projection.EQUISOLID, 8.0, 23.0, 0.3),
    (Projection.EQUISOLID, 12.0, None, 0.1),
    (Projection.EQUISOLID, 15.0, None, 0.3),
    (Projection.EQUISOLID, 9.0, None, 0.3),
]


def field_of(projection: Projection, focal_mm: float, circle_mm: float | None, overlap: float) -> Field:
    return make_field(
        projection=projection,
        focal_length_mm=focal_mm,
        size_mm=(24.0, 36.0),
        pixels=(4000, 6000),
        overlap=overlap,
        circle_mm=circle_mm,
    )


def core_edge(field: Field, samples: int) -> NDArray[np.float64]:
    """Directions on the core's outline by its definition: the nearest of its edges and its circle in each direction."""
    law, core = LAWS[field.projection], field.core
    right, top = law.radius(core.right), law.radius(core.top)
    turn = np.linspace(0, 2 * np.pi, samples)
    radius = np.minimum(right / np.maximum(np.abs(np.cos(turn)), 1e-12), top / np.maximum(np.abs(np.sin(turn)), 1e-12))
    circle = np.pi if field.circle_rad is None else field.circle_rad
    theta = np.array([law.angle(float(r)) for r in np.minimum(radius, law.radius(circle))])
    return np.stack([np.cos(theta), np.sin(theta) * np.cos(turn), np.sin(theta) * np.sin(turn)], axis=-1)


@pytest.mark.parametrize(("projection", "focal_mm", "circle_mm", "overlap"), LENSES)
def test_caps_hold_a_curved_edge_to_a_tenth_of_a_degree(
    projection: Projection, focal_mm: float, circle_mm: float | None, overlap: float
) -> None:
    field = field_of(projection, focal_mm, circle_mm, overlap)
    outline = core_outline(field)
    edge = core_edge(field, 5000)
    angles = np.arccos(np.clip(np.einsum("kc,ejc->kej", edge, outline.poles), -1, 1))
    margins_deg = np.degrees((outline.radii - angles).max(axis=2).min(axis=1))
    assert margins_deg.max() <= 2e-6
    assert margins_deg.min() > -0.1
