"""The range of every number that users state: one table of bounds, each with its unit and its reason.

A kit's keys and the options of the commands are checked by their names, so one quantity has one range everywhere. A bound
catches slips (a wrong unit, a digit too many). It also keeps everything computed from the number finite, representable on
the wire (protocol/SPEC.md) and quick to plan. It is not a maker's limit.

Reasons without a source are common practice.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Bound:
    """The least and the most that a number may be, both included; its unit, "" for a plain number; and the reason."""

    least: float
    most: float
    unit: str
    why: str

    def text(self) -> str:
        """The range in words, with its unit."""
        return f"from {self.least:.10g} to {self.most:.10g} {self.unit}".rstrip()

    def holds(self, value: float) -> bool:
        """Whether a number is within the bounds; NaN is not."""
        return self.least <= value <= self.most


FOCAL_LENGTHS = "from the lens of a telephone to the longest telescope that a head would turn"
DISTANCES = "from touching the lens to the horizon as seen from an aircraft"
UNCERTAINTIES = "as large as the quantity itself at most; more says that nothing was measured"
WIRE_MS = "a time in milliseconds on the wire, 16 or 32 bits wide"
TURNS = "ten turns either way: cables bear no more"
SHUTTERS = "from a flash's duration to one hour; a series of shorter exposures does the same"

BOUNDS: dict[str, Bound] = {
    # [camera]
    "sensor_width_mm": Bound(0.5, 300, "mm", "from the sensor of an endoscope to a plate of 8 x 10 inches"),
    "sensor_height_mm": Bound(0.5, 300, "mm", "from the sensor of an endoscope to a plate of 8 x 10 inches"),
    "pixels_wide": Bound(16, 100_000, "", "more than any camera has; fewer than 16 cannot be stitched"),
    "pixels_high": Bound(16, 100_000, "", "more than any camera has; fewer than 16 cannot be stitched"),
    "crop_width_mm": Bound(0.1, 300, "mm", "a part of the sensor"),
    "crop_height_mm": Bound(0.1, 300, "mm", "a part of the sensor"),
    "offset_right_mm": Bound(-50, 50, "mm", "more than the shift of any lens"),
    "offset_up_mm": Bound(-50, 50, "mm", "more than the shift of any lens"),
    # [lens]
    "focal_length_mm": Bound(0.5, 3000, "mm", FOCAL_LENGTHS),
    "image_circle_mm": Bound(0.5, 1000, "mm", "from the sensor of an endoscope to beyond a plate's corners"),
    "undistorted_share": Bound(0.5, 1, "share", "correction that cuts off more than half means other data"),
    # [exposure]
    "shutter_seconds": Bound(1e-6, 3600, "s", SHUTTERS),
    "exposure_s": Bound(1e-9, 86_400, "s", "a day; no battery and no sensor lasts longer"),
    "bracket_ev": Bound(-10, 10, "EV", "2^20 from the darkest to the brightest: beyond any scene"),
    "focus_ms": Bound(0, 10_000, "ms", WIRE_MS),
    "press_ms": Bound(1, 3_600_000, "ms", WIRE_MS),
    "release_lag_ms": Bound(0, 5_000, "ms", "a mirror raised early, or a delay of the camera, of seconds at most"),
    "ready_ms": Bound(0, 60_000, "ms", "a camera that writes for longer than a minute is set wrongly"),
    "file_megabytes": Bound(0.001, 10_000, "MB", "from a thumbnail to the largest file that a card takes, twice over"),
    "f_number": Bound(0.5, 256, "", "0.5 is the limit of a lens in air; 256 is a pinhole"),
    "longest_timed_s": Bound(0.001, 3600, "s", SHUTTERS),
    "noise_reduction_from_s": Bound(1e-6, 3600, "s", SHUTTERS),
    # [head.pan] and [head.tilt]
    "full_steps_per_turn": Bound(1, 10_000, "", "stepping motors have 4 to 1000"),
    "microsteps": Bound(1, 256, "", "the most that drivers offer"),
    "gear_ratio": Bound(0.01, 100_000, "", "from a step-up by a hundred to several worm gears in a row"),
    "measured_steps_per_degree": Bound(0.1, 500_000, "steps/deg", "positions are 32 bits wide on the wire"),
    "max_speed_deg_s": Bound(0.01, 360, "deg/s", "from a turn in ten hours to one a second"),
    "max_accel_deg_s2": Bound(0.01, 3600, "deg/s2", "from a start that takes minutes to a hundredth of a second"),
    "min_deg": Bound(-3600, 3600, "deg", TURNS),
    "max_deg": Bound(-3600, 3600, "deg", TURNS),
    "backlash_deg": Bound(0, 5, "deg", "more play than that is a broken gear"),
    "eccentricity_deg": Bound(0, 5, "deg", "more than that is a broken gear"),
    # [head]
    "ring_hz": Bound(0.1, 1000, "Hz", "slower than a mast, or faster than anything that a camera stands on"),
    "ring_damping": Bound(0.001, 0.99, "", "less than a tuning fork in air, and less than critical (1)"),
    "ring_hz_within": Bound(0, 0.5, "share", "half as fast to half as fast again: more is no measurement"),
    "ring_damping_within": Bound(0, 0.9, "share", "a tenth to nearly double"),
    "settle_ms": Bound(0, 600_000, "ms", "ten minutes: what swings for longer is not to be waited for"),
    "level_error_deg": Bound(0, 10, "deg", "more can be seen without a level"),
    "lean_deg": Bound(0, 20, "deg", "more would tip a tripod"),
    "lean_toward_deg": Bound(-360, 360, "deg", "a turn either way"),
    # [power]
    "pause_every_wh": Bound(0.1, 100_000, "Wh", "more than can be carried"),
    "head_watts": Bound(0, 5_000, "W", "more than a socket gives"),
    "camera_watts": Bound(0, 1_000, "W", "a camera with lamps"),
    "battery_watt_hours": Bound(0.001, 100_000, "Wh", "from less than a coin cell to the battery of a car"),
    # [board]
    "baud": Bound(1200, 4_000_000, "bit/s", "what serial adapters make"),
    "max_step_rate_hz": Bound(100, 1_000_000, "steps/s", "what small computers make"),
    "silence_ms": Bound(100, 60_000, "ms", "the head turns on meanwhile"),
    # options of `plan`, `rehearse` and `simulate`
    "overlap": Bound(0, 0.9, "share", "more than nine tenths would make ten frames of each"),
    "resolution": Bound(0.01, 1_000_000, "px/deg", "from 4 pixels to 360 million round the turn"),
    "print_width_cm": Bound(0.1, 100_000, "cm", "from a stamp to a kilometre"),
    "dpi": Bound(1, 10_000, "", "from a wall seen from afar to the finest printer"),
    "max_frames": Bound(1, 1_000_000, "", "more frames than shutters last"),
    "max_seconds": Bound(1, 31_557_600, "s", "a year"),
    "passes": Bound(1, 100, "", "a crowd is gone from the median of far fewer"),
    "passes_within": Bound(0, 90, "deg", "from the horizon to the poles"),
    "effort": Bound(0, 100_000, "s", "a little more than a day"),
    "seed": Bound(0, 4_294_967_295, "", "32 bits of chance"),
    "rehearse": Bound(0, 4_294_967_295, "", "32 bits of chance"),
    "scale": Bound(1e-5, 1, "share", "of a camera's own picture"),
    "port_number": Bound(0, 65_535, "", "a TCP port; 0 is any that is free (RFC 9293, section 3.1)"),
    "speed": Bound(0.01, 100, "", "as fast as this computer can follow"),
    # a place, a time, a pose
    "pitch_deg": Bound(-90, 90, "deg", "from the nadir to the zenith"),
    "yaw_deg": Bound(-360, 360, "deg", "a turn either way"),
    "latitude": Bound(-90, 90, "deg", "from pole to pole"),
    "longitude": Bound(-180, 180, "deg", "half the globe either way"),
    "start_when_sun": Bound(-90, 90, "deg", "an altitude"),
    "times": Bound(1, 10_000, "", "a set every five minutes for a month"),
    "repeat": Bound(1, 31_557_600, "s", "a year"),
    "countdown": Bound(0, 600, "s", "ten minutes"),
    "seconds": Bound(0.1, 100_000, "s", "a little more than a day"),
    "record_id": Bound(1, 1_000_000_000, "", "records are counted from 1"),
    # options of `calibrate`
    "reading_error_deg": Bound(1e-9, 10, "deg", "from the finest autocollimator to the naked eye, with room"),
    "needed_deg": Bound(1e-9, 10, "deg", "a pose is missed by less than this, or is another one"),
    "pixel_um": Bound(0.1, 1000, "um", "from below the wavelength of light to a millimetre"),
    "u_focal_length_mm": Bound(0, 3000, "mm", UNCERTAINTIES),
    "u_pose_deg": Bound(0, 10, "deg", UNCERTAINTIES),
    "u_pupil_mm": Bound(0, 1000, "mm", UNCERTAINTIES),
    "axis_height_mm": Bound(50, 100_000, "mm", "from a plate on the ground to a mast"),
    "nearest_mm": Bound(1, 1e9, "mm", DISTANCES),
    "near_mm": Bound(1, 1e9, "mm", DISTANCES),
    "far_mm": Bound(1, 1e9, "mm", DISTANCES),
    "far_at_least_mm": Bound(1, 1e9, "mm", DISTANCES),
    "distance_mm": Bound(1, 1e9, "mm", DISTANCES),
    "u_near_mm": Bound(0, 1e9, "mm", UNCERTAINTIES),
    "u_far_mm": Bound(0, 1e9, "mm", UNCERTAINTIES),
    "angle_deg": Bound(-90, 90, "deg", "marks that are seen are in front"),
    "u_angle_deg": Bound(0, 90, "deg", UNCERTAINTIES),
    "u_aim_deg": Bound(0, 90, "deg", UNCERTAINTIES),
    "place_px": Bound(-100_000, 100_000, "px", "within the widest picture"),
    "mark_px": Bound(1, 100_000, "px", "within the widest picture"),
    "blur_px": Bound(0.001, 100_000, "px", "within the widest picture"),
    "reading_error_px": Bound(0, 100_000, "px", UNCERTAINTIES),
    "u_shift_px": Bound(0, 100_000, "px", UNCERTAINTIES),
    "u_distortion_percent": Bound(0, 20, "percent", "more than any lens distorts"),
    "u_sideways_mm": Bound(0, 1000, "mm", UNCERTAINTIES),
    "rail_mm": Bound(-10_000, 10_000, "mm", "a rail of ten metres"),
    "every_ms": Bound(0.001, 3_600_000, "ms", "from a camera for crashes to one picture an hour"),
    "from_ms": Bound(-3_600_000, 3_600_000, "ms", "an hour either way"),
    "degrees_per_unit": Bound(1e-12, 1e6, "deg", "from the counts of a seismometer to whole turns"),
    "shutter_s": Bound(1e-6, 3600, "s", SHUTTERS),
    "leg_yaw_deg": Bound(-360, 360, "deg", "a turn either way"),
    "leg_radius_mm": Bound(1, 5000, "mm", "a tripod's"),
    "pupil_offset_mm": Bound(-1000, 1000, "mm", "longer than any lens that a head would turn"),
    "positions": Bound(3, 100, "", "an afternoon's work"),
    "approaches": Bound(2, 100, "", "an afternoon's work"),
    "visits": Bound(3, 100, "", "an afternoon's work"),
    # options of `kit loads`
    "mass_kg": Bound(0.001, 100, "kg", "more than one person lifts"),
    "length_mm": Bound(0, 3000, "mm", "of the longest lens"),
    "height_mm": Bound(0, 3000, "mm", "of the longest lens"),
    "tilt_offset_mm": Bound(0, 1000, "mm", "within the load"),
    "pan_offset_mm": Bound(0, 1000, "mm", "within the load"),
    "rotor_g_cm2": Bound(0, 1e6, "g cm2", "a motor as large as the load"),
    "gear_efficiency": Bound(0.001, 1, "share", "no gear gives back more than it takes"),
    "total_kg": Bound(0.001, 500, "kg", "a crane's"),
    "feet_radius_mm": Bound(1, 5000, "mm", "a tripod's"),
    "wind_height_mm": Bound(1, 20_000, "mm", "a mast's"),
    "area_m2": Bound(0, 10, "m2", "a sail's"),
    "wind_m_s": Bound(0, 60, "m/s", "beyond the highest class of hurricanes nobody photographs"),
    "margin": Bound(1, 10, "", "common practice is 2"),
    "rpm": Bound(0, 100_000, "rpm", "more than any stepping motor turns"),
    "torque_nm": Bound(0, 10_000, "N m", "more than any motor of a head has"),
}

ANY = Bound(-1e12, 1e12, "", "the counts of any sensor")
READINGS: dict[str, Bound] = {
    "yaw_deg": Bound(-3600, 3600, "deg", TURNS),
    "pitch_deg": Bound(-180, 180, "deg", "an instrument may count on beyond the zenith"),
    "deg": Bound(-1.3e7, 1.3e7, "deg", "ten turns in arc seconds, which a fit tells from degrees"),
    "steps": Bound(-(2**31), 2**31 - 1, "steps", "positions are 32 bits wide on the wire"),
    "turns": Bound(-1000, 1000, "turns", "an afternoon's work"),
    "ms": Bound(-3_600_000, 3_600_000, "ms", "an hour either way"),
    "": ANY,
}
"""The range of one reading by the end of its column's name; the first match counts."""


def reading_bound(column: str) -> Bound:
    """The bound for a column of readings."""
    return next(bound for end, bound in READINGS.items() if column.endswith(end))
