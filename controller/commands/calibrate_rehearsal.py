"""Rehearsing a calibration.

The simulated rig differs a little from its kit, and an instrument reads its true poses. Controller and sim meet here.
"""

import math
from collections.abc import Callable
from dataclasses import replace
from random import Random

import numpy as np

from controller.calibration.mover import HandMover
from controller.calibration.readings import Readings
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
RING_SHARE, DAMPING_SHARE = 0.08, 0.4  # how far the ringing is from the kit's
SENSOR_ERROR_DEG = 0.0002  # standard deviation of the sensor on the camera
IN_A_SWING, LEFT_SHARE, LONGEST_S, MOST_READINGS = 20, 0.02, 20.0, 1500
PAUSE_NS = 10 * NS  # before each reading: long enough for any head to stop vibrating


class SimulatedSensor:
    """Reads the angles of a simulated head after a move, in degrees."""

    def __init__(self, rig: Rig, random: Random) -> None:
        self._rig, self._random = rig, random

    def wait_ready(self, what: str) -> None:
        """It always records."""

    def wait_readings(self, what: str) -> Readings:
        """The angle of the axis that moved last, from the end of its move on."""
        head = self._rig.head
        ends_ns = [max(axis.events(0).at_ns.tolist(), default=0) for axis in (head.pan, head.tilt)]
        end_ns = max(ends_ns)  # the last step of the motor
        number = ends_ns.index(end_ns)
        hz, damping = head.spec.ring_hz, head.spec.ring_damping
        lasts_s = min(max(math.log(1 / LEFT_SHARE) / (2 * math.pi * hz * damping), 4 / hz), LONGEST_S)
        count = min(round(lasts_s * hz * IN_A_SWING), MOST_READINGS)
        times_s = [lasts_s * each / count for each in range(count)]
        values = [
            head.angles_deg(end_ns + round(time_s * NS))[number] + self._random.gauss(0, SENSOR_ERROR_DEG)
            for time_s in times_s
        ]
        numbers = {"time_ms": 1000 * np.array(times_s), "value": np.array(values)}
        return Readings(what, tuple(range(1, count + 1)), numbers, {})


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


def ringing_head(kit: Kit, seed: int, tell: Callable[[str], None]) -> tuple[HandMover, SimulatedSensor]:
    """What moves a simulated head in virtual time, and a sensor on its camera. It rings not quite as the kit says."""
    random, spec = Random(seed), rig_spec(kit, seed)
    head = replace(
        spec.head,
        ring_hz=kit.head.ring_hz * (1 + random.uniform(-RING_SHARE, RING_SHARE)),
        ring_damping=kit.head.ring_damping * (1 + random.uniform(-DAMPING_SHARE, DAMPING_SHARE)),
    )
    rig = Rig(replace(spec, head=head))
    port = VirtualPort(rig)
    for sentence in head_sentences(kit):
        tell(sentence)
    tell(
        f"In truth: the head rings at {head.ring_hz:.4f} Hz with a damping ratio of {head.ring_damping:.5f}. The sensor "
        f"scatters by {SENSOR_ERROR_DEG:g}°. This is the simulator."
    )
    mover = HandMover(Hand(port, slowed(build_program(kit, ()))), People())
    return mover, SimulatedSensor(rig, random)


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
