"""The cores of a plan's frames on the sphere."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from controller.optics.field import Field
from controller.optics.outline import ALWAYS, Outline, core_outline, whole_outline
from controller.planning.directions import Array, camera_axes

AT_ONCE = 500_000  # numbers in one temporary array; more take memory and are no quicker


@dataclass(frozen=True, slots=True)
class Cores:
    """Regions of the sphere, each bounded by its edges (see `optics.outline`).

    `forward` (n, 3): the lens axes; `poles` (n, edges, caps, 3) and `radii` (n, edges, caps) in radians: the caps;
    `reach_rad` (n,): the angle from the axis to the farthest corner; `shrinks` (n,): whether a margin applies to it.
    """

    forward: Array
    poles: Array
    radii: Array
    reach_rad: Array
    shrinks: NDArray[np.bool_]

    def __len__(self) -> int:
        return len(self.forward)

    def margin_rad(self, directions: Array, chosen: NDArray[np.intp] | slice = slice(None)) -> Array:
        """Margin of each of the (k, 3) `directions` in each chosen core, radians, shape (k, chosen)."""
        poles, radii = self.poles[chosen], self.radii[chosen]
        cosines = (poles.reshape(-1, 3) @ directions.T).reshape(*radii.shape, len(directions))
        np.clip(cosines, -1, 1, out=cosines)
        inside = radii[..., None] - np.arccos(cosines, out=cosines)
        margins: Array = inside.max(axis=2).min(axis=1).T
        return margins

    def own_margin_rad(self, directions: Array, numbers: NDArray[np.intp]) -> Array:
        """Margin of each of the (k, 3) `directions` in the core with the same position in `numbers`, radians, shape
        (k,).
        """
        cosines = np.einsum("kc,kejc->ejk", directions, self.poles[numbers])
        inside = self.radii[numbers].transpose(1, 2, 0) - np.arccos(np.clip(cosines, -1, 1))
        margins: Array = inside.max(axis=1).min(axis=0)
        return margins

    def some(self, numbers: NDArray[np.intp]) -> "Cores":
        """The cores with these numbers."""
        return Cores(*(getattr(self, part)[numbers] for part in self.__slots__))

    def best_margin_rad(self, directions: Array) -> Array:
        """Margin of each of the (k, 3) `directions` in the core that contains it best, radians, shape (k,)."""
        pieces = 1 + len(directions) * self.radii.size // AT_ONCE
        return np.concatenate([self.margin_rad(part).max(axis=1) for part in np.array_split(directions, pieces)])

    def joined(self, other: "Cores") -> "Cores":
        """These cores and the `other` ones; missing edges or caps are filled with caps that contain everything."""
        edges, caps = (max(self.radii.shape[i], other.radii.shape[i]) for i in (1, 2))
        mine, others = self._padded(edges, caps), other._padded(edges, caps)
        return Cores(
            np.concatenate([self.forward, other.forward]),
            np.concatenate([mine.poles, others.poles]),
            np.concatenate([mine.radii, others.radii]),
            np.concatenate([self.reach_rad, other.reach_rad]),
            np.concatenate([self.shrinks, other.shrinks]),
        )

    def _padded(self, edges: int, caps: int) -> "Cores":
        have_edges, have_caps = self.radii.shape[1:]
        poles = np.pad(self.poles, ((0, 0), (0, 0), (0, caps - have_caps), (0, 0)), mode="edge")
        radii = np.pad(self.radii, ((0, 0), (0, 0), (0, caps - have_caps)), mode="edge")
        poles = np.pad(poles, ((0, 0), (0, edges - have_edges), (0, 0), (0, 0)), mode="edge")
        radii = np.pad(radii, ((0, 0), (0, edges - have_edges), (0, 0)), constant_values=ALWAYS)
        return Cores(self.forward, poles, radii, self.reach_rad, self.shrinks)


def cores_at(field: Field, yaw_deg: Array, pitch_deg: Array, roll_deg: Array | None = None) -> Cores:
    """The cores of frames at these poses, shape (n,) each; `roll_deg` None means no roll."""
    return place(core_outline(field), yaw_deg, pitch_deg, roll_deg)


def pictures_at(field: Field, yaw_deg: Array, pitch_deg: Array, roll_deg: Array | None = None) -> Cores:
    """The whole pictures of frames at these poses, shape (n,) each; `roll_deg` None means no roll."""
    return place(whole_outline(field), yaw_deg, pitch_deg, roll_deg)


def place(outline: Outline, yaw_deg: Array, pitch_deg: Array, roll_deg: Array | None = None) -> Cores:
    """One outline at several poses."""
    roll_rad = None if roll_deg is None else np.radians(roll_deg)
    axes = np.stack(camera_axes(np.radians(yaw_deg), np.radians(pitch_deg), roll_rad), axis=1)
    count = len(axes)
    return Cores(
        forward=axes[:, 0],
        poles=np.einsum("eja,nac->nejc", outline.poles, axes),
        radii=np.broadcast_to(outline.radii, (count, *outline.radii.shape)),
        reach_rad=np.full(count, outline.reach_rad),
        shrinks=np.ones(count, dtype=bool),
    )
