"""The rules in order, each a function of a Talk that raises RuleBroken. Most need no motor power.

Every rule ends with the board disarmed and quiet.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from controller.conformance import moving, shaping, still
from controller.conformance.expectations import bring_to_rest
from controller.conformance.reach import SMALL_STEPS, Reach
from controller.conformance.talk import Talk

TOTAL_S: Final = 30.0
"""The longest that one rule may take, besides the search for zero."""


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule: its name, its demand in a sentence, what it does to the head, and whether it turns anything.

    `motion` begins a sentence; it is empty if the motors are not even switched on. `about_s` is how long it takes.
    """

    name: str
    demands: str
    check: Callable[[Talk], None]
    moves: bool = False
    motion: str = ""
    about_s: float = 0.0
    searches: bool = False

    def total_s(self, reach: Reach) -> float:
        """The longest that it may take, in seconds."""
        return TOTAL_S + (1.25 * reach.search_s if self.searches else 0.0)

    def announcement(self, reach: Reach, *, near_zero: bool = False) -> str | None:
        """What is about to move or to be switched on, how far and for how long; None if nothing.

        `near_zero`: an earlier rule has found zero, and no rule moves far from it.
        """
        if not self.motion:
            return None
        search = ""
        if self.searches and near_zero:
            search = "Both axes search for zero again, which is near. Then "
        elif self.searches:
            search = f"Both axes search for zero, pan {reach.pan.words()} and tilt {reach.tilt.words()}; "
            search += f"that takes {reach.search_s:.0f} s at most. Then "
        words = search + (self.motion[0].lower() if search else self.motion[0]) + self.motion[1:]
        return f"{words[0].lower()}{words[1:]}, for about {self.about_s:.0f} s"


ON = "Both motors are switched on and hold; they may twitch, and nothing turns"
SMALL = f"Both axes turn {moving.HALF} steps and back (a few degrees at most on a usual head)"
RULES: Final[tuple[Rule, ...]] = (
    Rule(
        "hello",
        "Welcome returns the nonce and the same boot id, and its figures are plausible.",
        still.hello_again,
    ),
    Rule("version", "Another major version is refused.", still.other_version),
    Rule("status", "Status agrees with itself, names one boot, and its clock keeps time.", still.one_boot),
    Rule("repeat", "A repeated frame is answered again, but not executed again.", still.repeat),
    Rule("command-id", "An id is accepted once; older ones are stale, and 0 is no id.", still.stale),
    Rule("id-order", "Ids continue past 2^32 - 1, and each belongs to one kind of command (since 1.1).", still.in_order),
    Rule("values", "Meaningless values are refused.", still.nonsense),
    Rule(
        "shaper", "An invalid shaper is refused, and any shaper if the board does not shape (since 1.2).", shaping.refused
    ),
    Rule("unarmed", "Nothing is executed before arming, and arming applies to one boot only.", still.unarmed),
    Rule("unknown-kind", "An unknown request is refused by name.", still.unknown_kind),
    Rule("junk", "Junk of any length never blocks the board.", still.junk),
    Rule("no-frame", "A malformed frame is not answered.", still.no_frame),
    Rule("silence", "If the host falls silent, the board disarms.", still.silence, motion=ON, about_s=1),
    Rule("stop", "Two Stops do no harm, and nothing is executed after them.", still.stop_twice, motion=ON, about_s=1),
    Rule(
        "position",
        "After Halt the position is unknown and moves are refused.",
        still.unknown_position,
        motion=ON,
        about_s=1,
    ),
    Rule(
        "move",
        "Targets are reached to the step, no faster than the ramps allow; targets outside the limits are refused.",
        moving.move_exactly,
        moves=True,
        motion=SMALL,
        about_s=4,
        searches=True,
    ),
    Rule(
        "rest",
        "A moving board reports it, and one that reports READY does not move.",
        moving.at_rest,
        moves=True,
        motion=SMALL,
        about_s=4,
        searches=True,
    ),
    Rule(
        "index",
        "A switch that changes during a move is recorded, with its position.",
        moving.index,
        moves=True,
        motion=f"Both axes turn {moving.HALF} steps to either side of zero",
        about_s=5,
        searches=True,
    ),
    Rule(
        "busy",
        "The board executes one command at a time; Stop ends it early.",
        moving.busy,
        moves=True,
        motion="Both axes begin to turn and are stopped",
        about_s=2,
        searches=True,
    ),
    Rule(
        "shaped-move",
        "A shaped move ends on its target, later by its last impulse (since 1.2, if the board shapes its ramps).",
        shaping.shaped_move,
        moves=True,
        motion=SMALL,
        about_s=6,
        searches=True,
    ),
    Rule(
        "shaped-stop",
        "A Stop ends a shaped move as soon as a plain one (since 1.2, if the board shapes its ramps).",
        shaping.shaped_stop,
        moves=True,
        motion=SMALL,
        about_s=4,
        searches=True,
    ),
    Rule(
        "silent-move",
        "Silence stops a move, and nothing moves afterwards.",
        moving.silent_move,
        moves=True,
        motion=f"Both axes turn, {SMALL_STEPS} steps at most, and stop by themselves",
        about_s=3,
        searches=True,
    ),
    Rule(
        "expose",
        "An exposure ends, no earlier than its contacts open, and reports its outcome.",
        moving.exposes,
        moves=True,
        motion="The motors hold, and the camera is focused and released once, if it is connected",
        about_s=1,
    ),
)


def wait_verdict(talk: Talk, rule: Rule) -> None:
    """Check one rule from a fresh start: greeted, disarmed, quiet. Raises RuleBroken, NotChecked, OtherVersion."""
    talk.begin(rule.total_s(talk.reach))
    if talk.wait_welcome(nonce=0x5EED) is None:
        raise talk.broken("the board does not answer Hello")
    bring_to_rest(talk)
    talk.wait_quiet(20)
    rule.check(talk)
    bring_to_rest(talk)
