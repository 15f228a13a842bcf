"""The core as a shared library, driven in virtual time: bytes and milliseconds in, bytes out."""

from __future__ import annotations

from ctypes import CDLL, c_int32, c_uint8, c_uint32, create_string_buffer
from pathlib import Path

from protocol.messages import Cause

ALL_FITTED = 15
PAN_LIMIT, TILT_LIMIT, SYNC, STOP_OPEN, SUPPLY_LOW = 0x04, 0x08, 0x10, 0x20, 0x40
HALF_PRESS_OUT, RELEASE_OUT, MOTORS_OUT = 1, 2, 4
BOOT_ID = 0x5EED0B07
TAKEN_AT_ONCE = 65536


def load(path: Path) -> CDLL:
    """Load the library and give ctypes its return types."""
    library = CDLL(str(path))
    library.world_place.restype = c_int32
    for name in ("steps", "take", "finished", "polls", "closed_for", "ms"):
        getattr(library, f"world_{name}").restype = c_uint32
    for name in ("outputs", "state", "known"):
        getattr(library, f"world_{name}").restype = c_uint8
    return library


class Core:
    """One board from power-on, with motors, flags and a camera. A library has only one at a time."""

    def __init__(
        self,
        library: CDLL,
        *,
        boot_id: int = BOOT_ID,
        cause: Cause = Cause.POWER_ON,
        fitted: int = ALL_FITTED,
        place: tuple[int, int] = (37, -58),
        camera_ms: tuple[int, int] | None = (50, 100),
    ) -> None:
        self._library = library
        self._buffer = create_string_buffer(TAKEN_AT_ONCE)
        self._camera_ms = camera_ms  # lag and shutter time; None: a camera that stays silent
        self._inputs = 0
        self._sync_from: int | None = None
        self._was_released = False
        self.now_ms = 0
        library.world_start(c_uint32(boot_id), int(cause), fitted, *place)

    def feed(self, data: bytes) -> None:
        self._library.world_feed(data, len(data))

    def take(self) -> bytes:
        count = self._library.world_take(self._buffer, TAKEN_AT_ONCE)
        return self._buffer.raw[:count]

    def run(self, milliseconds: int) -> None:
        for _ in range(milliseconds):
            self._library.world_run(1)
            self.now_ms += 1
            self._play_camera()

    def run_fast(self, milliseconds: int) -> None:
        """The same without a camera."""
        self._library.world_run(milliseconds)
        self.now_ms += milliseconds

    def ticks(self, count: int) -> None:
        """Let a part of a millisecond pass, in ticks of 25 us; the clock stays."""
        self._library.world_ticks(count)

    def slow_down(self, ticks: int) -> None:
        """From now on the main loop takes this many ticks for each received byte; `now_ms` does not include them."""
        self._library.world_slow(ticks)

    def closed_us(self, contact: int) -> int:
        """How long a contact was last closed, in microseconds: 0 half-press, 1 release."""
        return 25 * int(self._library.world_closed_for(contact))

    @property
    def clock_ms(self) -> int:
        """The board's clock, including the time of a slow main loop."""
        clock: int = self._library.world_ms()
        return clock

    @property
    def known(self) -> int:
        """The axes whose position is known, as flags of a Status."""
        known: int = self._library.world_known()
        return known

    def _play_camera(self) -> None:
        released = bool(self.outputs & RELEASE_OUT)
        if released and not self._was_released and self._camera_ms is not None:
            self._sync_from = self.now_ms + self._camera_ms[0]
        self._was_released = released
        if self._sync_from is None or self._camera_ms is None:
            return
        if self.now_ms == self._sync_from:
            self.set_input(SYNC, on=True)
        elif self.now_ms == self._sync_from + self._camera_ms[1]:
            self.set_input(SYNC, on=False)
            self._sync_from = None

    def set_input(self, bit: int, *, on: bool) -> None:
        self._inputs = self._inputs | bit if on else self._inputs & ~bit
        self._library.world_inputs(self._inputs)

    def stick_flags(self, stuck: int) -> None:
        """Freeze the flags in their current state: bit 0 pan, bit 1 tilt."""
        self._library.world_stick_flags(stuck)

    @property
    def places(self) -> tuple[int, int]:
        """The positions of the motors; zero is the edge of the flag."""
        return self._library.world_place(0), self._library.world_place(1)

    @property
    def steps(self) -> tuple[int, int]:
        """The number of steps of each motor, in both directions together."""
        return self._library.world_steps(0), self._library.world_steps(1)

    @property
    def outputs(self) -> int:
        outputs: int = self._library.world_outputs()
        return outputs

    @property
    def state(self) -> int:
        state: int = self._library.world_state()
        return state

    @property
    def finished(self) -> int:
        finished: int = self._library.world_finished()
        return finished

    @property
    def polls(self) -> int:
        polls: int = self._library.world_polls()
        return polls
