"""Moving a head before or without a run: zero, the walk round the extremes, keys. Every motion is announced."""

import json
from collections.abc import Sequence
from dataclasses import dataclass

from controller.capture.belief import SWITCHES
from controller.capture.hand import Hand
from controller.capture.people import People, YesNoQuestion
from controller.commands.crew import Job, Keys
from controller.errors import InputError, WorldError
from controller.program.program import MoveStep, Program
from controller.report.wording import duration
from protocol.units import NS

SIZES_DEG = (10.0, 1.0, 0.1, 0.0)  # the last one: a single step of the motor
WAYS = {
    "r": (1, 0), "l": (-1, 0), "u": (0, 1), "d": (0, -1),
    "\x1b[C": (1, 0), "\x1b[D": (-1, 0), "\x1b[A": (0, 1), "\x1b[B": (0, -1),
    "\xe0M": (1, 0), "\xe0K": (-1, 0), "\xe0H": (0, 1), "\xe0P": (0, -1),
}  # fmt: skip
NAMES = {(1, 0): "right", (-1, 0): "left", (0, 1): "up", (0, -1): "down"}
HELP = (
    "Each key moves the head at once: arrows or l r u d. 1 2 3 4 choose 10°, 1°, 0.1° or one motor step, "
    "z makes this place zero, q or Enter ends, Ctrl-C stops."
)
WALK_FACT = "walked"
"""The way of the walk round the extremes after which everything was clear, in steps."""
POWER = "The motors are switched on"
AT_MARK = YesNoQuestion("Is the head at its zero mark, level and at yaw 0?", needs_person=True)
SAME_MARK = YesNoQuestion(
    "The board knows a zero that this session has not set. Was it set at the same mark, with `fullturn jog`?",
    needs_person=True,
)
ROUND = YesNoQuestion("The head has been round its extremes. Was everything clear, cables and tripod legs included?")


def make_ready(job: Job, program: Program) -> None:
    """Set zero if no switch finds it, and walk round the extremes of what is left. Raises WorldError, LinkLost.

    What is known of zero afterwards is in the session, so that the run need not find it again.
    """
    head = job.plan.kit.head
    by_hand = not (head.pan.zero_switch and head.tilt.zero_switch)
    if not by_hand and not job.crew.sweep:
        return
    hand = job.hand(program)
    hand.wait_known()
    if by_hand and not _zero_is_trusted(job, hand):
        _set_zero(job, hand)
    if job.crew.sweep:
        _sweep(job, hand, program)
    if hand.known:
        job.session.note_zero(hand.boot_id)
    hand.wait_rest()


def _zero_is_trusted(job: Job, hand: Hand) -> bool:
    """The zero that the board knows is the one that this session was shot by, or a person says that it is as good."""
    if not hand.known:
        return False
    begun = bool(job.session.shots())
    return not begun or job.session.remembered().boot_id == hand.boot_id or hand.wait_answer(SAME_MARK)


def _set_zero(job: Job, hand: Hand) -> None:
    """Make the place that the operator calls zero the board's zero."""
    people, keys = job.crew.people, job.crew.keys
    if keys is not None:
        people.say("Move the head to its zero mark, level and at yaw 0, then press Enter.")
        jog_by_keys(hand, keys, people)
    elif not hand.wait_answer(AT_MARK):
        raise WorldError("Zero is not set: move the head to its mark with `fullturn jog`, then go on.")
    find_zero(hand, people)


def corners(program: Program) -> list[tuple[int, int]]:
    """The way round the extremes of a program, in steps: every cable at its longest, low and high, and back to zero."""
    moves = [step for step in program.steps if isinstance(step, MoveStep)]
    if not moves:
        return []
    pans, tilts = [step.pan_steps for step in moves], [step.tilt_steps for step in moves]
    left, right, low, high = min(pans), max(pans), min(tilts), max(tilts)
    return [(left, low), (right, low), (right, high), (0, 0)]


def walk_text(hand: Hand, way: Sequence[tuple[int, int]]) -> str:
    """Where a walk goes and how long it takes."""
    per_pan, per_tilt = hand.steps_per_degree
    pans, tilts = [pan / per_pan for pan, _ in way], [tilt / per_tilt for _, tilt in way]
    stops = [hand.at_steps if hand.known else (0, 0), *way]
    lasts_ns = sum(hand.motion_ns(there, here) for here, there in zip(stops[:-1], way, strict=True))
    first = "" if hand.known else "first both axes find zero, then "
    return (
        f"{first}a slow walk round the extremes, pan {min(pans):z.0f}° to {max(pans):z.0f}°, "
        f"tilt {min(tilts):z.0f}° to {max(tilts):z.0f}°, about {duration(lasts_ns / NS)}"
    )


