"""The light on the sensor: the scenery as a lens shows it, from one pose or averaged over several.

A thing at distance d from the point about which the head turns, seen from an entrance pupil p away from it along the ray
u, is at p + t u with t = -p u + sqrt((p u)^2 + d^2 - p^2): where the ray leaves a sphere of radius d. It is looked up by
that point's direction from the middle. So near things shift against far ones as they do in the world.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.scene.lens import Floats, LensSpec, axes_of, rays, shade
from sim.scene.passers import Passer
from sim.scene.scenery import FULL, Layer, Scenery, light_of_codes, seen

ROWS_AT_ONCE = 32_768  # pixels that are processed together: as many as fit into a processor's cache


@dataclass(frozen=True, slots=True)
class HeldPose:
    """A pose of the camera, and the share of the exposure that it lasted."""

    yaw_deg: float
    pitch_deg: float
    weight: float = 1.0
    roll_deg: float = 0.0


class Renderer:
    """One camera before one scenery. The picture is upright: rows from the top, `pixels_across` by `pixels_up`.

    `passers` are painted at their places at the moment of the exposure, behind the layers that are nearer.
    """

    def __init__(
        self, scenery: Scenery, lens: LensSpec, pixels_across: int, pixels_up: int, passers: Sequence[Passer] = ()
    ) -> None:
        """Raises ValueError if something is nearer than the entrance pupil moves."""
        self._pupil = np.array([lens.pupil_along_mm, lens.pupil_across_mm, 0.0])
        away_mm = float(np.hypot(lens.pupil_along_mm, lens.pupil_across_mm))
        nearest_mm = min(layer.distance_mm for layer in scenery.layers)
        if away_mm >= nearest_mm:
            raise ValueError(f"the entrance pupil stands {away_mm:g} mm off, where the nearest things are")
        self._scenery = scenery if away_mm > 0 or passers else scenery.flattened()
        self._passers = tuple(passers)
        self._light = light_of_codes(scenery.brightest)
        grid = rays(lens, pixels_across, pixels_up)
        self.shape = (pixels_up, pixels_across)
        self._rays = grid.reshape(3, -1)
        dark = np.isnan(self._rays[0])
        self._dark: NDArray[np.bool_] | None = dark if dark.any() else None
        self._rays = np.where(dark, np.array([[1.0], [0.0], [0.0]], dtype=np.float32), self._rays)
        reaching = shade(lens, pixels_across, pixels_up)
        self._shade = None if reaching is None else np.nan_to_num(reaching).reshape(-1, 1)

    def light(self, *aims: HeldPose, at_s: float = 0.0) -> Floats:
        """Light of shape (pixels_up, pixels_across, 3); 1 just saturates at the base exposure.

        Several aims are averaged by their weights, which need not add up to one. Passers are where they are at `at_s`.
        """
        total = sum(aim.weight for aim in aims)
        first, *others = aims
        light = self._light_from(first, at_s)
        if others:
            light *= np.float32(first.weight / total)
            for aim in others:
                light += np.float32(aim.weight / total) * self._light_from(aim, at_s)
        if self._shade is not None:
            light *= self._shade
        return light.reshape(*self.shape, 3)

    def _light_from(self, aim: HeldPose, at_s: float) -> Floats:
        axes = axes_of(aim.yaw_deg, aim.pitch_deg, aim.roll_deg)
        turn, pupil = axes.astype(np.float32), axes @ self._pupil
        ways = sorted(((passer.distance_mm(at_s), passer) for passer in self._passers), key=lambda one: -one[0])
        light = np.empty((self._rays.shape[1], 3), dtype=np.float32)
        for begin in range(0, len(light), ROWS_AT_ONCE):
            part = slice(begin, begin + ROWS_AT_ONCE)
            world = turn @ self._rays[:, part]
            self._fill(light[part], world, pupil, ways, at_s)
        if self._dark is not None:
            light[self._dark] = 0.0
        return light

    def _fill(
        self,
        light: Floats,
        world: Floats,
        pupil: NDArray[np.float64],
        ways: list[tuple[float, Passer]],
        at_s: float,
    ) -> None:
        waiting = list(reversed(ways))  # the farthest one last
        for number, layer in enumerate(self._scenery.layers):
            while number and waiting and waiting[-1][0] > layer.distance_mm:
                waiting.pop()[1].paint(light, world, pupil, at_s)
            red_blue, green_opacity = seen(layer, *_from_the_middle(world, pupil, layer))
            shown = (red_blue[:, 0], green_opacity[:, 0], red_blue[:, 1])
            if number == 0:
                for part, codes in enumerate(shown):
                    light[:, part] = self._light.take(codes)
            else:
                there = np.flatnonzero(green_opacity[:, 1])  # most of a near layer is empty
                opacity = green_opacity[there, 1] * np.float32(1 / FULL)
                for part, codes in enumerate(shown):
                    behind = light[there, part]
                    light[there, part] = behind + opacity * (self._light.take(codes[there]) - behind)
        while waiting:
            waiting.pop()[1].paint(light, world, pupil, at_s)


def _from_the_middle(world: Floats, pupil: NDArray[np.float64], layer: Layer) -> Floats:
    """Where rays (3, n) from the pupil meet a layer, as directions from the turning point (not unit vectors)."""
    if np.isinf(layer.distance_mm) or not pupil.any():
        return world
    along = pupil.astype(np.float32) @ world
    room = np.float32(layer.distance_mm**2 - pupil @ pupil)
    reach = np.sqrt(along * along + room) - along
    met: Floats = world * reach + pupil.astype(np.float32)[:, np.newaxis]
    return met
