"""Rehearsing a calibration.

The simulated rig differs a little from its kit, and an instrument reads its true poses. Controller and sim meet here.
"""

from collections.abc import Callable
from dataclasses import replace
from random import Random

from controller.calibration.mover import HandMover
from controller.calibration.records import AxisName
from controller.calibration.typed_readings import PersonAtHead
from controller.capture.hand import Hand
from controller.capture.people import People
from controller.commands.stand_in import rig_spec
from controller.errors import InputError
from controller.kit.exposing import head_sentences
from controller.kit.kit import Kit
from controller.program.build import build_program
from controller.program.program import slowed
from protocol.units import NS
from sim.axis import AxisSpec
from sim.rig import Rig
from sim.virtual_port import VirtualPort

READING_ERROR_DEG = 0.01  # standard deviation of the instrument
GEARING_SHARE = 0.01  # the largest error of the gearing
PLAY_DEG, LEAN_DEG = 0.1, 1.0  # the largest
PAUSE_NS = 10 * NS  # before each reading: long enough for any head to stop vibrating


def rehearsed(kit: Kit, seed: int, tell: Callable[[str], None], *, leans: bool) -> PersonAtHead:
    """An operator with a simulated head in virtual time, who reads its true poses with a small random error.

    `leans`: the head is not level, as before its level is measured.
    """
    random = Random(seed)
    spec = rig_spec(kit, seed)
    head = replace(
        spec.head,
        pan=_not_quite(spec.head.pan, random),
        tilt=_not_quite(spec.head.tilt, random),
        lean_deg=random.uniform(0, LEAN_DEG) if leans else 0.0,
        lean_toward_deg=random.uniform(0, 360),
    )
    rig = Rig(replace(spec, head=head))
    port = VirtualPort(rig)
    mover = HandMover(Hand(port, slowed(build_program(kit, ()))), People())

    def ask(question: str) -> str:
        wait_still(port)
        yaw_deg, pitch_deg = rig.head.pose_deg(port.now())
        word = question.split(" read", maxsplit=1)[0]
        if word not in {"Angle", "Tilt", "Yaw", "Pitch"}:
            raise InputError("Only readings of an instrument can be rehearsed; leave out --by turns.")
        pan = word == "Yaw" or (word == "Angle" and mover.moved is AxisName.PAN)
        return f"{(yaw_deg if pan else pitch_deg) + random.gauss(0, READING_ERROR_DEG):.4f}"

    for sentence in head_sentences(kit):
        tell(sentence)
    tell(
        f"In truth: pan {head.pan.steps_per_degree:.4f} and tilt {head.tilt.steps_per_degree:.4f} steps per degree, play "
        f"{head.pan.play_deg:.3f}° and {head.tilt.play_deg:.3f}°, a lean of {head.lean_deg:.3f}° toward "
        f"{head.lean_toward_deg:.1f}°. The instrument is good for {READING_ERROR_DEG:g}°. This is the simulator."
    )
    return PersonAtHead(lambda _: None, ask, mover)


def wait_still(port: VirtualPort) -> None:
    """Wait until the head is at rest."""
    end_ns = port.now() + PAUSE_NS
    while port.now() < end_ns:
        port.wait_bytes(end_ns)


def _not_quite(axis: AxisSpec, random: Random) -> AxisSpec:
    return replace(
        axis,
        steps_per_degree=axis.steps_per_degree * (1 + random.uniform(-GEARING_SHARE, GEARING_SHARE)),
        play_deg=random.uniform(0.02, PLAY_DEG),
    )