def walk(hand: Hand, people: People, way: Sequence[tuple[int, int]]) -> None:
    """Announce the walk, then go, telling of each leg. Raises WorldError, LinkLost, RunStopped."""
    hand.wait_announced(walk_text(hand, way), people.lead_ns)
    hand.wait_armed()
    if not hand.known:
        hand.wait_zero()
    per_pan, per_tilt = hand.steps_per_degree
    for pan, tilt in way:
        people.say(f"Turning to pan {pan / per_pan:z.0f}°, tilt {tilt / per_tilt:z.0f}°. Ctrl-C stops the head.")
        hand.wait_move(pan, tilt)
    hand.gate.shut()


def _sweep(job: Job, hand: Hand, program: Program) -> None:
    way = corners(program)
    if not way:
        return
    if _was_walked(job, hand, way):
        job.crew.people.say("The walk round the extremes is left out: it was made before, and zero is still known.")
        return
    walk(hand, job.crew.people, way)
    if not hand.wait_answer(ROUND):
        hand.wait_rest()
        raise WorldError("Not started. Clear the obstruction; only the slow test turn was made.")
    job.session.note_about(WALK_FACT, json.dumps(way, allow_nan=False))


def _was_walked(job: Job, hand: Hand, way: Sequence[tuple[int, int]]) -> bool:
    """A walk of this session went at least as far, and the board has known its place ever since."""
    walked = job.session.about().get(WALK_FACT)
    if walked is None or not hand.known or hand.boot_id != job.session.remembered().boot_id:
        return False
    for now, then in zip(zip(*way, strict=True), zip(*json.loads(walked), strict=True), strict=True):
        if min(now) < min(then) or max(now) > max(then):
            return False
    return True


def jog_by_keys(hand: Hand, keys: Keys, people: People) -> None:
    """Move by keys until the operator ends it. Raises RunStopped at Ctrl-C; WorldError, LinkLost."""
    size_deg = SIZES_DEG[1]
    people.say(HELP)
    ready(hand, people)
    with hand.keys_only(), keys.reading():  # what was pressed before is dropped
        people.say(place_of(hand).text())
        while (key := hand.wait_key(keys.next_key)) not in ("q", "\r", "\n"):
            if key in set("1234"):
                size_deg = SIZES_DEG[int(key) - 1]
                people.say(f"{size_deg:g}° at a time" if size_deg else "one motor step at a time")
            elif key == "z":
                _zero_again(hand, people)
            elif key in WAYS:
                _step(hand, WAYS[key], size_deg, people)
            else:
                people.say(HELP)
    hand.gate.shut()


def ready(hand: Hand, people: People) -> None:
    """Arm the head, and find zero if it is not known; what turns is announced. Raises WorldError, LinkLost."""
    if hand.known:
        hand.gate.announce("nothing turns yet", 0, what=POWER)
        hand.wait_armed()
    else:
        find_zero(hand, people)


def find_zero(hand: Hand, people: People) -> None:
    """Announce what turns to find zero, then let it; an axis without a switch is at zero where it is.

    Raises WorldError, LinkLost, RunStopped.
    """
    switched = [axis for axis, switch in SWITCHES.items() if hand.capabilities & switch]
    if not switched:
        hand.gate.announce("nothing turns; this place becomes zero", 0, what=POWER)
    elif len(switched) == len(SWITCHES):
        hand.wait_announced("both axes turn slowly until their switches at zero are found", people.lead_ns)
    else:
        turns = f"{switched[0]} turns slowly until its switch at zero is found; the other axis is at zero where it is"
        hand.wait_announced(turns, people.lead_ns)
    hand.wait_armed()
    hand.wait_zero()


def _zero_again(hand: Hand, people: People) -> None:
    find_zero(hand, people)
    people.say(f"Zero {'is found again' if hand.finds_zero else 'is here'}: {place_of(hand).text()}")


def _step(hand: Hand, way: tuple[int, int], size_deg: float, people: People) -> None:
    pan, tilt = hand.at_steps
    by = [max(1, round(size_deg * scale)) for scale in hand.steps_per_degree]
    target = pan + way[0] * by[0], tilt + way[1] * by[1]
    try:
        hand.must_reach(target)
    except InputError as error:  # beyond the limits
        people.say(str(error))
        return
    hand.gate.announce(f"{NAMES[way]}, by your key", 0)
    hand.wait_move(*target)
    people.say(place_of(hand).text())


@dataclass(frozen=True, slots=True)
class HeadPlace:
    """Where the camera looks (yaw and pitch in the levelled world), and where the axes are in steps."""

    yaw_deg: float
    pitch_deg: float
    pan_steps: int
    tilt_steps: int

    def text(self) -> str:
        """For people."""
        return f"yaw {self.yaw_deg:.3f}°, pitch {self.pitch_deg:.3f}° ({self.pan_steps} and {self.tilt_steps} steps)"


def place_of(hand: Hand) -> HeadPlace:
    """Where the head is, as far as it knows."""
    return HeadPlace(*hand.pose_deg, *hand.at_steps)
