"""`fullturn kit setup`: head and camera set up step by step; what is done is kept beside the kit."""

from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path

from controller import clock
from controller.calibration.records import read
from controller.capture.hand import Hand
from controller.capture.people import People, YesNoQuestion
from controller.commands.jog import held_head
from controller.commands.moving import POWER, find_zero, walk
from controller.errors import BoardRefused, InputError, RunStopped, WorldError
from controller.kit.kit import Kit
from controller.kit.load import load_kit
from controller.kit.own_head import must_be_own_head
from controller.program.build import to_steps
from controller.setup.looks import Observation, calibration_found, picture_found
from controller.setup.progress import Done, kit_mark, read_progress, write_progress
from controller.setup.steps import Look, Step, steps

HALF_TURN_DEG = 180.0  # plans turn the cables no further than this from zero
MAY_MOVE = "The head will move, slowly. Is it clear of people, cables and legs, and the stop switch within reach?"
WAS_CLEAR = YesNoQuestion(
    "The head has been to its limits. Was everything clear, cables and legs included?", needs_person=True
)
AWAY_DEG = 5.0  # so far the head goes from zero before it finds it once more


@dataclass(frozen=True, slots=True)
class StepStanding:
    """How a step stands: `done`, seen by the program or said by the operator, when, and what was found; else `open`."""

    step: str
    title: str
    state: str
    seen: bool = False
    at: str | None = None
    found: str = ""

    def text(self) -> str:
        """One line for people."""
        how = "" if self.state == "open" else f"  {'seen' if self.seen else 'said'} {self.at}"
        return f"{self.state:5} {self.step:12} {self.title}{how}"


@dataclass(frozen=True, slots=True)
class Guide:
    """The person at the head and what there is to look at. `ask` returns what was typed and `agree` whether something may
    move, before a head is held; `people` are told and asked while one is.
    """

    tell: Callable[[str], None]
    ask: Callable[[str], str]
    agree: Callable[[str], bool]
    people: People
    port: str | None = None
    picture: Path | None = None


def setup_state(kit_path: Path) -> list[StepStanding]:
    """How each step stands. What calibration shows counts at once. Raises InputError."""
    kit, progress, now = load_kit(kit_path), read_progress(kit_path), _now()
    standings = []
    for step in steps():
        mark = progress.still(step, kit, now)
        if step.look is Look.CALIBRATION:
            found = calibration_found(kit, read(kit_path), now, step.kinds)
            if found.good:
                mark = Done(at=now, kit=kit_mark(kit), found=found.sentence, seen=True)
        if mark is None:
            standings.append(StepStanding(step.name, step.title, "open"))
        else:
            at = mark.at.astimezone().isoformat(" ", "minutes")
            standings.append(StepStanding(step.name, step.title, "done", mark.seen, at, mark.found))
    return standings


def mark_steps(kit_path: Path, done: Sequence[str], again: Sequence[str]) -> None:
    """Take the operator's word for steps `done`, and open others `again`. Raises InputError, StorageFailed."""
    known = [step.name for step in steps()]
    for name in (*done, *again):
        if name not in known:
            raise InputError(f"There is no step {name}; the steps are {', '.join(known)}.")
    kit = load_kit(kit_path)
    said = Done(at=_now(), kit=kit_mark(kit), found="", seen=False)
    marks: dict[str, Done | None] = dict.fromkeys(again, None) | dict.fromkeys(done, said)
    write_progress(kit_path, read_progress(kit_path).with_marks(marks))


def setup_command(kit_path: Path, guide: Guide) -> list[StepStanding]:
    """Lead through what is open; each step is kept as soon as it is done. Raises InputError, WorldError,
    StorageFailed.
    """
    if guide.port is not None:
        must_be_own_head(load_kit(kit_path), str(kit_path))
    for number, standing in enumerate(setup_state(kit_path), 1):
        step = next(step for step in steps() if step.name == standing.step)
        if standing.state == "done":
            continue
        guide.tell(f"\n{number} of {len(steps())}: {step.title}")
        for sentence in step.how:
            guide.tell(f"  {sentence}")
        try:
            done = _through(step, kit_path, guide)
        except _Ended:
            break
        if done is not None:
            write_progress(kit_path, read_progress(kit_path).with_marks({step.name: done}))
    return setup_state(kit_path)


def see_picture(kit_path: Path, picture: Path) -> Observation:
    """Look at a picture for the step that it shows; keep that if it shows all of it. Raises InputError, StorageFailed."""
    kit = load_kit(kit_path)
    found = picture_found(picture, kit, _now())
    if found.good and found.looked:
        done = Done(at=_now(), kit=kit_mark(kit), found=found.sentence, seen=True)
        shown = {step.name: done for step in steps() if step.look is Look.PICTURE}
        write_progress(kit_path, read_progress(kit_path).with_marks(shown))
    return found


class _Ended(Exception):
    """The operator goes on later."""


