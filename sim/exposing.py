"""An Expose under way: half-press, release, and the wait for the camera's sync contact."""

from dataclasses import dataclass

from protocol.messages import Expose, Outcome
from protocol.units import MS
from sim.camera import Label, SimulatedCamera

SYNC_LEAST_NS = 75_000
"""Shortest closure of a contact that counts; protocol/SPEC.md asks for more than 50 us and at most 100 us."""


@dataclass(slots=True)
class Exposing:
    """When the release closes and opens, and when the wait for the camera ends; times in nanoseconds."""

    label: Label
    release_ns: int
    press_end_ns: int
    limit_ns: int
    sync_contact: bool
    released: bool = False
    sync_seen: bool = False

    def next_deadline(self) -> int:
        """When the release closes or the command ends."""
        if not self.released:
            return self.release_ns
        return self.press_end_ns if self.sync_seen else self.limit_ns

    def handle_deadline(self, now_ns: int, camera: SimulatedCamera) -> Outcome | None:
        """Release the camera when that is due. Returns how the exposure ended, once it has."""
        if now_ns < self.next_deadline():
            return None
        if not self.released:
            self.released = True
            camera.release(now_ns, self.label, self.press_end_ns - self.release_ns)
            return None
        if self.sync_seen:
            return Outcome.EXPOSED_SYNC
        return Outcome.NO_SYNC if self.sync_contact else Outcome.EXPOSED_BLIND

    def sync_opened(self, now_ns: int, closed_for_ns: int) -> None:
        """Note that the contact was closed and is open again. A closure that began before the release does not count."""
        long_enough = closed_for_ns >= SYNC_LEAST_NS
        if self.sync_contact and self.released and long_enough and now_ns - closed_for_ns >= self.release_ns:
            self.sync_seen = True


def begin(command: Expose, now_ns: int, *, sync_contact: bool) -> Exposing:
    """The exposure that `command` begins now."""
    release_ns = now_ns + command.focus_ms * MS
    press_end_ns = release_ns + command.press_ms * MS
    label = Label(command.frame, command.exposure)
    return Exposing(label, release_ns, press_end_ns, press_end_ns + command.limit_ms * MS, sync_contact)
