"""Kits drawn at random, and true rigs that swing within what such a kit states, or beyond it."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from random import Random
from typing import Any

from controller.capture.runner import Runner
from controller.commands.stand_in import rig_spec
from controller.kit.kit import Kit
from controller.planning.plan import Frame
from controller.program.build import build_program
from controller.session.session import Session
from sim.axis import AxisSpec
from sim.rig import Rig, RigSpec
from sim.truth import TrueExposure
from sim.virtual_port import VirtualPort
from tests.end_to_end.whole_runs import kit_of

FRAMES = 5
PITCHES = (-90.0, -40.0, 0.0, 35.0, 90.0)


def drawn_kit(random: Random) -> Kit:
    """Any lens, any head that swings at 3 to 20 Hz, known to 5 to 20 %."""
    hz = _log_uniform(random, 3.0, 20.0)
    head: dict[str, Any] = {
        "ring_hz": hz,
        "ring_damping": _log_uniform(random, 0.02, 0.2),
        "ring_hz_within": random.uniform(0.05, 0.2),
        "ring_damping_within": random.uniform(0.1, 0.5),
    }
    if random.random() < 1 / 3:
        head["second_ring_hz"] = hz * random.uniform(1.3, 4.0)
        if random.random() < 1 / 2:
            head["second_ring_damping"] = _log_uniform(random, 0.02, 0.2)
    for name in ("pan", "tilt"):
        axis: dict[str, Any] = {"backlash_deg": random.choice((0.0, 0.0, random.uniform(0.02, 0.3)))}
        kind = random.random()
        if kind < 1 / 3:
            axis["ring_hz"], axis["ring_damping"] = hz * random.uniform(0.7, 1.4), _log_uniform(random, 0.02, 0.2)
        elif kind < 2 / 3:
            axis["ring_over_pitch"] = [[pitch, hz * random.uniform(0.8, 1.25)] for pitch in PITCHES]
        head[name] = axis
    exposure = {"shutter_seconds": _log_uniform(random, 1 / 500, 2.0)}
    return kit_of(_log_uniform(random, 20.0, 200.0), head=head, exposure=exposure)


def drawn_frames(kit: Kit, random: Random) -> tuple[Frame, ...]:
    """A few frames: some beside one another, some far apart."""
    field = kit.field(0.3)
    step_deg = math.degrees(field.core.left + field.core.right)
    frames, yaw, pitch = [], random.uniform(0, 300), random.uniform(-60, 60)
    for number in range(FRAMES):
        frames.append(Frame(id=number, row=0, yaw_deg=yaw % 360, pitch_deg=pitch))
        if random.random() < 2 / 3:
            yaw += step_deg * random.choice((-1, 1))
        else:
            yaw, pitch = random.uniform(0, 360), random.uniform(-90, 90)
    return tuple(frames)


def inside(kit: Kit, random: Random) -> RigSpec:
    """A true rig for which all that the kit states is true."""
    hz, damping = kit.head.ring_hz_within, kit.head.ring_damping_within
    return _true(kit, random, lambda: random.uniform(1 - hz, 1 + hz), lambda: random.uniform(1 - damping, 1 + damping))


def outside(kit: Kit, random: Random) -> RigSpec:
    """A true rig whose frequencies are off by up to twice as much, and whose damping may be anything near."""
    hz = kit.head.ring_hz_within

    def off() -> float:
        return 1 + random.choice((-1, 1)) * hz * random.uniform(1, 2)

    return _true(kit, random, off, lambda: _log_uniform(random, 0.2, 2.0))


def _true(kit: Kit, random: Random, faster: Callable[[], float], damped: Callable[[], float]) -> RigSpec:
    spec = rig_spec(kit, random.randrange(1 << 30))

    def axis(own: AxisSpec) -> AxisSpec:
        share, damping = faster(), own.ring_damping or spec.head.ring_damping
        return replace(
            own,
            ring_hz=(own.ring_hz or spec.head.ring_hz) * share,
            ring_damping=min(0.99, damping * damped()),
            ring_over_pitch=tuple((pitch, hz * share) for pitch, hz in own.ring_over_pitch),
        )

    second = spec.head.second_ring_damping or spec.head.ring_damping
    head = replace(
        spec.head,
        pan=axis(spec.head.pan),
        tilt=axis(spec.head.tilt),
        second_ring_hz=spec.head.second_ring_hz and spec.head.second_ring_hz * faster(),
        second_ring_damping=min(0.99, second * damped()),
        second_ring_gain=random.uniform(0.05, 0.8),
    )
    return replace(spec, head=head)


def _log_uniform(random: Random, least: float, most: float) -> float:
    return math.exp(random.uniform(math.log(least), math.log(most)))


@dataclass(frozen=True)
class Shot:
    """What came of a run: the exposures as they were, and the predicted and the true seconds."""

    kit: Kit
    spec: RigSpec
    truth: list[TrueExposure]
    predicted_s: float
    took_s: float


def shoot(kit: Kit, frames: tuple[Frame, ...], spec: RigSpec, folder: Path) -> Shot:
    """A whole run of these frames on that rig."""
    program, rig = build_program(kit, frames), Rig(spec)
    with Session.create(folder / "s.sqlite", {}, durable=False) as session:
        result = Runner(program, VirtualPort(rig), session).run()
    (folder / "s.sqlite").unlink()
    assert result.complete, result.sentence
    return Shot(kit, spec, rig.truth.exposures, program.expected_ns / 1e9, result.seconds)
