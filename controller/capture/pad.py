"""The pad: the head turns slowly while a finger is on it, and rests as soon as the finger is lifted.

Two things end the motion independently. The host stops the head with a ramp when the lease is given back or runs out
(`lease.py`). If the host itself is gone, the board stops by itself after the silence that `watched` arms it with.
"""

import math
from collections.abc import Callable
from dataclasses import replace

from controller.capture.hand import Hand
from controller.capture.jog import NAMES
from controller.capture.lease import Lease
from controller.capture.people import MOMENT_NS, People
from controller.kit.line import BITS_PER_BYTE
from controller.program.program import Program, Settings
from protocol.framing import MAX_FRAME
from protocol.units import MS, NS, BootId

SPEEDS = (0.05, 0.25, 1.0)
"""Shares of the slow speed at which a person moves the head."""
SILENCE_MS = 450
"""How long the board waits for a silent host while a finger is on the pad; then it stops with a ramp."""
ANSWER_NS = 100 * MS
"""A request is repeated after this long, plus two frames on the wire: sooner than elsewhere, so that one damaged frame
does not end a press. Common practice, no source."""
LIFT = "Lifting your finger stops it."
NOT_KNOWN = "Where the head points is not known. Find zero first."


def watched(program: Program) -> Program:
    """The same head with a board that stops soon after its host falls silent.

    The silence is SILENCE_MS, or on a slow line the time for asking twice. It is shorter than all repeats of a request
    together: a bad line ends a press instead of prolonging it. A line counts as lost as late as before.
    """
    frame_ns = MAX_FRAME * BITS_PER_BYTE * NS // program.kit.board.baud
    retry_ns = min(program.retry_ns, ANSWER_NS + 2 * frame_ns)
    silence_ms = max(SILENCE_MS, math.ceil(2 * (retry_ns + frame_ns) / MS))
    more = program.retry_ns / retry_ns
    return replace(
        program,
        silence_ms=min(program.silence_ms, silence_ms),
        retry_ns=retry_ns,
        tries=math.ceil(program.tries * more),
        hello_tries=math.ceil(program.hello_tries * more),
    )


def far_end(axes: Settings, at_steps: tuple[int, int], way: tuple[int, int]) -> tuple[int, int]:
    """Where a touch would end if it lasted: one axis reaches its limit. An axis that is at its limit stays there."""
    room = [
        max(0, (axis.max_steps - here) if step > 0 else (here - axis.min_steps)) if step else 0
        for axis, here, step in zip(axes, at_steps, way, strict=True)
    ]
    lasts_s = min((steps / axis.speed_steps_s for axis, steps in zip(axes, room, strict=True) if steps), default=0.0)
    pan, tilt = (
        here + step * min(steps, round(axis.speed_steps_s * lasts_s))
        for axis, here, step, steps in zip(axes, at_steps, way, room, strict=True)
    )
    return pan, tilt


class Clearance:
    """Whether a person said that all is clear of the head, and nothing has happened since that brings hands to it.

    Call `look` often: a host that did not look for a while has slept.
    """

    def __init__(self, now: Callable[[], int]) -> None:
        self._now = now
        self._boot_id: BootId | None = None
        self._looked_ns = now()

    def look(self) -> None:
        """Withdraw it if the host slept since the last look."""
        now = self._now()
        if now - self._looked_ns > MOMENT_NS:
            self.withdraw()
        self._looked_ns = now

    def give(self, boot_id: BootId) -> None:
        """Note that a person said so just now; it is good until the board restarts."""
        self._boot_id, self._looked_ns = boot_id, self._now()

    def withdraw(self) -> None:
        """Require a new answer."""
        self._boot_id = None

    def holds(self, boot_id: BootId) -> bool:
        """Whether the head may move, as its board has not restarted since."""
        self.look()
        return self._boot_id is not None and self._boot_id == boot_id


def touch_words(way: tuple[int, int]) -> str:
    """Sentence part: which way, and that a finger moves the head."""
    parts = [NAMES[each] for each in ((way[0], 0), (0, way[1])) if each in NAMES]
    return f"{' and '.join(parts)}, by your finger"


def turn_while_touched(
    hand: Hand, program: Program, lease: Lease, held: Callable[[], Lease | None], people: People
) -> None:
    """Turn as long as `held` returns a lease of the same press, then bring the head to rest.

    Raises WorldError, LinkLost, RunStopped.
    """
    if not hand.known:
        people.say(NOT_KNOWN)
        return
    target = far_end(program.axes, hand.at_steps, lease.way)
    if target == hand.at_steps:
        people.say("The head is at its limit on that side.")
        return

    def ends_ns() -> int:
        now_held = held()
        return now_held.ends_ns if now_held is not None and now_held.press == lease.press else 0

    hand.gate.announce(touch_words(lease.way), 0, to_stop=LIFT)
    hand.wait_armed(share=SPEEDS[lease.speed])
    hand.wait_touch(*target, ends_ns)
    hand.gate.shut()
