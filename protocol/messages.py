"""The messages between the two ends, as values.

Three families. A *request* goes from host to board and is answered by exactly one *reply*, which carries the sequence
number of the request. A *notice* goes from board to host, is never acknowledged and may be lost: a Status contains the
same facts.

The command-id rule. SetAxis, SetShaper, Arm, Reference, Move and Expose carry a command id that only grows, by serial
number arithmetic (`protocol.units.is_after`); 0 is not an id. A board compares it with the last id that it accepted. An
equal id in a command of the same kind has already been accepted: the board replies Accepted and does nothing. A later id
is considered. Any other is Refused as STALE_ID. A refused command does not use up its id. Hello, GetStatus, GetIndex,
Stop and Halt carry no id: they are always executed, and repeating them is harmless.

The order of the fields is the order of the bytes on the wire; `protocol.codec` has their widths.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import CONFORM, IntEnum, IntFlag
from types import MappingProxyType
from typing import Final, TypeAlias

from protocol.units import AxisId, BootId, CommandId, Steps


class BoardState(IntEnum):
    """What the board is doing."""

    DISARMED = 0
    READY = 1
    MOVING = 2
    REFERENCING = 3
    EXPOSING = 4
    STOPPING = 5


class Outcome(IntEnum):
    """How a Reference, Move or Expose ended."""

    NONE = 0
    ARRIVED = 1
    REFERENCED = 2
    EXPOSED_SYNC = 3
    """The camera's sync contact closed and opened: so did the shutter."""
    EXPOSED_BLIND = 4
    """No sync contact is fitted; the time passed."""
    NO_SYNC = 5
    """A sync contact is fitted but did not close."""
    CUT_SHORT = 6
    """A stop, a halt or a hold ended the command early."""


class Cause(IntEnum):
    """Why the board is not armed."""

    NONE = 0
    POWER_ON = 1
    HOST_STOP = 2
    HOST_HALT = 3
    HOST_SILENCE = 4
    LIMIT = 5
    STALL = 6
    SUPPLY_LOW = 7
    STOP_SWITCH = 8
    WATCHDOG = 9
    """The controller's own watchdog restarted it, because its program had hung. Since version 1.1."""
    ZERO_NOT_FOUND = 10
    """A Reference met no switch within its bound; PAN_KNOWN and TILT_KNOWN say which. Since version 1.1."""


class Reason(IntEnum):
    """Why the board refuses a request."""

    NOT_ARMED = 1
    BUSY = 2
    OUT_OF_LIMITS = 3
    STALE_ID = 4
    WRONG_BOOT = 5
    UNKNOWN_POSITION = 6
    """A move was requested before a reference run, or after the position was lost."""
    BAD_VALUE = 7
    UNKNOWN_KIND = 8
    VERSION = 9
    NOT_CONFIGURED = 10
    """Arm was requested before SetAxis had described both axes."""


class StatusFlag(IntFlag, boundary=CONFORM):
    """Conditions at the moment of a Status. Bits from a later minor version are ignored."""

    ARMED = 1
    PAN_KNOWN = 2
    TILT_KNOWN = 4
    GUSTY = 8
    """The wind is stronger than the threshold of the board's wind sensor."""


class Capability(IntFlag, boundary=CONFORM):
    """The equipment of the board. Bits from a later minor version are ignored."""

    SYNC_CONTACT = 1
    PAN_SWITCH = 2
    TILT_SWITCH = 4
    HALF_PRESS = 8
    WIND_SENSOR = 16
    SHAPER = 32
    """It shapes ramps as SetShaper says. Since version 1.2."""


ZERO_SWITCHES = Capability.PAN_SWITCH | Capability.TILT_SWITCH
CAPABILITIES_SINCE: Final = MappingProxyType({Capability.SHAPER: 2})
"""The minor version that introduced a capability, if it is not as old as 1.0."""
"""Both axes have a switch to find zero."""


class EdgeFlag(IntFlag, boundary=CONFORM):
    """How a flag at zero changed."""

    UPWARD = 1
    """The axis was turning upward."""
    ON = 2
    """The flag went on."""


# Requests: host to board.


@dataclass(frozen=True, slots=True)
class Hello:
    """Open the conversation. The Welcome returns the nonce, which distinguishes it from an older one."""

    version_major: int
    version_minor: int
    nonce: int


@dataclass(frozen=True, slots=True)
class GetStatus:
    """Ask for a Status."""


@dataclass(frozen=True, slots=True)
class GetIndex:
    """Ask for an Index."""


@dataclass(frozen=True, slots=True)
class SetAxis:
    """Describe one axis: its travel in steps, its highest speed and acceleration. Only while disarmed."""

    command_id: CommandId
    axis: AxisId
    min_steps: Steps
    max_steps: Steps
    speed_steps_s: int
    accel_steps_s2: int


