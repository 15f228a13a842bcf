"""Which frames share enough picture to be matched, and whether these links connect the whole set.

The share of a link is the part of one frame's picture that the other also sees, in the direction in which it is smaller.
It is counted over a grid of points on the picture.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from controller.optics.field import Field
from controller.optics.projection import LAWS
from controller.planning.cores import AT_ONCE, pictures_at
from controller.planning.directions import Array, camera_axes
from controller.planning.near import pairs_within

# Less than this share of a picture is hard to match. Common practice, no source: aim for about 30 %; 10 % is little.
ENOUGH = 0.10
GRID = 16


@dataclass(frozen=True, slots=True)
class Links:
    """Pairs of frames (k, 2) by number, and the share of picture that each pair has in common, shape (k,)."""

    count: int
    pairs: NDArray[np.intp]
    shares: Array

    @property
    def connected(self) -> bool:
        """Whether the links connect all frames."""
        return self.count == 1 or bool(_networks().is_connected(self._graph()))

    def cut_frames(self) -> list[int]:
        """Frames whose loss would split the set, by number."""
        return sorted(_networks().articulation_points(self._graph()))

    def weakest(self) -> tuple[float, tuple[int, int] | None]:
        """The smallest share needed to connect the set by its strongest links, and the two frames it is between.

        It is the weakest link of a maximum spanning tree; 0 if the set is not connected.
        """
        if self.count == 1:
            return 1.0, None
        nx, graph = _networks(), self._graph()
        if not nx.is_connected(graph):
            return 0.0, None
        a, b, data = min(nx.maximum_spanning_edges(graph, data=True), key=lambda edge: float(edge[2]["weight"]))
        return float(data["weight"]), (int(min(a, b)), int(max(a, b)))

    def _graph(self) -> Any:
        graph = _networks().Graph()
        graph.add_nodes_from(range(self.count))
        enough = self.shares >= ENOUGH
        weights = [{"weight": share} for share in self.shares[enough]]
        graph.add_edges_from((int(a), int(b), w) for (a, b), w in zip(self.pairs[enough], weights, strict=True))
        return graph


def _networks() -> Any:
    """networkx, loaded when links are judged: a capture reads its plan without it."""
    import networkx  # noqa: PLC0415

    return networkx


def find_links(field: Field, yaw_deg: Array, pitch_deg: Array, roll_deg: Array | None = None) -> Links:
    """The links between frames at these poses, shape (n,) each; `roll_deg` None means no roll."""
    pictures = pictures_at(field, yaw_deg, pitch_deg, roll_deg)
    reach = 2 * np.sin(min(2 * pictures.reach_rad[0], np.pi) / 2)
    pairs = pairs_within(pictures.forward, reach)
    points = picture_points(field)
    roll_rad = None if roll_deg is None else np.radians(roll_deg)
    axes = np.stack(camera_axes(np.radians(yaw_deg), np.radians(pitch_deg), roll_rad), axis=1)
    both = np.concatenate([pairs, pairs[:, ::-1]])
    shares = np.empty(len(both))
    step = max(1, AT_ONCE // (len(points) * pictures.radii[0].size))
    for begin in range(0, len(both), step):
        of, by = both[begin : begin + step].T
        directions = points @ axes[of]
        poles = pictures.poles[by].reshape(len(by), -1, 3).transpose(0, 2, 1)
        cosines = (directions @ poles).reshape(len(by), len(points), *pictures.radii.shape[1:])
        held = (cosines >= np.cos(np.minimum(pictures.radii[by], np.pi))[:, None]).any(axis=3).all(axis=2)
        shares[begin : begin + step] = held.mean(axis=1)
    shares = np.minimum(shares[: len(pairs)], shares[len(pairs) :])
    keep = shares > 0
    return Links(len(yaw_deg), pairs[keep], shares[keep])


def picture_points(field: Field) -> Array:
    """Directions in the camera's axes of an even grid of points on the picture, shape (k, 3)."""
    law, whole = LAWS[field.projection], field.whole
    centres = (np.arange(GRID) + 0.5) / GRID
    right, left, top, bottom = (law.radius(side) for side in (whole.right, whole.left, whole.top, whole.bottom))
    x, y = np.meshgrid(-left + (left + right) * centres, -bottom + (bottom + top) * centres)
    radius = np.hypot(x, y).ravel()
    limit = law.radius(field.circle_rad) if field.circle_rad is not None else np.inf
    inside = radius <= min(limit, law.largest_radius)
    theta = np.array([law.angle(float(r)) for r in radius[inside]])
    turn = np.arctan2(y.ravel(), x.ravel())[inside]
    return np.stack([np.cos(theta), np.sin(theta) * np.cos(turn), np.sin(theta) * np.sin(turn)], axis=-1)
