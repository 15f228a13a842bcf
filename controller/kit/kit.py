"""The kit as a value: every key has a unit and bounds, and unknown keys are mistakes.

Only `[camera]` and `[lens]` are required. The defaults under `[head]` describe a small belt-driven head with common 1.8
degree motors. They are examples of no real head, and `own_head.py` refuses to move one with them.
"""

import math
from itertools import pairwise
from typing import Annotated, Any, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator
from pydantic.json_schema import SkipJsonSchema

from controller.bounds import BOUNDS
from controller.kit.line import least_silence_ms
from controller.kit.provenance import Source, Sources
from controller.optics import field
from controller.optics.projection import Projection

# An exposure lasts as long as its engraved time, or up to 0.0931 EV longer because engraved times are rounded. Against
# exact powers of two, 30 s is the worst of the third-stop series: it is really 32 s.
LONGEST_OF_NOMINAL = 32 / 30


def within(name: str) -> Any:
    """The bounds of that name (see `bounds`) for a field of a model."""
    bound = BOUNDS[name]
    return Field(ge=bound.least, le=bound.most)


class Table(BaseModel):
    """A table of the kit file: immutable, unknown keys refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False, strict=True)


class Camera(Table):
    """The sensor and the orientation of the body. The width is the long side, whatever `mounted` says."""

    make: str | None = None
    model: str | None = None
    sensor_width_mm: Annotated[float, within("sensor_width_mm")]
    sensor_height_mm: Annotated[float, within("sensor_height_mm")]
    pixels_wide: Annotated[int, within("pixels_wide")]
    pixels_high: Annotated[int, within("pixels_high")]
    mounted: Literal["portrait", "landscape"] = "portrait"
    crop_width_mm: Annotated[float, within("crop_width_mm")] | None = None
    crop_height_mm: Annotated[float, within("crop_height_mm")] | None = None
    offset_right_mm: Annotated[float, within("offset_right_mm")] = 0.0
    offset_up_mm: Annotated[float, within("offset_up_mm")] = 0.0

    @model_validator(mode="after")
    def _crop_fits(self) -> Self:
        for side in ("width", "height"):
            crop, whole = getattr(self, f"crop_{side}_mm"), getattr(self, f"sensor_{side}_mm")
            if crop is not None and crop > whole:
                raise ValueError(f"crop_{side}_mm = {crop:g} is more than sensor_{side}_mm = {whole:g}")
        return self

    @property
    def used_mm(self) -> tuple[float, float]:
        """Width and height in millimetres of the used part of the sensor."""
        return (self.crop_width_mm or self.sensor_width_mm, self.crop_height_mm or self.sensor_height_mm)

    @property
    def used_pixels(self) -> tuple[int, int]:
        """Width and height in pixels of the used part of the sensor."""
        wide, high = self.used_mm
        return (
            round(self.pixels_wide * wide / self.sensor_width_mm),
            round(self.pixels_high * high / self.sensor_height_mm),
        )

    @model_validator(mode="after")
    def _sides_agree(self) -> Self:
        if self.sensor_height_mm > self.sensor_width_mm:
            raise ValueError(
                f"sensor_height_mm = {self.sensor_height_mm:g} is longer than sensor_width_mm = "
                f"{self.sensor_width_mm:g}: the width is the long side, `mounted` says which side is up"
            )
        stretch = (self.pixels_wide / self.pixels_high) / (self.sensor_width_mm / self.sensor_height_mm)
        if abs(stretch - 1) > 0.05:
            raise ValueError(
                f"pixels_wide x pixels_high = {self.pixels_wide} x {self.pixels_high} is not the shape of the "
                f"sensor ({self.sensor_width_mm:g} x {self.sensor_height_mm:g} mm): pixels must be square"
            )
        return self


class Lens(Table):
    """Focal length and projection."""

    make: str | None = None
    model: str | None = None
    focal_length_mm: Annotated[float, within("focal_length_mm")]
    projection: Projection = Projection.RECTILINEAR
    image_circle_mm: Annotated[float, within("image_circle_mm")] | None = None
    correct_distortion: bool = False
    undistorted_share: Annotated[float, within("undistorted_share")] = 1.0
    """The share of the picture's width and height that is left after distortion is corrected (see `lens_data`)."""


