"""The steps of setting up that are checked at the head: its stop switch, its zero, its cables."""

from controller.capture.gate import STOPS_HEAD
from controller.capture.hand import Hand
from controller.capture.people import THEN_ENTER, People, YesNoQuestion
from controller.capture.walk import walk
from controller.capture.zero import POWER, find_zero
from controller.errors import BoardRefused
from controller.kit.kit import Kit
from controller.program.build import to_steps
from controller.setup.inspection import Observation

HALF_TURN_DEG = 180.0  # plans turn the cables no further than this from zero
WAS_CLEAR = YesNoQuestion(
    "The head has been to its limits. Was everything clear, cables and legs included?", needs_person=True
)
AWAY_DEG = 5.0  # how far the head turns away from zero before finding it again


def see_stop_switch(hand: Hand) -> Observation:
    """Ask the board to arm while the stop switch is pressed, which it must refuse. Nothing turns."""
    hand.wait_text(f"  Support the camera from below: a tilt without power may drop. Then press the switch{THEN_ENTER}")
    hand.wait_known()
    hand.gate.announce("only if the board ignores the switch; nothing turns", 0, what=POWER)
    try:
        hand.wait_armed()
    except BoardRefused:
        pass
    else:
        hand.wait_rest()
        return Observation(False, "The board armed with the switch pressed: it does not sense the switch.")
    hand.wait_text(f"  Nothing turns now. Take your hands off the head, then release the switch{THEN_ENTER}")
    hand.gate.announce("nothing turns", 0, what=POWER)
    hand.wait_ready()
    hand.wait_rest()
    return Observation(True, "The board does not arm while it is pressed. Check yourself that the motors have no power.")


def see_zero(hand: Hand, kit: Kit, people: People) -> Observation:
    """Find zero by its switches, leave it, and find it again."""
    hand.wait_known()
    if not hand.finds_zero:
        return Observation(
            False, "This head has no switch at zero: set it at its marks with `fullturn jog`, then type `done`."
        )
    find_zero(hand, people)
    head = kit.head
    away = min(AWAY_DEG, head.pan.max_deg), min(AWAY_DEG, head.tilt.max_deg)
    people.say(
        f"Zero is found. The head turns {AWAY_DEG:g}° away on both axes and finds it again. "
        f"{people.stops_by} {STOPS_HEAD}"
    )
    hand.wait_move(to_steps(away[0], head.pan), to_steps(away[1], head.tilt))
    hand.wait_zero()
    return Observation(True, "Zero was found twice by its switches.")


def see_cables(hand: Hand, kit: Kit, people: People) -> Observation:
    """Turn as far as a plan may: half a turn either way, within the limits."""
    hand.wait_known()
    pan, tilt = kit.head.pan, kit.head.tilt
    left, right = max(pan.min_deg, -HALF_TURN_DEG), min(pan.max_deg, HALF_TURN_DEG)
    poses = ((left, tilt.min_deg), (right, tilt.min_deg), (right, tilt.max_deg), (0.0, 0.0))
    walk(hand, people, [(to_steps(yaw_deg, pan), to_steps(pitch_deg, tilt)) for yaw_deg, pitch_deg in poses])
    clear = hand.wait_answer(WAS_CLEAR)
    text = "The head turned as far as any plan needs; you saw all clear." if clear else "Something was in the way."
    return Observation(clear, text, looked=False, said=True)
