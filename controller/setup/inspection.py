"""What the program itself can check of a step of setting up."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from PIL.ExifTags import Base

from controller import exif
from controller.calibration.records import Record
from controller.calibration.validity import State, fresh
from controller.capture.preflight import word_of
from controller.kit.kit import Kit
from controller.kit.picture import PictureFacts, shot_of
from controller.matching.evidence import same_shutter
from controller.picture_file import read_facts

MANUAL = 1  # ExposureMode and WhiteBalance (CIPA DC-008): 0 is automatic, 1 is manual
FLASH_FIRED = 1  # the lowest bit of Flash
FOCAL_SHARE = 0.01
APERTURE_SHARE = 0.06  # half of a third of a stop: 2^(1/12) is 1.059


@dataclass(frozen=True, slots=True)
class Observation:
    """What was found, in a sentence, and whether it is right.

    `looked`: the program itself saw all of it. `said`: a person answered for the rest.
    """

    good: bool
    sentence: str
    looked: bool = True
    said: bool = False

    @property
    def word(self) -> str:
        """`ok` if the program looked at it, `see` if only the operator can check it, `NO` if it is wrong."""
        return word_of(self.good, looked=self.looked)


def calibration_found(kit: Kit, records: Sequence[Record], now: datetime, kinds: Sequence[str]) -> Observation:
    """Whether these kinds of calibration exist and are fresh."""
    standings = [one for one in fresh(kit, records, now) if one.kind.value in kinds]
    open_ones = [one for one in standings if one.state is not State.PRESENT]
    return Observation(not open_ones, " ".join(one.sentence for one in open_ones or standings))


def picture_found(path: Path, kit: Kit, now: datetime) -> Observation:
    """Whether a picture was shot with the kit's camera and all settings manual.

    Raises InputError if it is no photograph.
    """
    shot, modes = shot_of(path), _modes(path)
    wrong = [*_modes_wrong(modes), *_kit_wrong(shot, kit)]
    if wrong:
        return Observation(False, f"{path.name}: " + "; ".join(wrong) + ".")
    unsaid = [name for name, tag in MODES if modes.get(tag) is None]
    if kit.exposure.f_number is not None and shot.f_number is None:
        unsaid.append("aperture")
    text = f"{path.name}: manual, {shot.shutter_seconds:g} s, {shot.focal_length_mm:g} mm, as in the kit."
    if unsaid:
        text += f" It does not say its {' and '.join(unsaid)}; check that yourself."
    return Observation(True, text + _clock_text(shot, now), looked=not unsaid)


MODES = (("exposure mode", Base.ExposureMode), ("white balance", Base.WhiteBalance))


def _modes(path: Path) -> dict[int, int | None]:
    details = read_facts(path).details
    return {tag: exif.whole(details.get(tag)) for tag in (Base.ExposureMode, Base.WhiteBalance, Base.Flash)}


def _modes_wrong(modes: dict[int, int | None]) -> list[str]:
    wrong = [f"its {name} was not manual" for name, tag in MODES if modes.get(tag) not in {None, MANUAL}]
    flash = modes.get(Base.Flash)
    return wrong + (["its flash fired"] if flash is not None and flash & FLASH_FIRED else [])


def _kit_wrong(shot: PictureFacts, kit: Kit) -> list[str]:
    """What differs from the kit; any shutter time of the bracket is right."""
    wrong = []
    camera = (kit.camera.pixels_wide, kit.camera.pixels_high)
    if sorted(shot.pixels) != sorted(camera):
        wrong.append(f"it has {shot.pixels[0]} x {shot.pixels[1]} pixels, the kit {camera[0]} x {camera[1]}")
    focal = kit.lens.focal_length_mm
    if shot.focal_length_mm is None:
        wrong.append("it does not say its focal length")
    elif abs(shot.focal_length_mm / focal - 1) > FOCAL_SHARE:
        wrong.append(f"it was taken at {shot.focal_length_mm:g} mm, the kit says {focal:g} mm")
    f_number = kit.exposure.f_number
    if f_number is not None and shot.f_number is not None and abs(shot.f_number / f_number - 1) > APERTURE_SHARE:
        wrong.append(f"it was taken at f/{shot.f_number:g}, the kit says f/{f_number:g}")
    times = kit.shutter_times_s()
    if shot.shutter_seconds is None:
        wrong.append("it does not say its shutter time")
    elif not any(same_shutter(shot.shutter_seconds, time) for time in times):
        wrong.append(
            f"its shutter was open for {shot.shutter_seconds:g} s, the kit has {', '.join(f'{t:g}' for t in times)} s"
        )
    return wrong


def _clock_text(shot: PictureFacts, now: datetime) -> str:
    """What the camera's clock said when it was shot: the operator sees whether it is set."""
    if shot.taken is None:
        return ""
    moment = datetime.fromisoformat(shot.taken)
    return f" Its clock said {moment:%Y-%m-%d %H:%M:%S}; now it is {now.astimezone():%Y-%m-%d %H:%M:%S}."
