"""The simulated stepper board: it judges requests, moves the head and releases the camera.

Like the protocol it does no I/O and reads no clock: bytes and `now` in, bytes and the next deadline out. The duties of a
board are in protocol/SPEC.md; this one fulfils them with exact ramps in place of pulses.
"""

from collections.abc import Callable
from random import Random
from typing import Any

from protocol.board_link import BoardLink
from protocol.codec import PROTOCOL_VERSION, cause_for
from protocol.messages import (
    CAPABILITIES_SINCE,
    Accepted,
    Arm,
    BoardState,
    Booted,
    Capability,
    Cause,
    Command,
    Expose,
    Finished,
    GetIndex,
    GetStatus,
    Halt,
    Held,
    Hello,
    Move,
    Outcome,
    Reason,
    Reference,
    Refused,
    Reply,
    Request,
    SetAxis,
    SetShaper,
    Status,
    StatusFlag,
    Welcome,
)
from protocol.shaper import Shaper, impulses_of
from protocol.units import MS, NO_COMMAND, AxisId, BootId, CommandId, Nanos, Steps, is_after
from sim import exposing
from sim.axis import SimulatedAxis
from sim.camera import SimulatedCamera
from sim.exposing import Exposing
from sim.head import SimulatedHead
from sim.indexing import Indexing
from sim.judging import JudgingState, refusal
from sim.motors import move, stop
from sim.referencing import Phase, Referencing
from sim.shaped import shaped

RECEIVE_BYTES = 128
TURNING = {BoardState.MOVING, BoardState.REFERENCING, BoardState.STOPPING}
BLOCKING = {Cause.SUPPLY_LOW, Cause.STOP_SWITCH}  # as long as they last
KNOWN = {AxisId.PAN: StatusFlag.PAN_KNOWN, AxisId.TILT: StatusFlag.TILT_KNOWN}
CLOSED_NS = MS  # as long as in most exposures, and longer than the shortest that counts


