"""The camera: a release line in, a sync contact out, and its delays."""

from collections import Counter, deque
from dataclasses import dataclass
from enum import StrEnum
from random import Random

from protocol.units import NS


@dataclass(frozen=True, slots=True)
class CameraSpec:
    """The properties of this camera. `shutter_s` are the times of its bracket, shot in turn.

    `misfire_share` of the releases have no effect. The card has room for `card_exposures`, the battery lasts for
    `battery_exposures` (None: unlimited). The buffer has room for `buffer_exposures`, each of which takes `write_ms` to
    write to the card. Exposures of `noise_reduction_s` or longer are followed by a dark one of the same length. The
    mirror kicks the tilt axis by `mirror_kick_deg_s` when it opens. The sync contact bounces for `bounce_ms` when it
    opens again. With `bulb` the shutter is open for as long as the release is pressed, whatever `shutter_s` says. Its own
    timer makes exposures of at most `longest_timed_s`.
    """

    shutter_s: tuple[float, ...]
    release_lag_ms: float
    ready_ms: float
    lag_scatter_ms: float = 2.0
    misfire_share: float = 0.0
    card_exposures: int | None = None
    battery_exposures: int | None = None
    buffer_exposures: int | None = None
    write_ms: float = 0.0
    noise_reduction_s: float | None = None
    mirror_kick_deg_s: float = 0.0
    bounce_ms: float = 0.0
    bulb: bool = False
    longest_timed_s: float | None = None


class Ignored(StrEnum):
    """Why a release had no effect."""

    BUSY = "the camera was still busy"
    SILENT = "the camera did not hear it"
    MISFIRE = "the camera misfired"
    CARD_FULL = "the card was full"
    BATTERY_FLAT = "the battery was flat"
    TOO_LONG = "the camera's own shutter makes no exposure as long as that"


@dataclass(frozen=True, slots=True)
class Label:
    """The host's name for an exposure."""

    frame: int
    exposure: int


@dataclass(frozen=True, slots=True)
class Opening:
    """One opening of the shutter."""

    label: Label
    open_ns: int
    close_ns: int
    shutter_s: float


class SimulatedCamera:
    """Opens its shutter shortly after the release closes, if the camera is ready by then."""

    def __init__(self, spec: CameraSpec, random: Random) -> None:
        self.spec = spec
        self._random = random
        self._next_in_bracket = 0
        self._ready_ns = 0
        self._written: deque[int] = deque()  # when each exposure in the buffer will be written to the card
        self.opening: Opening | None = None
        self.made = 0
        self.silent = False
        self.misfires = 0
        """How many of the next releases have no effect."""
        self.card_left, self.battery_left = spec.card_exposures, spec.battery_exposures
        self.ignored: Counter[Ignored] = Counter()

    def release(self, now_ns: int, label: Label, press_ns: int = 0) -> Opening | None:
        """Close the release contact for `press_ns`. Returns the opening that follows, None if there is none (see
        `ignored`).
        """
        why = self._reason_to_ignore(now_ns)
        if why is not None:
            self.ignored[why] += 1
            return None
        scatter = self._random.uniform(-1, 1) * min(self.spec.lag_scatter_ms, self.spec.release_lag_ms / 2)
        open_ns = now_ns + round((self.spec.release_lag_ms + scatter) * 1e6)
        # In bulb mode the lag from contact to shutter is the same at both ends.
        shutter_s = press_ns / NS if self.spec.bulb else self.spec.shutter_s[self._next_in_bracket]
        self._next_in_bracket = (self._next_in_bracket + 1) % len(self.spec.shutter_s)
        close_ns = open_ns + round(shutter_s * NS)
        self._ready_ns = self._ready_after(close_ns, shutter_s)
        self.opening = Opening(label, open_ns, close_ns, shutter_s)
        return self.opening

    def _reason_to_ignore(self, now_ns: int) -> Ignored | None:
        if self.silent:
            return Ignored.SILENT
        if self.battery_left == 0:
            return Ignored.BATTERY_FLAT
        if self.card_left == 0:
            return Ignored.CARD_FULL
        if now_ns < self._ready_ns:
            return Ignored.BUSY
        longest_s = self.spec.longest_timed_s
        if longest_s is not None and not self.spec.bulb and self.spec.shutter_s[self._next_in_bracket] > longest_s:
            return Ignored.TOO_LONG
        if self.misfires > 0:
            self.misfires -= 1
            return Ignored.MISFIRE
        if self.spec.misfire_share and self._random.random() < self.spec.misfire_share:
            return Ignored.MISFIRE
        return None

    def _ready_after(self, close_ns: int, shutter_s: float) -> int:
        spec = self.spec
        taken_ns = close_ns
        if spec.noise_reduction_s is not None and shutter_s >= spec.noise_reduction_s:
            taken_ns += round(shutter_s * NS)
        ready_ns = taken_ns + round(spec.ready_ms * 1e6)
        if spec.buffer_exposures is None:
            return ready_ns
        while self._written and self._written[0] <= taken_ns:
            self._written.popleft()
        begin_ns = max(taken_ns, self._written[-1]) if self._written else taken_ns
        self._written.append(begin_ns + round(spec.write_ms * 1e6))
        waits = len(self._written) >= spec.buffer_exposures
        return max(ready_ns, self._written[0]) if waits else ready_ns

    def next_deadline(self) -> int | None:
        """When the shutter closes, if it is open or about to open."""
        return self.opening.close_ns if self.opening else None

    def close(self) -> Opening:
        """Close the shutter. Returns the opening that has just ended."""
        opening = self.opening
        assert opening is not None
        self.opening = None
        self.made += 1
        if self.card_left is not None:
            self.card_left -= 1
        if self.battery_left is not None:
            self.battery_left -= 1
        return opening
