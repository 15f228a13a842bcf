"""The whole simulated rig: wire, board, head and camera in one world with its own clock."""

from dataclasses import dataclass, replace
from random import Random

from protocol.codec import PROTOCOL_VERSION
from protocol.messages import Cause
from protocol.units import MS
from sim.board import SimulatedBoard
from sim.camera import CameraSpec, Opening, SimulatedCamera
from sim.head import HeadSpec, SimulatedHead
from sim.incidents import HostState, Incidents
from sim.person import Person
from sim.scenario import Scenario
from sim.trace import Trace
from sim.truth import Truth
from sim.wire import SOUND, LineTrouble, Wire
from sim.world import in_world

START_WITHIN_DEG = 2.0  # how far from zero the photographer leaves the head before a run, if a switch finds zero
NOTHING = Scenario("nothing", "Nothing goes wrong.", ())


@dataclass(frozen=True, slots=True)
class RigSpec:
    """All properties of the rig."""

    head: HeadSpec
    camera: CameraSpec
    baud: int
    sync_contact: bool
    max_step_rate: int
    seed: int
    trouble: LineTrouble = SOUND
    scenario: Scenario = NOTHING
    gusty_from_deg: float | None = None
    """Shaking from which the board's wind sensor reports gusts; None if there is no sensor."""
    shapes: bool = True
    """Whether the board's firmware shapes its ramps."""
    minor: int = PROTOCOL_VERSION.minor
    """The minor version of the protocol that the board speaks."""
    boots: Random | None = None
    """Source of boot ids; None: from the seed. A rig that is served repeatedly must not repeat them."""


class Rig:
    """The world. `next_deadline` is the time of the next event, `advance` carries it out."""

    def __init__(self, spec: RigSpec) -> None:
        camera, head = in_world(spec.scenario.world, spec.camera, spec.head)
        spec = replace(spec, camera=camera, head=head)
        random = Random(spec.seed)
        within_deg = [START_WITHIN_DEG if axis.switch else 0.0 for axis in (spec.head.pan, spec.head.tilt)]
        pan_deg, tilt_deg = (random.uniform(-1, 1) * within for within in within_deg)
        self.head = SimulatedHead(
            spec.head,
            round(pan_deg * spec.head.pan.steps_per_degree),
            round(tilt_deg * spec.head.tilt.steps_per_degree),
            spec.seed + 2,
        )
        self.camera = SimulatedCamera(spec.camera, random)
        self._spec, self._random = spec, random
        self.seed, self.scenario = spec.seed, spec.scenario
        self.shapes = spec.shapes
        """Whether the board's firmware shapes its ramps; another firmware counts from the next start of the board."""
        self.board: SimulatedBoard = self._new_board(0, Cause.POWER_ON)
        self.truth = Truth()
        self.host = HostState()
        self.trace: Trace | None = None
        """Optional trace of the head's motion."""
        self.person: Person | None = None
        """The person beside the head, if there is one."""
        self.incidents = Incidents(spec.scenario)
        self._opened: Opening | None = None
        self._bounce_ns: int | None = None
        noise = Random(spec.seed + 1)
        self.to_board, self.to_host = (Wire(spec.baud, noise, spec.trouble) for _ in range(2))
        self._flush(0)

    def restart_board(self, now_ns: int, cause: Cause) -> None:
        """Restart the board: the pulses stop and nothing is remembered."""
        self.head.pan.jolt(now_ns)
        self.head.tilt.jolt(now_ns)
        self.board = self._new_board(now_ns, cause)

    def _new_board(self, now_ns: int, cause: Cause) -> SimulatedBoard:
        return SimulatedBoard(
            self.head,
            self.camera,
            self._spec.boots or self._random,
            sync_contact=self._spec.sync_contact,
            gusty_from_deg=self._spec.gusty_from_deg,
            max_step_rate=self._spec.max_step_rate,
            shapes=self.shapes,
            minor=self._spec.minor,
            now_ns=now_ns,
            cause=cause,
        )

    def next_deadline(self) -> int | None:
        """The time of the next event in the world, None if nothing will ever happen by itself.

        Bytes on their way to the host count too: their arrival is an event for the waiting host.
        """
        moments = [
            self.to_board.next_deadline(),
            self.to_host.next_deadline(),
            self.camera.next_deadline(),
            self.board.next_deadline(),
            self.incidents.next_deadline(),
            self._bounce_ns,
        ]
        return min([moment for moment in moments if moment is not None], default=None)

    def advance(self, now_ns: int) -> None:
        """Carry out everything that is due at `now_ns`."""
        if self.trace is not None:
            self.trace.follow(self.head, now_ns)
        closing = self.camera.next_deadline()
        if closing is not None and closing <= now_ns:
            self._close_shutter(now_ns)
        if self._bounce_ns is not None and self._bounce_ns <= now_ns:
            self._bounce_ns = None
            self.board.sync_opened(now_ns)
        due = self.incidents.next_deadline()
        if due is not None and due <= now_ns:
            self.incidents.handle_deadline(self, now_ns)
        due = self.board.next_deadline()
        if due is not None and due <= now_ns:
            self.board.handle_deadline(now_ns)
        data = self.to_board.arrived(now_ns)
        if data:
            self.board.receive(now_ns, data)
        if self.person is not None:
            self.person.watch(self.head)
        self._shake()
        self._flush(now_ns)

    def _close_shutter(self, now_ns: int) -> None:
        opening = self.camera.close()
        self.truth.record(self.head, opening)
        self.board.sync_opened(now_ns, opening.close_ns - opening.open_ns)
        if self._spec.camera.bounce_ms:
            self._bounce_ns = now_ns + round(self._spec.camera.bounce_ms * MS)
        self.incidents.exposure_made(self, now_ns, self.camera.made, opening.label.frame)

    def _shake(self) -> None:
        """Kick the head by the mirror as the shutter opens."""
        opening = self.camera.opening
        if opening is not None and opening is not self._opened and self._spec.camera.mirror_kick_deg_s:
            self.head.tilt.kick(opening.open_ns, self._spec.camera.mirror_kick_deg_s)
        self._opened = opening

    def _flush(self, now_ns: int) -> None:
        data = self.board.take()
        if data:
            self.to_host.send(now_ns, data)