def _through(step: Step, kit_path: Path, guide: Guide) -> Done | None:
    """The step's mark once it is done; None where it is left open. Raises _Ended."""
    kit = load_kit(kit_path)
    while True:
        found = _look(step, kit_path, guide)
        if found is not None:
            guide.tell(f"  {found.word} {found.sentence}")
            if found.good and (found.looked or found.said):
                return Done(at=_now(), kit=kit_mark(kit), found=found.sentence, seen=found.looked)
        question = "Enter when it is done" if found is None else "Enter to look again, or `done` to say that it is"
        answer = guide.ask(f"  {question}; `skip` leaves it open, `end` ends").strip().casefold()
        if answer == "end":
            raise _Ended
        if answer == "skip":
            return None
        if answer == "done" or (found is None and not answer):
            return Done(at=_now(), kit=kit_mark(kit), found="" if found is None else found.sentence, seen=False)


def _look(step: Step, kit_path: Path, guide: Guide) -> Observation | None:
    """What the program sees of a step; None where it has nothing to look at it with."""
    try:
        match step.look:
            case Look.CALIBRATION:
                return calibration_found(load_kit(kit_path), read(kit_path), _now(), step.kinds)
            case Look.PICTURE if guide.picture is not None:
                return picture_found(guide.picture, load_kit(kit_path), _now())
            case Look.STOP_SWITCH | Look.ZERO | Look.CABLES if guide.port is not None:
                return _look_at_head(step.look, kit_path, guide)
            case _:
                return None
    except RunStopped:
        raise
    except (InputError, WorldError) as error:
        return Observation(False, str(error))


def _look_at_head(look: Look, kit_path: Path, guide: Guide) -> Observation:
    assert guide.port is not None
    if look is not Look.STOP_SWITCH and not guide.agree(MAY_MOVE):
        return Observation(False, "Nothing was moved.")
    with held_head(kit_path, guide.port, "fullturn kit setup", guide.people) as (hand, program):
        if look is Look.STOP_SWITCH:
            return _stop_switch(hand)
        found = _zero(hand, program.kit, guide.people) if look is Look.ZERO else _cables(hand, program.kit, guide.people)
        hand.wait_rest()
        return found


def _stop_switch(hand: Hand) -> Observation:
    """Nothing turns: the board is asked to arm, and must not with the switch pressed."""
    hand.wait_text("  Support the camera: a tilt without power may drop. Press the switch, then Enter")
    hand.wait_known()
    hand.gate.announce("only if the board ignores the switch; nothing turns", 0, what=POWER)
    try:
        hand.wait_armed()
    except BoardRefused:
        pass
    else:
        hand.wait_rest()
        return Observation(False, "The board lets itself be armed all the same: it does not sense the switch.")
    hand.wait_text("  Release it, take your hands away, then Enter")
    hand.gate.announce("nothing turns", 0, what=POWER)
    hand.wait_ready()
    hand.wait_rest()
    return Observation(
        True, "The board is not armed while it is pressed; that the motors have no power you must see yourself."
    )


def _zero(hand: Hand, kit: Kit, people: People) -> Observation:
    hand.wait_known()
    if not hand.finds_zero:
        return Observation(
            False, "No switch finds zero on this head: set it at its marks with `fullturn jog`, then say done."
        )
    find_zero(hand, people)
    head = kit.head
    away = min(AWAY_DEG, head.pan.max_deg), min(AWAY_DEG, head.tilt.max_deg)
    people.say(
        f"Zero is found. The head turns {AWAY_DEG:g}° away on both axes and finds it again. Ctrl-C stops the head."
    )
    hand.wait_move(to_steps(away[0], head.pan), to_steps(away[1], head.tilt))
    hand.wait_zero()
    return Observation(True, "Zero was found twice by its switches.")


def _cables(hand: Hand, kit: Kit, people: People) -> Observation:
    """As far as a plan may turn: half a turn either way, within the limits."""
    hand.wait_known()
    pan, tilt = kit.head.pan, kit.head.tilt
    left, right = max(pan.min_deg, -HALF_TURN_DEG), min(pan.max_deg, HALF_TURN_DEG)
    poses = ((left, tilt.min_deg), (right, tilt.min_deg), (right, tilt.max_deg), (0.0, 0.0))
    walk(hand, people, [(to_steps(yaw_deg, pan), to_steps(pitch_deg, tilt)) for yaw_deg, pitch_deg in poses])
    clear = hand.wait_answer(WAS_CLEAR)
    text = "Walked as far as any plan goes, and you saw that all was clear." if clear else "Something was in the way."
    return Observation(clear, text, looked=False, said=True)


def _now() -> datetime:
    return datetime.fromisoformat(clock.wall_time())


def as_json(standings: Sequence[StepStanding]) -> list[dict[str, object]]:
    """For other programs."""
    return [asdict(standing) for standing in standings]