@dataclass(frozen=True, slots=True)
class SetShaper:
    """Shape the ramps of one axis from the next Move on; only at rest. Since version 1.2.

    Impulses with share 0 are not used; without any the ramps stay plain (`protocol.shaper`).
    """

    command_id: CommandId
    axis: AxisId
    delay_1_ms: int
    share_1: int
    delay_2_ms: int
    share_2: int
    delay_3_ms: int
    share_3: int
    delay_4_ms: int
    share_4: int
    delay_5_ms: int
    share_5: int


@dataclass(frozen=True, slots=True)
class Arm:
    """Allow motion for this boot of the board, while a host frame arrives at least every `silence_ms`."""

    command_id: CommandId
    boot_id: BootId
    silence_ms: int


@dataclass(frozen=True, slots=True)
class Reference:
    """Find the switches that define zero: first at the search speed, then at that speed / `creep_divisor`."""

    command_id: CommandId
    pan_search_steps_s: int
    tilt_search_steps_s: int
    creep_divisor: int


@dataclass(frozen=True, slots=True)
class Move:
    """Go to an absolute position, both axes together."""

    command_id: CommandId
    pan_steps: Steps
    tilt_steps: Steps


@dataclass(frozen=True, slots=True)
class Expose:
    """Half-press for `focus_ms`, close the release for `press_ms`, then wait for the camera up to `limit_ms`.

    The wait ends early if the camera's sync contact has closed and opened again since the release was closed. So the
    command lasts at most the sum of the three times, and exactly the sum if no sync contact is fitted. `frame` and
    `exposure` are labels for the records; the board does not use them.
    """

    command_id: CommandId
    frame: int
    exposure: int
    focus_ms: int
    press_ms: int
    limit_ms: int


@dataclass(frozen=True, slots=True)
class Stop:
    """Ramp to rest, hold, disarm."""


@dataclass(frozen=True, slots=True)
class Halt:
    """Stop the pulses at once and disarm; the position is unknown afterwards."""


# Replies: board to host, one for each request.


@dataclass(frozen=True, slots=True)
class Welcome:
    """The reply to Hello: the identity and the equipment of this board."""

    version_major: int
    version_minor: int
    nonce: int
    boot_id: BootId
    last_command_id: CommandId
    capabilities: Capability
    receive_bytes: int
    max_step_rate: int

    @property
    def offers(self) -> Capability:
        """The capabilities that its version has: in an older board, a newer bit means nothing."""
        newer = (bit for bit, since in CAPABILITIES_SINCE.items() if self.version_minor < since)
        return self.capabilities & ~sum(newer, Capability(0))


@dataclass(frozen=True, slots=True)
class Accepted:
    """The request is accepted. Finished or Status reports later that it has *ended*."""


@dataclass(frozen=True, slots=True)
class Refused:
    """The request is refused, and nothing has changed."""

    reason: Reason


@dataclass(frozen=True, slots=True)
class Status:
    """Everything that a host needs to continue, however many notices were lost."""

    boot_id: BootId
    state: BoardState
    flags: StatusFlag
    cause: Cause
    pan_steps: Steps
    tilt_steps: Steps
    running_id: CommandId
    finished_id: CommandId
    finished_outcome: Outcome
    finished_clock_ms: int
    clock_ms: int


@dataclass(frozen=True, slots=True)
class Index:
    """Where the flags at zero were last seen to change during a Move, and how often so far."""

    pan_edges: int
    pan_steps: Steps
    pan_edge: EdgeFlag
    tilt_edges: int
    tilt_steps: Steps
    tilt_edge: EdgeFlag


# Notices: board to host, unasked.


@dataclass(frozen=True, slots=True)
class Booted:
    """The board has just started: it is disarmed, its axes are not described, and its position is unknown."""

    boot_id: BootId
    cause: Cause


@dataclass(frozen=True, slots=True)
class Finished:
    """A Reference, Move or Expose has ended, at `clock_ms` of the board's clock."""

    command_id: CommandId
    outcome: Outcome
    pan_steps: Steps
    tilt_steps: Steps
    clock_ms: int


@dataclass(frozen=True, slots=True)
class Held:
    """The board stopped by itself and disarmed."""

    cause: Cause
    pan_steps: Steps
    tilt_steps: Steps
    clock_ms: int


Command: TypeAlias = SetAxis | SetShaper | Arm | Reference | Move | Expose
"""The requests that carry a command id."""
Request: TypeAlias = Hello | GetStatus | GetIndex | Command | Stop | Halt
Reply: TypeAlias = Welcome | Accepted | Refused | Status | Index
Notice: TypeAlias = Booted | Finished | Held
Message: TypeAlias = Request | Reply | Notice
