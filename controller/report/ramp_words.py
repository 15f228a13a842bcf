"""How a head's camera swings, and what shaped ramps do about it, in words."""

from controller.amounts import counted, duration
from controller.kit.kit import Axis, Head, Kit
from controller.kit.provenance import Source, weakest
from controller.planning.plan import Plan
from controller.program.build import axis_settings
from controller.program.neighbour import neighbour_move
from protocol.shaper import Shaper

WORTH_S, WORTH_EACH_S = 1.0, 0.1
"""What is saved in less time is not mentioned: of a whole run, and at each move."""
RESTS_ON = {
    Source.EXAMPLE: "an example's figure: `fullturn calibrate settle` measures yours",
    Source.LOOKED_UP: "as looked up",
    Source.STATED: "as the kit states",
    Source.MEASURED: "as measured",
}


def swing_words(head: Head) -> str:
    """How fast the camera swings, after "swings at": after a stop of each axis, and a second vibration."""
    pan, tilt = (_hz_words(head, axis) for axis in (head.pan, head.tilt))
    words = [pan] if pan == tilt else [f"{pan} (pan)", f"{tilt} (tilt)"]
    if head.second_ring_hz is not None:
        words.append(f"{head.second_ring_hz:g} Hz")
    return " and ".join([", ".join(words[:-1]), words[-1]]) if words[1:] else words[0]


def _hz_words(head: Head, axis: Axis) -> str:
    if axis.ring_over_pitch:
        all_hz = [hz for _, hz in axis.ring_over_pitch]
        return f"{min(all_hz):g} to {max(all_hz):g} Hz"
    return f"{axis.ring_hz or head.ring_hz:g} Hz"


def damping_words(head: Head) -> str:
    """How fast the swing dies away, after "damping"."""
    pan, tilt = (f"{axis.ring_damping or head.ring_damping:g}" for axis in (head.pan, head.tilt))
    return pan if pan == tilt else f"{pan} (pan), {tilt} (tilt)"


def swing_keys(head: Head) -> list[str]:
    """The dotted keys of the kit from which frequency and damping are taken."""
    keys = []
    for name, axis in (("pan", head.pan), ("tilt", head.tilt)):
        own = "ring_over_pitch" if axis.ring_over_pitch else "ring_hz" if axis.ring_hz else None
        keys.append("head.ring_hz" if own is None else f"head.{name}.{own}")
        keys.append(f"head.{name}.ring_damping" if axis.ring_damping else "head.ring_damping")
    second = ["head.second_ring_hz"] * (head.second_ring_hz is not None)
    return [*dict.fromkeys(keys), *second]


def saving_sentences(plan: Plan) -> list[str]:
    """What shaped ramps save in this plan, and on what that rests; without them, what they would save."""
    kit, plain_s = plan.kit, plan.budget.unshaped_seconds
    if kit.head.settle_ms is not None or plain_s is None:
        return []
    if not kit.board.shapes_ramps:
        return _would_save(kit)
    saved_s = plain_s - plan.budget.seconds
    if saved_s < WORTH_S:
        return []
    source = weakest(kit.source(key) for key in swing_keys(kit.head))
    return [
        f"Shaped ramps save {duration(saved_s)} of {duration(plain_s)}, if the camera swings at {swing_words(kit.head)} "
        f"within {100 * kit.head.ring_hz_within:.3g} % ({RESTS_ON[source]})."
    ]


def _would_save(kit: Kit) -> list[str]:
    plain, shaped = (neighbour_move(kit, shaped=each) for each in (False, True))
    saved_s = plain.turning_s + plain.wait_s - shaped.turning_s - shaped.wait_s
    if saved_s < WORTH_EACH_S:
        return []
    return [f"A board that shapes its ramps would save about {saved_s:.1f} s at each move to the next frame."]


def ramps_sentence(plan: Plan, *, shaped: bool | None) -> str:
    """How the ramps of a run were, in one sentence; empty if the session does not say (`shaped` is None)."""
    if shaped is None:
        return ""
    if plan.kit.head.settle_ms is not None:
        return f"Ramps were not shaped: the kit states a wait of {plan.kit.head.settle_ms / 1000:g} s after each move."
    if not (shaped and plan.kit.board.shapes_ramps):
        return (
            "Ramps were not shaped, because the board cannot: after each move the run waited until the camera was still."
        )
    pan, tilt = (setting.shaper for setting in axis_settings(plan.kit, plan.frames))
    told = [f"{name} in {_shaper_words(each)}" for name, each in (("Pan", pan), ("tilt", tilt)) if each.impulses]
    if not told:
        return "Ramps were not shaped: with this lens and head no move is shorter for it."
    words = "; ".join(told)
    return f"Ramps were shaped, so that the camera arrived almost without swinging. {words[0].upper()}{words[1:]}."


def _shaper_words(shaper: Shaper) -> str:
    return f"{counted(len(shaper.impulses), 'part')}, which makes a move {shaper.duration_ms / 1000:.2f} s longer"
