"""What a whole set is made of: kit, plan, and all that the kit does not say."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

from controller.kit.kit import Kit
from controller.optics.projection import Projection
from controller.planning.request import RegionKind, Request
from sim.scene.bare import Bareness
from sim.scene.lens import Distortion, Vignetting
from sim.scene.spoilt import NOT_TURNED, Turn
from tests.end_to_end.whole_runs import kit_of


@dataclass(frozen=True, slots=True)
class Hidden:
    """What is true and the kit does not say.

    The focal length is `focal_share` of the kit's; the picture's centre is `centre_mm` right of and above the lens's
    axis; the entrance pupil is `pupil_mm` ahead of the axes and to their right. Both axes turn more than commanded by the
    shares `pan_scale` and `tilt_scale`, and have a play of `play_deg` (pan, tilt); with more than the kit allows for, the
    run ends early. The camera is turned on its mount by `mount_deg`, and each frame at random by `scatter_deg` (standard
    deviation) about each of its axes.
    """

    focal_share: float = 1.0
    distortion: Distortion | None = None
    vignetting: Vignetting | None = None
    centre_mm: tuple[float, float] = (0.0, 0.0)
    pupil_mm: tuple[float, float] = (0.0, 0.0)
    pan_scale: float = 0.0
    tilt_scale: float = 0.0
    play_deg: tuple[float, float] = (0.0, 0.0)
    mount_deg: Turn = NOT_TURNED
    scatter_deg: float = 0.0


@dataclass(frozen=True, slots=True)
class SetSpec:
    """One kind of set. Its seed draws the place, the head's dither, the scatter and the noise.

    Pictures are those of a whole sensor of 36 x 24 mm with `long_px` pixels on its long side. The run ends after `made`
    exposures (None: when it is complete). With `bareness`, parts of the place show nothing; `passers` are people
    and cars that move meanwhile. With `open_surfaces`, ground and a wall 3 m away are photographs of real ones.
    """

    focal_mm: float = 24.0
    projection: Projection = Projection.RECTILINEAR
    circle_mm: float | None = None
    mounted: str = "portrait"
    long_px: int = 960
    overlap: float = 0.3
    band_deg: tuple[float, float] | None = None
    window_deg: tuple[float, float] | None = None
    bracket_ev: tuple[float, ...] = (0.0,)
    lean_deg: tuple[float, float] = (0.0, 0.0)
    made: int | None = None
    bareness: Bareness | None = None
    passers: tuple[int, int] = (0, 0)
    passes: int = 1
    open_surfaces: bool = False
    hidden: Hidden = field(default_factory=Hidden)

    def kit(self, *, true: bool = False) -> Kit:
        """The photographer's kit, or with `true` the one that takes the pictures."""
        lens: dict[str, Any] = {"projection": self.projection.value}
        if self.circle_mm is not None:
            lens["image_circle_mm"] = self.circle_mm
        right_mm, up_mm = self.hidden.centre_mm if true else (0.0, 0.0)
        camera = {"pixels_wide": self.long_px, "pixels_high": round(self.long_px * 2 / 3), "mounted": self.mounted}
        return kit_of(
            self.focal_mm * (self.hidden.focal_share if true else 1.0),
            lens=lens,
            camera=camera | {"offset_right_mm": right_mm, "offset_up_mm": up_mm},
            head={"lean_deg": self.lean_deg[0], "lean_toward_deg": self.lean_deg[1]},
            exposure={"bracket_ev": list(self.bracket_ev)},
        )

    def request(self) -> Request:
        """The whole sphere, the band, or the part of the band between the yaws of the window."""
        if self.band_deg is None:
            return Request(passes=self.passes)
        low_deg, high_deg = self.band_deg
        if self.window_deg is None:
            return Request(region=RegionKind.BAND, pitch_from_deg=low_deg, pitch_to_deg=high_deg, passes=self.passes)
        left_deg, right_deg = self.window_deg
        return Request(RegionKind.WINDOW, low_deg, high_deg, left_deg, right_deg)


ORDINARY = Hidden(
    focal_share=1.01,
    distortion=Distortion(-0.01),
    vignetting=Vignetting(natural=True, corner_share=0.8),
    centre_mm=(0.06, -0.04),
    pan_scale=0.001,
    tilt_scale=-0.001,
    mount_deg=(0.15, 0.05, -0.2),
    scatter_deg=0.01,
)

P = Projection
KINDS: dict[str, SetSpec] = {
    "24 mm sphere": SetSpec(hidden=ORDINARY),
    "50 mm band": SetSpec(50.0, band_deg=(-40, 40), overlap=0.25, hidden=ORDINARY),
    "50 mm window": SetSpec(50.0, band_deg=(-25, 30), window_deg=(-60, 70), overlap=0.25, hidden=ORDINARY),
    "8 mm fisheye": SetSpec(8.0, P.EQUIDISTANT, circle_mm=23.0, hidden=replace(ORDINARY, vignetting=None)),
    "15 mm fisheye": SetSpec(15.0, P.EQUISOLID, hidden=replace(ORDINARY, vignetting=Vignetting(corner_share=0.6))),
    "leaning head": SetSpec(lean_deg=(3.0, 40.0), hidden=ORDINARY),
    "distortion of 3 %": SetSpec(hidden=replace(ORDINARY, distortion=Distortion(-0.037))),
    "pupil 15 mm off": SetSpec(open_surfaces=True, hidden=replace(ORDINARY, pupil_mm=(15.0, 0.0))),
    "open surfaces": SetSpec(open_surfaces=True, hidden=ORDINARY),
    "sky, water and wall": SetSpec(bareness=Bareness(), hidden=ORDINARY),
    "people and cars": SetSpec(passers=(6, 3), hidden=ORDINARY),
    "two passes": SetSpec(band_deg=(-12, 12), passers=(9, 4), passes=2, hidden=ORDINARY),
    "play": SetSpec(hidden=replace(ORDINARY, play_deg=(0.06, 0.05))),
    "incomplete": SetSpec(made=19, hidden=ORDINARY),
    "bracket of 3": SetSpec(bracket_ev=(-2.0, 0.0, 2.0), hidden=ORDINARY),
}
"""The sets that an inspection is judged by. Distortion of 3 % is that of the picture's corner, 0.9 of the focal length
from the axis."""
