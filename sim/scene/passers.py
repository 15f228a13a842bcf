"""People and cars that move between frames, each as a flat upright picture at its place in the world.

The world is x toward yaw 0, y toward yaw 90, z up; the head turns about its origin. All of it is of our own invention.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from sim.scene.lens import Floats

Vector = NDArray[np.float64]
PERSON_MM, CAR_MM = (620.0, 1750.0), (4300.0, 1480.0)  # width, height
PERSON_MM_S, CAR_MM_S = 1400.0, 8000.0
POINTS_HIGH = 160  # of a picture


@dataclass(frozen=True, slots=True, eq=False)
class Passer:
    """Something `size_mm` (width, height) that goes from the foot point `ends_mm[0]` (x, y) to `ends_mm[1]` and back.

    It moves at `speed_mm_s` and was at the first point at the moment `since_s`. Its `picture` (rows, columns, 4) is light
    in red, green and blue times opacity, and opacity. It faces the camera, or with `broadside` stands along its way.
    The ground is `ground_mm` below the origin.
    """

    picture: Floats
    size_mm: tuple[float, float]
    ends_mm: tuple[tuple[float, float], tuple[float, float]]
    speed_mm_s: float
    since_s: float = 0.0
    broadside: bool = False
    ground_mm: float = 1600.0

    def foot_mm(self, at_s: float) -> Vector:
        """The middle of its foot (x, y, z) at a moment."""
        one, other = (np.array([*end, -self.ground_mm]) for end in self.ends_mm)
        length = float(np.linalg.norm(other - one))
        gone = (at_s - self.since_s) * self.speed_mm_s % (2 * length)
        return np.asarray(one + (other - one) * (min(gone, 2 * length - gone) / length))

    def across(self, at_s: float) -> Vector:
        """The horizontal unit vector to its right as seen from the origin."""
        x, y, _ = self.foot_mm(at_s)
        seen = np.array([-y, x, 0.0]) / math.hypot(x, y)
        if not self.broadside:
            return seen
        along = np.array([*np.subtract(self.ends_mm[1], self.ends_mm[0]), 0.0])
        along /= np.linalg.norm(along)
        return np.asarray(along if along @ seen >= 0 else -along)

    def distance_mm(self, at_s: float) -> float:
        """From the origin, along the ground."""
        return float(np.hypot(*self.foot_mm(at_s)[:2]))

    def paint(self, light: Floats, world: Floats, pupil: Vector, at_s: float) -> None:
        """Paint it over the light (n, 3) of rays (3, n) from the entrance pupil."""
        width, height = self.size_mm
        foot, across = self.foot_mm(at_s), self.across(at_s)
        middle = foot + np.array([0.0, 0.0, height / 2]) - pupil
        away = float(np.linalg.norm(middle))
        reach = math.cos(min(math.pi / 2, math.atan2(0.6 * math.hypot(width, height), away)))
        near = np.flatnonzero((middle / away).astype(np.float32) @ world > reach)
        if not len(near):
            return
        rays = world[:, near].astype(np.float64)
        normal = np.array([-across[1], across[0], 0.0])
        with np.errstate(divide="ignore", invalid="ignore"):
            met = rays * ((normal @ middle) / (normal @ rays))
        rows, columns = self.picture.shape[:2]
        column = (across @ met - across @ (foot - pupil)) / width * columns + columns / 2 - 0.5
        row = (foot[2] + height - pupil[2] - met[2]) / height * rows - 0.5
        for_all = [
            ndimage.map_coordinates(self.picture[..., part], [row, column], order=1, mode="grid-constant")
            for part in range(4)
        ]
        *colours, opacity = np.nan_to_num(np.stack(for_all))
        light[near] = light[near] * (1 - opacity)[:, np.newaxis] + np.stack(colours, axis=1)


def person(seed: int) -> Floats:
    """The picture of an invented passer-by: head, coat and legs."""
    random = np.random.default_rng((seed, 11))
    right, up = _grid(PERSON_MM)
    coat, trousers = random.uniform(0.05, 0.6, 3), random.uniform(0.03, 0.25, 3)
    head = np.hypot(right, up - 1620) < 115
    body = (np.abs(right) < 130 + 0.12 * (1450 - up)) & (up > 780) & (up < 1480)
    legs = (np.abs(np.abs(right) - 110) < 85) & (up <= 800)
    return _drawn(random, [(head, np.array([0.42, 0.28, 0.20])), (legs, trousers), (body, coat)])


def car(seed: int) -> Floats:
    """The picture of an invented car from the side: body, windows, wheels."""
    random = np.random.default_rng((seed, 12))
    right, up = _grid(CAR_MM)
    body = (np.abs(right) < 2100) & (up > 250) & (up < 850)
    roof = (np.abs(right + 150) < 1350 - 0.9 * (up - 850)) & (up >= 850) & (up < 1440)
    windows = (np.abs(right + 150) < 1200 - 0.9 * (up - 850)) & (up > 900) & (up < 1340) & (np.abs(right + 150) > 50)
    wheels = np.hypot(np.abs(right) - 1350, up - 320) < 310
    colour, dark = random.uniform(0.05, 0.7, 3), np.array([0.03, 0.03, 0.04])
    return _drawn(random, [(body, colour), (roof, colour), (windows, 4 * dark), (wheels, dark)])


def passers(seed: int, people: int, cars: int) -> tuple[Passer, ...]:
    """People 4 to 12 m from the head and cars 14 to 25 m away, each going to and fro along its own straight way."""
    random = np.random.default_rng((seed, 13))
    moving = []
    for number in range(people + cars):
        walks = number < people
        nearest, half = (random.uniform(4e3, 12e3), 9e3) if walks else (random.uniform(14e3, 25e3), 30e3)
        toward, begun_s = random.uniform(0, 2 * math.pi), random.uniform(0, 60)
        middle = nearest * np.array([math.cos(toward), math.sin(toward)])
        aside = half * np.array([-math.sin(toward), math.cos(toward)])
        one, other = ((float(end[0]), float(end[1])) for end in (middle - aside, middle + aside))
        drawn = (person if walks else car)((seed << 8) + number)
        size_mm, speed = (PERSON_MM, PERSON_MM_S) if walks else (CAR_MM, CAR_MM_S)
        moving.append(Passer(drawn, size_mm, (one, other), speed, -begun_s, broadside=not walks))
    return tuple(moving)


def _grid(size_mm: tuple[float, float]) -> tuple[Vector, Vector]:
    """Millimetres right of the middle and above the ground for the points of a picture."""
    rows, columns = POINTS_HIGH, round(POINTS_HIGH * size_mm[0] / size_mm[1])
    right = ((np.arange(columns) + 0.5) / columns - 0.5) * size_mm[0]
    up = (1 - (np.arange(rows) + 0.5) / rows) * size_mm[1]
    x, y = np.meshgrid(right, up)
    return x, y


def _drawn(random: np.random.Generator, parts: list[tuple[NDArray[np.bool_], Vector]]) -> Floats:
    """A picture of parts over one another, with some texture of its own."""
    shape = parts[0][0].shape
    grain = 1 + 0.25 * ndimage.gaussian_filter(random.standard_normal(shape), 1.0) * 3.5
    picture = np.zeros((*shape, 4), dtype=np.float32)
    for inside, colour in parts:
        picture[inside, :3] = np.clip(colour * grain[inside, np.newaxis], 0.01, 1)
        picture[inside, 3] = 1
    return picture