class SimulatedBoard:
    """One board from power-on to power-off."""

    def __init__(
        self,
        head: SimulatedHead,
        camera: SimulatedCamera,
        random: Random,
        *,
        sync_contact: bool,
        max_step_rate: int,
        now_ns: int,
        gusty_from_deg: float | None = None,
        shapes: bool = True,
        minor: int = PROTOCOL_VERSION.minor,
        cause: Cause = Cause.POWER_ON,
    ) -> None:
        self._camera = camera
        self._max_step_rate = max_step_rate
        self._sync_contact, self._minor = sync_contact, minor
        # A board whose ramps limit the jerk has no shapers.
        jerky = any(axis.spec.jerk_deg_s3 for axis in (head.pan, head.tilt))
        self._shapes = shapes and not jerky and minor >= CAPABILITIES_SINCE[Capability.SHAPER]
        self._wind, self._gusty_from_deg = head.wind, gusty_from_deg
        self._boot_ns = now_ns
        self._boot_id = BootId(random.randrange(1, 1 << 32))
        self._link = BoardLink(without=() if self._shapes else (SetShaper,))
        self._axes: dict[AxisId, SimulatedAxis] = {AxisId.PAN: head.pan, AxisId.TILT: head.tilt}
        # Counting starts at zero wherever the head is; a reference run corrects it.
        self._origin = {name: round(axis.motion.steps_at(now_ns)) for name, axis in self._axes.items()}
        self._settings: dict[AxisId, SetAxis] = {}
        self._shapers: dict[AxisId, Shaper] = {}
        self._state, self._cause = BoardState.DISARMED, cause
        self._known: set[AxisId] = set()
        self._silence_ns = 0
        self._last_id = self._running = self._finished = NO_COMMAND
        self._last_kind: type[Command] | None = None  # kind of the command with that id
        self._host_minor = 0
        self._outcome, self._finished_ms = Outcome.NONE, 0
        self._referencing: Referencing | None = None
        self._exposing: Exposing | None = None
        self._stopped_by_itself = False
        self._indexing = Indexing()
        self._blocked: set[Cause] = set()
        self._limited = any(axis.spec.limits_deg is not None for axis in self._axes.values())
        self._link.notify(Booted(self._boot_id, cause_for(self._host_minor, cause)))

    # The five ways in and out.

    def receive(self, now_ns: int, data: bytes) -> None:
        """Take in bytes and act on the requests in them."""
        self._link.receive(data, Nanos(now_ns))
        while (new := self._link.next_request()) is not None:
            seq, request = new
            self._link.reply(seq, self._judge(now_ns, request))

    def take(self) -> bytes:
        """Bytes for the wire."""
        return self._link.take()

    def next_deadline(self) -> int | None:
        """The next time at which `handle_deadline` has something to do."""
        moments = []
        if self._state in TURNING:
            moments.append(self._rest_ns() if self._referencing is None else self._referencing.next_deadline())
            if self._limited and (met_ns := self._limit_met_ns()) is not None:
                moments.append(met_ns)
        if self._exposing is not None:
            moments.append(self._exposing.next_deadline())
        if self._silence_ns and self._state is not BoardState.STOPPING:
            moments.append((self._link.last_heard or 0) + self._silence_ns)
        return min(moments, default=None)

    def handle_deadline(self, now_ns: int) -> None:
        """Do what is due."""
        if self._limited and (met_ns := self._limit_met_ns()) is not None and now_ns >= met_ns:
            self.trip(now_ns, Cause.LIMIT)
            return
        if self._silence_ns and now_ns >= (self._link.last_heard or 0) + self._silence_ns:
            self._stop(now_ns, Cause.HOST_SILENCE)
        if self._state in {BoardState.MOVING, BoardState.STOPPING} and now_ns >= self._rest_ns():
            self._come_to_rest(now_ns)
        elif self._referencing is not None:
            self._go_on_referencing(now_ns, self._referencing)
        elif self._exposing is not None:
            self._go_on_exposing(now_ns, self._exposing)

    def sync_opened(self, now_ns: int, closed_for_ns: int = CLOSED_NS) -> None:
        """Note that the camera's sync contact was closed for so long and is open again."""
        if self._exposing is not None:
            self._exposing.sync_opened(now_ns, closed_for_ns)
            self._go_on_exposing(now_ns, self._exposing)

    def trip(self, now_ns: int, cause: Cause) -> None:
        """Stop the pulses for a limit, a stall, a low supply or the stop switch; the position is then unknown."""
        if self._state is BoardState.DISARMED:
            if cause in BLOCKING:
                self._known, self._cause = set(), cause
            return
        self._halt(now_ns, cause)
        self._notify_held(now_ns)

    def block(self, now_ns: int, cause: Cause) -> None:
        """Refuse arming until `unblock`: the supply is low or the stop switch is open."""
        self._blocked.add(cause)
        self.trip(now_ns, cause)

    def unblock(self, cause: Cause) -> None:
        """Allow arming: the supply is back, or the stop switch is closed again."""
        self._blocked.discard(cause)

    def _limit_met_ns(self) -> int | None:
        if self._state not in TURNING:
            return None
        moments = [axis.limit_met_ns() for axis in self._axes.values()]
        return min((moment for moment in moments if moment is not None), default=None)

    # Judging requests.

    def _judge(self, now_ns: int, request: Request) -> Reply:
        if isinstance(request, SetAxis | SetShaper | Arm | Reference | Move | Expose):
            return self._judge_command(now_ns, request)
        if isinstance(request, Hello):
            return self._welcome(request)
        if isinstance(request, GetStatus):
            return self._status(now_ns)
        if isinstance(request, GetIndex):
            return self._indexing.reply()
        if isinstance(request, Halt):
            self._halt(now_ns, Cause.HOST_HALT)
        else:
            self._stop(now_ns, Cause.HOST_STOP)
        return Accepted()

    def _judge_command(self, now_ns: int, command: Command) -> Reply:
        if command.command_id != NO_COMMAND:
            if command.command_id == self._last_id and type(command) is self._last_kind:
                return Accepted()
            if not is_after(command.command_id, self._last_id):
                return Refused(Reason.STALE_ID)
        reason = refusal(
            command,
            JudgingState(
                self._state,
                bool(self._silence_ns),
                len(self._known) == len(self._axes),
                self._boot_id,
                self._settings,
                self._max_step_rate,
            ),
        )
        if reason is None and isinstance(command, Arm) and self._blocked:
            reason = Reason.BUSY
        if reason is not None:
            return Refused(reason)
        self._last_id, self._last_kind = command.command_id, type(command)
        begin: dict[type, Callable[[int, Any], None]] = {
            SetAxis: self._set_axis,
            SetShaper: self._set_shaper,
            Arm: self._arm,
            Reference: self._reference,
            Move: self._move,
            Expose: self._expose,
        }
        begin[type(command)](now_ns, command)
        return Accepted()

    def _welcome(self, hello: Hello) -> Reply:
        if hello.version_major != PROTOCOL_VERSION.major:
            return Refused(Reason.VERSION)
        self._host_minor = min(hello.version_minor, self._minor)
        fitted = Capability.HALF_PRESS
        for name, switch in ((AxisId.PAN, Capability.PAN_SWITCH), (AxisId.TILT, Capability.TILT_SWITCH)):
            fitted |= switch if self._axes[name].spec.switch else Capability(0)
        if self._sync_contact:
            fitted |= Capability.SYNC_CONTACT
        if self._gusty_from_deg is not None:
            fitted |= Capability.WIND_SENSOR
        if self._shapes:
            fitted |= Capability.SHAPER
        return Welcome(
            PROTOCOL_VERSION.major,
            self._minor,
            hello.nonce,
            self._boot_id,
            self._last_id,
            fitted,
            RECEIVE_BYTES,
            self._max_step_rate,
        )

    def _status(self, now_ns: int) -> Status:
        flags = StatusFlag.ARMED if self._silence_ns else StatusFlag(0)
        for name in self._known:
            flags |= KNOWN[name]
        if self._gusty_from_deg is not None and self._wind.strength_deg(now_ns) >= self._gusty_from_deg:
            flags |= StatusFlag.GUSTY
        return Status(
            boot_id=self._boot_id,
            state=self._state,
            flags=flags,
            cause=cause_for(self._host_minor, self._cause),
            pan_steps=self._count(AxisId.PAN, now_ns),
            tilt_steps=self._count(AxisId.TILT, now_ns),
            running_id=self._running,
            finished_id=self._finished,
            finished_outcome=self._outcome,
            finished_clock_ms=self._finished_ms,
            clock_ms=self._clock_ms(now_ns),
        )

    def _set_axis(self, _: int, command: SetAxis) -> None:
        self._settings[command.axis] = command
        self._shapers[command.axis] = Shaper()

    def _set_shaper(self, _: int, command: SetShaper) -> None:
        self._shapers[command.axis] = Shaper(impulses_of(command))

    def _arm(self, _: int, command: Arm) -> None:
        self._silence_ns = command.silence_ms * MS
        self._state, self._cause = BoardState.READY, Cause.NONE

    def _reference(self, now_ns: int, command: Reference) -> None:
        self._referencing = Referencing(command, now_ns, self._axes, self._settings)
        self._take_zeros(self._referencing)
        self._run(command.command_id, BoardState.REFERENCING)

    def _take_zeros(self, referencing: Referencing) -> None:
        """Set step 0 at the switches' edges, wherever counting had started; without a switch, at the present position."""
        zeros = referencing.zeros()
        self._origin |= zeros
        self._known = set(zeros)

    def _move(self, now_ns: int, command: Move) -> None:
        for name, target in ((AxisId.PAN, command.pan_steps), (AxisId.TILT, command.tilt_steps)):
            axis, setting = self._axes[name], self._settings[name]
            here = round(axis.motion.steps_at(now_ns))
            goal = target + self._origin[name]
            most = setting.speed_steps_s, setting.accel_steps_s2
            if (jerk_deg_s3 := axis.spec.jerk_deg_s3) is not None:
                axis.begin(move(now_ns, here, goal, *most, jerk_deg_s3 * axis.steps_per_degree))
            else:
                axis.begin(shaped(now_ns, here, goal, *most, self._shapers[name]))
        self._run(command.command_id, BoardState.MOVING)

    def _expose(self, now_ns: int, command: Expose) -> None:
        self._exposing = exposing.begin(command, now_ns, sync_contact=self._sync_contact)
        self._run(command.command_id, BoardState.EXPOSING)

    # Carrying them out.

    def _run(self, command_id: CommandId, state: BoardState) -> None:
        self._running, self._state = command_id, state

    def _finish(self, now_ns: int, outcome: Outcome) -> None:
        self._finished, self._outcome = self._running, outcome
        self._finished_ms = self._clock_ms(now_ns)
        self._running = NO_COMMAND
        self._state = BoardState.READY if self._silence_ns else BoardState.DISARMED
        pan, tilt = self._count(AxisId.PAN, now_ns), self._count(AxisId.TILT, now_ns)
        self._link.notify(Finished(self._finished, outcome, pan, tilt, self._finished_ms))

    def _rest_ns(self) -> int:
        return max(axis.motion.end_ns for axis in self._axes.values())

    def _come_to_rest(self, now_ns: int) -> None:
        if self._state is BoardState.MOVING:
            self._indexing.note(now_ns, self._axes, self._origin)
            self._finish(now_ns, Outcome.ARRIVED)
            return
        if self._running != NO_COMMAND:
            self._finish(now_ns, Outcome.CUT_SHORT)
        self._state = BoardState.DISARMED
        if self._stopped_by_itself:
            self._stopped_by_itself = False
            self._notify_held(now_ns)

    def _notify_held(self, now_ns: int) -> None:
        cause = cause_for(self._host_minor, self._cause)
        pan, tilt = self._count(AxisId.PAN, now_ns), self._count(AxisId.TILT, now_ns)
        self._link.notify(Held(cause, pan, tilt, self._clock_ms(now_ns)))

    def _go_on_referencing(self, now_ns: int, referencing: Referencing) -> None:
        referencing.handle_deadline(now_ns)
        self._take_zeros(referencing)
        phases = referencing.phases()
        if Phase.FAILED in phases.values():
            self.trip(now_ns, Cause.ZERO_NOT_FOUND)
            self._known = {name for name, phase in phases.items() if phase is Phase.DONE}
        elif set(phases.values()) == {Phase.DONE}:
            self._referencing = None
            self._finish(now_ns, Outcome.REFERENCED)

    def _go_on_exposing(self, now_ns: int, under_way: Exposing) -> None:
        outcome = under_way.handle_deadline(now_ns, self._camera)
        if outcome is not None:
            self._exposing = None
            self._finish(now_ns, outcome)

    def _stop(self, now_ns: int, cause: Cause) -> None:
        """Ramp to rest, hold, disarm. Also opens the release; an open shutter closes at its own time."""
        if self._state is BoardState.DISARMED and not self._silence_ns:
            return
        if self._state is BoardState.STOPPING:
            return
        if self._state is BoardState.MOVING:
            self._indexing.note(now_ns, self._axes, self._origin)
        self._silence_ns, self._cause = 0, cause
        self._stopped_by_itself = cause is not Cause.HOST_STOP
        self._referencing, self._exposing = None, None
        for name, axis in self._axes.items():
            axis.begin(stop(axis.motion, now_ns, self._settings[name].accel_steps_s2))
        self._state = BoardState.STOPPING

    def _halt(self, now_ns: int, cause: Cause) -> None:
        """Stop the pulses. The rotor may slip by whole steps, so the position is no longer known."""
        if self._state is BoardState.MOVING:
            self._indexing.note(now_ns, self._axes, self._origin)
        self._silence_ns, self._cause, self._known = 0, cause, set()
        self._referencing, self._exposing, self._stopped_by_itself = None, None, False
        for axis in self._axes.values():
            axis.jolt(now_ns)
        if self._running != NO_COMMAND:
            self._finish(now_ns, Outcome.CUT_SHORT)
        self._state = BoardState.DISARMED

    def _count(self, name: AxisId, now_ns: int) -> Steps:
        return Steps(round(self._axes[name].motion.steps_at(now_ns)) - self._origin[name])

    def _clock_ms(self, now_ns: int) -> int:
        return (now_ns - self._boot_ns) // MS & 0xFFFFFFFF
