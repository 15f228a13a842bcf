"""Photographs of real surfaces that the package scikit-image ships, for the ground and a wall of the invented place.

`grass.png` and `brick.png` (512 x 512, grey) are under the Creative Commons CC0 licence, as the package's documentation
of `skimage.data.grass` and `skimage.data.brick` says. How large a piece they show is our own choice.
"""

from __future__ import annotations

from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path

import numpy as np
from PIL import Image

from sim.scene.textures import Surfaces, Texture

GRASS_MM, BRICKS_MM = 1500.0, 1900.0  # across


@lru_cache(maxsize=1)
def surfaces() -> Surfaces:
    """Grass and a wall of bricks."""
    return Surfaces(_texture("grass.png", GRASS_MM), _texture("brick.png", BRICKS_MM))


def _texture(name: str, across_mm: float) -> Texture:
    package = find_spec("skimage")
    assert package is not None, "scikit-image is missing: install the extra `test`"
    assert package.submodule_search_locations is not None
    folder = Path(package.submodule_search_locations[0])
    return Texture.of(np.asarray(Image.open(folder / "data" / name).convert("L")), across_mm)
