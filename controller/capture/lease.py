"""Leases: a touch of the pad allows motion for a short time, and must be renewed as long as it lasts.

Each touch is a press with a number of its own; within a press the renewals are numbered. Everything here is a value, and
time comes from outside. A press that is over never moves the head again, whatever arrives of it later.
"""

from dataclasses import dataclass, replace

from protocol.units import MS

LASTS_NS = 400 * MS
"""How long a renewal allows motion. Common practice, no source: a browser renews every 100 ms."""


@dataclass(frozen=True, slots=True)
class Lease:
    """Permission to turn one way: `pan` and `tilt` are -1, 0 or 1, `speed` is an index into the pad's speeds.

    `press` numbers the touch and `number` its renewals; both only grow. `renewed_ns` is when the finger was certainly
    still on the pad (monotonic ns).
    """

    press: int
    number: int
    pan: int
    tilt: int
    speed: int
    renewed_ns: int

    @property
    def ends_ns(self) -> int:
        """When it runs out if it is not renewed (monotonic ns)."""
        return self.renewed_ns + LASTS_NS

    @property
    def moves(self) -> tuple[int, int, int]:
        """What a renewal must not change: the way of pan and of tilt, and the speed."""
        return self.pan, self.tilt, self.speed

    @property
    def way(self) -> tuple[int, int]:
        """The way of pan and of tilt."""
        return self.pan, self.tilt


@dataclass(frozen=True, slots=True)
class Leases:
    """The lease that holds now, if there is one. Every press up to number `over` is over for good."""

    current: Lease | None = None
    over: int = 0

    def at(self, now_ns: int) -> "Leases":
        """The same at this time: a lease that was not renewed has run out."""
        current = self.current
        return self.given_back(current.press) if current is not None and now_ns >= current.ends_ns else self

    def given_back(self, press: int) -> "Leases":
        """After the finger of this press was lifted: it and every earlier press is over."""
        over = max(self.over, press)
        current = self.current
        return Leases(current if current is not None and current.press > over else None, over)

    def all_back(self) -> "Leases":
        """The same with every press over that there has been."""
        return self if self.current is None else self.given_back(self.current.press)

    def renewed(self, lease: Lease, now_ns: int) -> "Leases":
        """After the first message or a renewal of a press arrived.

        A renewal that comes too late, or changes the way or the speed, ends its press. One that was overtaken changes
        nothing.
        """
        leases = self.at(now_ns)
        current = leases.current
        lease = replace(lease, renewed_ns=min(lease.renewed_ns, now_ns))
        if lease.press <= leases.over or (current is not None and lease.press < current.press):
            return leases
        same = current is not None and lease.press == current.press
        if same and current is not None and lease.number <= current.number:
            return leases
        if now_ns >= lease.ends_ns or lease.way == (0, 0):
            return leases.given_back(lease.press)
        if same and current is not None and lease.moves != current.moves:
            return leases.given_back(lease.press)
        if same and current is not None:
            lease = replace(lease, renewed_ns=max(lease.renewed_ns, current.renewed_ns))
        return Leases(lease, max(leases.over, lease.press - 1))
