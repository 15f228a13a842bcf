"""`fullturn tell`: what another terminal wants of a run."""

import json
from pathlib import Path

from controller import clock
from controller.capture.events import Kind
from controller.capture.operator import as_wanted, wish_of
from controller.errors import InputError, WorldError
from controller.lock import in_use
from controller.session.rows import CAPTURE
from controller.session.session import Session
from protocol.units import MS, NS

PATIENCE_NS = 5 * NS
LOOK_NS = 10 * MS


def tell_command(path: Path, words: list[str]) -> str:
    """Say it to whoever runs the session, and wait until it is heard; what was done, in a sentence.

    Raises InputError, WorldError, StorageFailed.
    """
    wish = wish_of(words)
    running = in_use(path)
    with Session.open(path, to_write=True) as session:
        about = session.about()
        if about.get("kind") != CAPTURE:
            raise InputError(
                f"{path}: is the record of a {about.get('kind', 'run')}; only a capture can be told anything."
            )
        _must_be_planned(wish.frames, about["plan"])
        if running:
            session.wish(wish)
            deadline_ns = clock.monotonic_ns() + PATIENCE_NS
            while session.has_wishes():
                if clock.monotonic_ns() > deadline_ns:
                    return "Said; the run has not taken it yet, it looks for wishes once it is under way."
                clock.wait_ns(LOOK_NS)
            return "Said and heard."
        if as_wanted(wish).kind is not Kind.RETAKE:
            raise WorldError(f"Nobody runs {path} now; `fullturn resume {path}` goes on with it.")
        session.doubt_frames(wish.frames)
        session.note_about("complete", "no")
    return f"`fullturn resume {path}` makes {len(wish.frames)} of its frames once more."


def _must_be_planned(frames: tuple[int, ...], plan: str) -> None:
    """Raise InputError where a frame is not in the plan.

    The plan is not read as a plan for that, which saves a second: somebody may be in a hurry to stop.
    """
    if not frames:
        return
    planned = {frame["id"] for frame in json.loads(plan)["frames"]}
    unknown = set(frames) - planned
    if unknown:
        raise InputError(f"There is no frame {min(unknown)}; this plan has frames 0 to {max(planned)}.")
