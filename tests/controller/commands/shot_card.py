"""A session, and the card that its camera would have written."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from PIL import Image
from PIL.ExifTags import IFD, Base
from PIL.TiffImagePlugin import IFDRational

from controller.planning.make import make_plan
from controller.session.rows import Intent, Moment, RunReason, ShotOutcome
from controller.session.session import Session
from protocol.units import NS
from tests.end_to_end.whole_runs import kit_of

PLAN = make_plan(kit_of(14.0, exposure={"bracket_ev": [-2, 0, 2]}), 0.3)
SHUTTERS = PLAN.kit.shutter_times_s()
BEGIN = datetime(2026, 6, 21, 5, 0, tzinfo=UTC)
EXPOSURES = sorted(PLAN.exposures)


def opened_s(number: int) -> float:
    """When exposure `number` of the session opened, in seconds after the beginning; some moves take longer."""
    frame = number // 3
    return 10 + frame * 4.1 + (frame // 5) * 1.7 + number % 3 * 0.7


def session_at(path: Path, doubts: tuple[int, ...] = ()) -> Path:
    about = {"kind": "capture", "plan": PLAN.model_dump_json(), "plan_hash": PLAN.hash}
    with Session.create(path, about, durable=True) as session:
        session.begin_run(RunReason.BEGUN, Moment(0, BEGIN.isoformat()))
        for number, (frame, exposure) in enumerate(EXPOSURES):
            at_ns = round(opened_s(number) * NS)
            session.intend(Intent(frame, exposure, 1, number + 1, 0.0, 0.0, SHUTTERS[exposure]), at_ns)
            session.conclude(number + 1, ShotOutcome.CONFIRMED, at_ns + NS // 10, None)
        session.end_run("Done.", complete=True)
        if doubts:
            session.doubt_frames(doubts)
    return path


def shot(path: Path, number: int, ahead: timedelta = timedelta(hours=2, seconds=3.25), **tags: Any) -> None:
    moment = BEGIN + timedelta(seconds=opened_s(number)) + ahead
    exif = Image.Exif()
    exif[Base.Make], exif[Base.Model] = "Anvil", tags.get("model", "One")
    exif.get_ifd(IFD.Exif).update(
        {
            Base.DateTimeOriginal: f"{moment:%Y:%m:%d %H:%M:%S}",
            Base.SubsecTimeOriginal: f"{moment.microsecond // 10000:02}",
            Base.ExposureTime: IFDRational(round(tags.get("shutter", SHUTTERS[number % 3]) * 1e6), 1_000_000),
        }
    )
    path.parent.mkdir(parents=True, exist_ok=True)
    Image.new("L", (48, 32), number % 256).save(path, exif=exif)


def card_at(folder: Path, without: tuple[int, ...] = (), model: str = "One") -> Path:
    for number in range(len(EXPOSURES)):
        if number not in without:
            shot(folder / "100ANVIL" / f"FULL{number + 1:04}.JPG", number, model=model)
    return folder