class Exposure(Table):
    """The exposures of one frame, and the times that the camera needs around them."""

    shutter_seconds: Annotated[float, within("shutter_seconds")] = 0.0125
    bracket_ev: Annotated[tuple[Annotated[float, within("bracket_ev")], ...], Field(min_length=1, max_length=15)] = (0.0,)
    focus_ms: Annotated[int, within("focus_ms")] = 100
    press_ms: Annotated[int, within("press_ms")] = 100
    release_lag_ms: Annotated[float, within("release_lag_ms")] = 60.0
    ready_ms: Annotated[float, within("ready_ms")] = 250.0
    file_megabytes: Annotated[float, within("file_megabytes")] | None = None
    f_number: Annotated[float, within("f_number")] | None = None
    bulb: bool = False
    """The camera is set to B: the shutter is open while the release contact is closed, and the board times it."""
    longest_timed_s: Annotated[float, within("longest_timed_s")] = 30.0
    """The longest time of the camera's own shutter. Common practice, no source: cameras differ."""
    noise_reduction: bool = False
    """After a long exposure the camera shoots a dark frame of the same length, and is busy meanwhile."""
    noise_reduction_from_s: Annotated[float, within("noise_reduction_from_s")] = 1.0
    """The shutter time from which it does. Common practice, no source: cameras differ."""

    @model_validator(mode="after")
    def _ends(self) -> Self:
        bound = BOUNDS["exposure_s"]
        if not bound.holds(longest := max(self.times_s)):
            raise ValueError(
                f"shutter_seconds = {self.shutter_seconds:g} with this bracket_ev makes an exposure of {longest:g} s; it "
                f"should be {bound.most:g} s at most, {bound.why}"
            )
        return self

    @property
    def times_s(self) -> tuple[float, ...]:
        """Shutter times of one frame in seconds, in bracket order; +1 EV doubles the time.

        Only the time changes in a bracket, never the aperture (check: APEX, Tv = -log2 t, ASA PH2.5-1960).
        """
        return tuple(self.shutter_seconds * math.exp2(ev) for ev in self.bracket_ev)

    @property
    def too_long_s(self) -> tuple[float, ...]:
        """Shutter times that the camera's own shutter cannot make; none at B, because the board times them."""
        most_s = self.longest_timed_s * LONGEST_OF_NOMINAL * (1 + 1e-9)
        return () if self.bulb else tuple(time for time in self.times_s if time > most_s)

    def longest_s(self, shutter_s: float) -> float:
        """The longest that an exposure of `shutter_s` may last, in seconds: engraved times are rounded, the board's are
        not.
        """
        return shutter_s if self.bulb else shutter_s * LONGEST_OF_NOMINAL

    def dark_frame_s(self, shutter_s: float) -> float:
        """The longest that the dark frame after an exposure of `shutter_s` may last, in seconds; 0 if there is none."""
        longest_s = self.longest_s(shutter_s)
        return longest_s if self.noise_reduction and longest_s >= self.noise_reduction_from_s else 0.0

    @property
    def shoots_bracket_itself(self) -> bool:
        """Whether the camera shoots a bracket by itself, one exposure after the other, at each release."""
        return not self.bulb and len(set(self.bracket_ev)) > 1


RingAt = tuple[Annotated[float, within("pitch_deg")], Annotated[float, within("ring_hz")]]
"""A pitch in degrees, and how fast the camera swings there."""


class Axis(Table):
    """One motor with its gearing and limits, in angles of the camera."""

    full_steps_per_turn: Annotated[int, within("full_steps_per_turn")] = 200
    microsteps: Annotated[int, within("microsteps")] = 16
    gear_ratio: Annotated[float, within("gear_ratio")] = 36.0
    measured_steps_per_degree: Annotated[float, within("measured_steps_per_degree")] | None = None
    max_speed_deg_s: Annotated[float, within("max_speed_deg_s")] = 30.0
    max_accel_deg_s2: Annotated[float, within("max_accel_deg_s2")] = 40.0
    min_deg: Annotated[float, within("min_deg")] = -370.0
    max_deg: Annotated[float, within("max_deg")] = 370.0
    backlash_deg: Annotated[float, within("backlash_deg")] = 0.0
    eccentricity_deg: Annotated[float, within("eccentricity_deg")] = (
        0.1  # common practice, no source: 0.05 mm off centre at 30 mm
    )
    zero_switch: bool = True
    ring_hz: Annotated[float, within("ring_hz")] | None = None
    ring_damping: Annotated[float, within("ring_damping")] | None = None
    ring_over_pitch: Annotated[tuple[RingAt, ...], Field(max_length=37)] = ()

    @model_validator(mode="after")
    def _pitches_in_order(self) -> Self:
        pitches = [pitch_deg for pitch_deg, _ in self.ring_over_pitch]
        if any(after <= before for before, after in pairwise(pitches)):
            raise ValueError("ring_over_pitch: the pitches must grow from row to row")
        return self

    @model_validator(mode="after")
    def _limits_in_order(self) -> Self:
        if self.min_deg >= self.max_deg:
            raise ValueError(f"min_deg = {self.min_deg:g} must be less than max_deg = {self.max_deg:g}")
        return self

    @model_validator(mode="after")
    def _steps_fit(self) -> Self:
        bound = BOUNDS["measured_steps_per_degree"]
        if not bound.holds(self.nominal_steps_per_degree):
            raise ValueError(
                f"full_steps_per_turn x microsteps x gear_ratio makes {self.nominal_steps_per_degree:.4g} steps for one "
                f"degree: it should be {bound.least:g} to {bound.most:g}, because {bound.why}"
            )
        return self

    @property
    def steps_per_degree(self) -> float:
        """Microsteps per degree at the camera: as measured if known, otherwise by the gearing."""
        return self.measured_steps_per_degree or self.nominal_steps_per_degree

    @property
    def nominal_steps_per_degree(self) -> float:
        """Microsteps per degree at the camera by motor and gearing alone."""
        return self.full_steps_per_turn * self.microsteps * self.gear_ratio / 360


