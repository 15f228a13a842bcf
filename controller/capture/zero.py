"""Finding zero, or setting it where the head is; every motion is announced."""

from controller.capture.belief import SWITCHES
from controller.capture.hand import Hand
from controller.capture.people import People, YesNoQuestion

POWER = "The motors are switched on"
AT_MARK = YesNoQuestion("Is the head at its zero mark, level and at yaw 0?", needs_person=True)


def ready(hand: Hand, people: People) -> None:
    """Arm the head, and find zero if it is not known; motions are announced. Raises WorldError, LinkLost."""
    if hand.known:
        hand.gate.announce("nothing turns yet", 0, what=POWER)
        hand.wait_armed()
    else:
        find_zero(hand, people)


def find_zero(hand: Hand, people: People) -> None:
    """Announce and find zero. An axis without a switch has its zero where it is.

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
