"""The camera: a release line in, a sync contact out, and time that it takes."""

from dataclasses import dataclass
from random import Random

NS = 1_000_000_000


@dataclass(frozen=True, slots=True)
class CameraSpec:
    """How this camera behaves. `shutter_s` are the times of its bracket, taken in turn."""

    shutter_s: tuple[float, ...]
    release_lag_ms: float
    ready_ms: float
    lag_scatter_ms: float = 2.0


@dataclass(frozen=True, slots=True)
class Label:
    """What the host says an exposure is for."""

    frame: int
    exposure: int


@dataclass(frozen=True, slots=True)
class Opening:
    """One opening of the shutter."""

    label: Label
    open_ns: int
    close_ns: int
    shutter_s: float


class Camera:
    """Opens its shutter a little after the release is closed, if it is ready by then."""

    def __init__(self, spec: CameraSpec, random: Random) -> None:
        self.spec = spec
        self._random = random
        self._next_in_bracket = 0
        self._ready_ns = 0
        self.opening: Opening | None = None
        self.ignored_releases = 0

    def release(self, now_ns: int, label: Label) -> None:
        """The release contact closes. A camera that is still busy ignores it, as real ones do."""
        if now_ns < self._ready_ns:
            self.ignored_releases += 1
            return
        scatter = self._random.uniform(-1, 1) * min(self.spec.lag_scatter_ms, self.spec.release_lag_ms / 2)
        open_ns = now_ns + round((self.spec.release_lag_ms + scatter) * 1e6)
        shutter_s = self.spec.shutter_s[self._next_in_bracket]
        self._next_in_bracket = (self._next_in_bracket + 1) % len(self.spec.shutter_s)
        close_ns = open_ns + round(shutter_s * NS)
        self._ready_ns = close_ns + round(self.spec.ready_ms * 1e6)
        self.opening = Opening(label, open_ns, close_ns, shutter_s)

    def next_deadline(self) -> int | None:
        """When the shutter closes, if it is open or about to open."""
        return self.opening.close_ns if self.opening else None

    def close(self) -> Opening:
        """The shutter closes: the opening that has just ended."""
        opening = self.opening
        assert opening is not None
        self.opening = None
        return opening