class TiltAxis(Axis):
    """The tilt axis: an axis with limits a little past the zenith and the nadir."""

    min_deg: Annotated[float, within("min_deg")] = -95.0
    max_deg: Annotated[float, within("max_deg")] = 95.0


class Head(Table):
    """Both axes, how the camera rings after a stop, and how level the head is.

    The pan axis leans by `lean_deg`: its top has moved toward the yaw `lean_toward_deg`. Poses are corrected for it.
    """

    pan: Axis = Axis()
    tilt: TiltAxis = TiltAxis()
    ring_hz: Annotated[float, within("ring_hz")] = 8.0
    ring_damping: Annotated[float, within("ring_damping")] = 0.05
    ring_hz_within: Annotated[float, within("ring_hz_within")] = 0.1
    ring_damping_within: Annotated[float, within("ring_damping_within")] = 0.5
    second_ring_hz: Annotated[float, within("ring_hz")] | None = None
    second_ring_damping: Annotated[float, within("ring_damping")] | None = None
    settle_ms: Annotated[float, within("settle_ms")] | None = None
    level_error_deg: Annotated[float, within("level_error_deg")] = 0.1
    lean_deg: Annotated[float, within("lean_deg")] = 0.0
    lean_toward_deg: Annotated[float, within("lean_toward_deg")] = 0.0

    def pointing_error_deg(self) -> float:
        """The largest pointing error, in degrees, if all errors add up.

        For each axis half a microstep and the motor's own 5 % of a full step (the usual figure of drive makers), plus the
        base's levelling error. Gear play does not count: it is always taken up from the same side.
        """
        errors = [(0.5 + 0.05 * axis.microsteps) / axis.steps_per_degree for axis in (self.pan, self.tilt)]
        return math.hypot(*errors) + self.level_error_deg


class Power(Table):
    """What the rig draws, in watts, and the capacity of the battery."""

    head_watts: Annotated[float, within("head_watts")] = 18.0
    camera_watts: Annotated[float, within("camera_watts")] = 4.0
    battery_watt_hours: Annotated[float, within("battery_watt_hours")] | None = None

    @property
    def watts(self) -> float:
        """What head and camera draw together."""
        return self.head_watts + self.camera_watts


class Board(Table):
    """The connection to the board, and what is wired to it."""

    baud: Annotated[int, within("baud")] = 115_200
    max_step_rate_hz: Annotated[int, within("max_step_rate_hz")] = 20_000
    silence_ms: Annotated[int, within("silence_ms")] = 3000
    sync_contact: bool = True
    wind_sensor: bool = False
    shapes_ramps: bool = True

    @model_validator(mode="after")
    def _patient_enough(self) -> Self:
        least = least_silence_ms(self.baud)
        if self.silence_ms < least:
            raise ValueError(f"silence_ms = {self.silence_ms} is too short for baud = {self.baud}: {least} or more")
        return self


class Kit(Table):
    """The photographer's equipment, as far as the program must know it."""

    camera: Camera
    lens: Lens
    exposure: Exposure = Exposure()
    head: Head = Head()
    power: Power = Power()
    board: Board = Board()
    sources: SkipJsonSchema[Sources] = {}
    """The source of each figure (see `provenance`). The program writes it into plans; a kit file must not contain it."""

    def source(self, key: str) -> Source:
        """The source of the figure with a dotted key."""
        return self.sources.get(key, Source.STATED)

    def field(self, overlap: float) -> field.Field:
        """What one frame sees as mounted, with the core for `overlap`. Raises InputError (see make_field)."""
        camera = self.camera
        left, pixels = self.lens.undistorted_share, camera.used_pixels
        size = (camera.used_mm[0] * left, camera.used_mm[1] * left)
        pixels = (round(pixels[0] * left), round(pixels[1] * left))
        if camera.mounted == "portrait":
            size, pixels = size[::-1], pixels[::-1]
        return field.make_field(
            projection=self.lens.projection,
            focal_length_mm=self.lens.focal_length_mm,
            size_mm=size,
            pixels=pixels,
            overlap=overlap,
            offset_mm=(camera.offset_right_mm, camera.offset_up_mm),
            circle_mm=self.lens.image_circle_mm,
        )

    def shutter_times_s(self) -> tuple[float, ...]:
        """Shutter times of one frame in seconds, in bracket order (see `Exposure.times_s`)."""
        return self.exposure.times_s

    def with_board(self, *, shapes_ramps: bool) -> Self:
        """The same kit with a board that shapes its ramps, or does not."""
        return self.model_copy(update={"board": self.board.model_copy(update={"shapes_ramps": shapes_ramps})})

    def file_megabytes(self) -> float:
        """Megabytes of one photograph: from the kit, or 1.5 bytes a pixel (common practice, no source)."""
        given = self.exposure.file_megabytes
        return given if given is not None else self.camera.pixels_wide * self.camera.pixels_high * 1.5e-6
