"""The whole stand-in: wire, board, head and camera in one world with one clock of its own."""

from dataclasses import dataclass
from random import Random

from sim.board import Board
from sim.camera import Camera, CameraSpec
from sim.head import Head, HeadSpec
from sim.truth import Truth
from sim.wire import SOUND, LineTrouble, Wire

START_WITHIN_DEG = 2.0  # how far from zero the photographer leaves the head before a run


@dataclass(frozen=True, slots=True)
class RigSpec:
    """Everything the world needs to know about the rig."""

    head: HeadSpec
    camera: CameraSpec
    baud: int
    sync_contact: bool
    max_step_rate: int
    seed: int
    trouble: LineTrouble = SOUND


class Rig:
    """The world. `next_deadline` says when something happens next, `advance` makes it happen."""

    def __init__(self, spec: RigSpec) -> None:
        random = Random(spec.seed)
        pan_deg, tilt_deg = (random.uniform(-START_WITHIN_DEG, START_WITHIN_DEG) for _ in range(2))
        self.head = Head(
            spec.head,
            round(pan_deg * spec.head.pan.steps_per_degree),
            round(tilt_deg * spec.head.tilt.steps_per_degree),
            spec.seed + 2,
        )
        self.camera = Camera(spec.camera, random)
        self.board = Board(
            self.head,
            self.camera,
            random,
            sync_contact=spec.sync_contact,
            max_step_rate=spec.max_step_rate,
            now_ns=0,
        )
        self.truth = Truth()
        noise = Random(spec.seed + 1)
        self.to_board, self.to_host = (Wire(spec.baud, noise, spec.trouble) for _ in range(2))
        self._flush(0)

    def next_deadline(self) -> int | None:
        """The moment of the next event in the world, None if nothing will ever happen by itself.

        Bytes on their way to the host count as well: their arrival is an event for whoever waits.
        """
        moments = (
            self.to_board.next_deadline(),
            self.to_host.next_deadline(),
            self.camera.next_deadline(),
            self.board.next_deadline(),
        )
        return min((moment for moment in moments if moment is not None), default=None)

    def advance(self, now_ns: int) -> None:
        """Let everything happen that is due at `now_ns`."""
        closing = self.camera.next_deadline()
        if closing is not None and closing <= now_ns:
            self.truth.record(self.head, self.camera.close())
            self.board.sync_opened(now_ns)
        due = self.board.next_deadline()
        if due is not None and due <= now_ns:
            self.board.handle_deadline(now_ns)
        data = self.to_board.arrived(now_ns)
        if data:
            self.board.receive(now_ns, data)
        self._flush(now_ns)

    def _flush(self, now_ns: int) -> None:
        data = self.board.take()
        if data:
            self.to_host.send(now_ns, data)
