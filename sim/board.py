"""The stand-in for the stepper board: it judges requests, moves the head and releases the camera.

Like the protocol it does no I/O and reads no clock: bytes and `now` in, bytes and the next deadline out. What a
board must do is written in protocol/SPEC.md; this is one that does it, with exact ramps in place of pulses.
"""

from collections.abc import Callable
from dataclasses import dataclass
from random import Random
from typing import Any

from protocol.board_link import BoardLink
from protocol.codec import PROTOCOL_VERSION
from protocol.messages import (
    Accepted,
    Arm,
    BoardState,
    Booted,
    Capability,
    Cause,
    Command,
    Expose,
    Finished,
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
    Status,
    StatusFlag,
    Welcome,
)
from protocol.units import MS, NO_COMMAND, BootId, CommandId, Nanos, Steps
from protocol.units import Axis as AxisName
from sim.axis import Axis
from sim.camera import Camera, Label
from sim.head import Head
from sim.judging import Standing, refusal
from sim.motors import move, stop
from sim.referencing import Phase, ReferenceRun

RECEIVE_BYTES = 128
TURNING = {BoardState.MOVING, BoardState.REFERENCING, BoardState.STOPPING}
BLOCKING = {Cause.SUPPLY_LOW, Cause.STOP_SWITCH}  # for as long as they last


@dataclass(slots=True)
class _Exposing:
    """An Expose under way: when the release closes and opens, and when waiting for the camera ends."""

    label: Label
    release_ns: int
    press_end_ns: int
    limit_ns: int
    released: bool = False
    sync_seen: bool = False


class Board:
    """One board from power-on to power-off."""

    def __init__(
        self,
        head: Head,
        camera: Camera,
        random: Random,
        *,
        sync_contact: bool,
        max_step_rate: int,
        now_ns: int,
        cause: Cause = Cause.POWER_ON,
    ) -> None:
        self._camera = camera
        self._max_step_rate = max_step_rate
        self._sync_contact = sync_contact
        self._boot_ns = now_ns
        self._boot_id = BootId(random.randrange(1, 1 << 32))
        self._link = BoardLink()
        self._axes: dict[AxisName, Axis] = {AxisName.PAN: head.pan, AxisName.TILT: head.tilt}
        # Counting starts at zero wherever the head happens to stand; a reference run corrects it.
        self._origin = {name: round(axis.motion.steps_at(now_ns)) for name, axis in self._axes.items()}
        self._settings: dict[AxisName, SetAxis] = {}
        self._state, self._cause = BoardState.DISARMED, cause
        self._known = False
        self._silence_ns = 0
        self._last_id = self._running = self._finished = NO_COMMAND
        self._outcome, self._finished_ms = Outcome.NONE, 0
        self._references: list[ReferenceRun] = []
        self._exposing: _Exposing | None = None
        self._stopped_by_itself = False
        self._blocked: set[Cause] = set()
        self._limited = any(axis.spec.limits_deg is not None for axis in self._axes.values())
        self._link.notify(Booted(self._boot_id, cause))

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
        """When `handle_deadline` has something to do."""
        moments = []
        if self._state in TURNING:
            moments += [at for run in self._references if (at := run.next_deadline()) is not None]
            if self._references and not moments:  # no axis has a switch: it is done at once
                moments.append(self._axes[AxisName.PAN].motion.end_ns)
            if self._state is not BoardState.REFERENCING:
                moments.append(self._rest_ns())
            if self._limited and (met_ns := self._limit_met_ns()) is not None:
                moments.append(met_ns)
        if self._exposing is not None:
            moments.append(self._exposing_deadline(self._exposing))
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
        elif self._state is BoardState.REFERENCING:
            self._go_on_referencing(now_ns)
        elif self._exposing is not None:
            self._go_on_exposing(now_ns, self._exposing)

    def sync_opened(self, now_ns: int) -> None:
        """The camera's sync contact has closed and opened again."""
        if self._exposing is not None and self._exposing.released and self._sync_contact:
            self._exposing.sync_seen = True
            self._go_on_exposing(now_ns, self._exposing)

    def trip(self, now_ns: int, cause: Cause) -> None:
        """A limit, a stall, a low supply or the stop switch: no more pulses, and the position is not known any more."""
        if self._state is BoardState.DISARMED:
            if cause in BLOCKING:
                self._known, self._cause = False, cause
            return
        self._halt(now_ns, cause)
        pan, tilt = self._count(AxisName.PAN, now_ns), self._count(AxisName.TILT, now_ns)
        self._link.notify(Held(cause, pan, tilt, self._clock_ms(now_ns)))

    def block(self, now_ns: int, cause: Cause) -> None:
        """The supply is low or the stop switch open: it cannot be armed until `unblock`."""
        self._blocked.add(cause)
        self.trip(now_ns, cause)

    def unblock(self, cause: Cause) -> None:
        """The supply is back, the stop switch closed again."""
        self._blocked.discard(cause)

    def _limit_met_ns(self) -> int | None:
        if self._state not in TURNING:
            return None
        moments = [axis.limit_met_ns() for axis in self._axes.values()]
        return min((moment for moment in moments if moment is not None), default=None)

    # Judging requests.

    def _judge(self, now_ns: int, request: Request) -> Reply:
        if isinstance(request, SetAxis | Arm | Reference | Move | Expose):
            return self._judge_command(now_ns, request)
        if isinstance(request, Hello):
            return self._welcome(request)
        if isinstance(request, GetStatus):
            return self._status(now_ns)
        if isinstance(request, Halt):
            self._halt(now_ns, Cause.HOST_HALT)
        else:
            self._stop(now_ns, Cause.HOST_STOP)
        return Accepted()

    def _judge_command(self, now_ns: int, command: Command) -> Reply:
        if command.command_id != NO_COMMAND:
            if command.command_id == self._last_id:
                return Accepted()
            if command.command_id < self._last_id:
                return Refused(Reason.STALE_ID)
        reason = refusal(
            command,
            Standing(
                self._state,
                bool(self._silence_ns),
                self._known,
                self._boot_id,
                self._settings,
                self._max_step_rate,
            ),
        )
        if reason is None and isinstance(command, Arm) and self._blocked:
            reason = Reason.BUSY
        if reason is not None:
            return Refused(reason)
        self._last_id = command.command_id
        begin: dict[type, Callable[[int, Any], None]] = {
            SetAxis: self._set_axis,
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
        fitted = Capability.HALF_PRESS
        for name, switch in ((AxisName.PAN, Capability.PAN_SWITCH), (AxisName.TILT, Capability.TILT_SWITCH)):
            fitted |= switch if self._axes[name].spec.switch else Capability(0)
        if self._sync_contact:
            fitted |= Capability.SYNC_CONTACT
        return Welcome(
            *PROTOCOL_VERSION,
            hello.nonce,
            self._boot_id,
            self._last_id,
            fitted,
            RECEIVE_BYTES,
            self._max_step_rate,
        )

    def _status(self, now_ns: int) -> Status:
        flags = StatusFlag.ARMED if self._silence_ns else StatusFlag(0)
        if self._known:
            flags |= StatusFlag.PAN_KNOWN | StatusFlag.TILT_KNOWN
        return Status(
            boot_id=self._boot_id,
            state=self._state,
            flags=flags,
            cause=self._cause,
            pan_steps=self._count(AxisName.PAN, now_ns),
            tilt_steps=self._count(AxisName.TILT, now_ns),
            running_id=self._running,
            finished_id=self._finished,
            finished_outcome=self._outcome,
            finished_clock_ms=self._finished_ms,
            clock_ms=self._clock_ms(now_ns),
        )

    def _set_axis(self, _: int, command: SetAxis) -> None:
        self._settings[command.axis] = command

    def _arm(self, _: int, command: Arm) -> None:
        self._silence_ns = command.silence_ms * MS
        self._state, self._cause = BoardState.READY, Cause.NONE

    def _reference(self, now_ns: int, command: Reference) -> None:
        self._known = False
        searches = {AxisName.PAN: command.pan_search_steps_s, AxisName.TILT: command.tilt_search_steps_s}
        self._references = [
            ReferenceRun(
                self._axes[name],
                now_ns,
                float(speed),
                speed / command.creep_divisor,
                self._settings[name].accel_steps_s2,
            )
            for name, speed in searches.items()
        ]
        self._run(command.command_id, BoardState.REFERENCING)

    def _move(self, now_ns: int, command: Move) -> None:
        for name, target in ((AxisName.PAN, command.pan_steps), (AxisName.TILT, command.tilt_steps)):
            axis, setting = self._axes[name], self._settings[name]
            here = round(axis.motion.steps_at(now_ns))
            goal = target + self._origin[name]
            jerk = axis.spec.jerk_deg_s3 and axis.spec.jerk_deg_s3 * axis.steps_per_degree
            axis.begin(move(now_ns, here, goal, setting.speed_steps_s, setting.accel_steps_s2, jerk))
        self._run(command.command_id, BoardState.MOVING)

    def _expose(self, now_ns: int, command: Expose) -> None:
        release_ns = now_ns + command.focus_ms * MS
        press_end_ns = release_ns + command.press_ms * MS
        label = Label(command.frame, command.exposure)
        self._exposing = _Exposing(label, release_ns, press_end_ns, press_end_ns + command.limit_ms * MS)
        self._run(command.command_id, BoardState.EXPOSING)

    # Carrying them out.

    def _run(self, command_id: CommandId, state: BoardState) -> None:
        self._running, self._state = command_id, state

    def _finish(self, now_ns: int, outcome: Outcome) -> None:
        self._finished, self._outcome = self._running, outcome
        self._finished_ms = self._clock_ms(now_ns)
        self._running = NO_COMMAND
        self._state = BoardState.READY if self._silence_ns else BoardState.DISARMED
        pan, tilt = self._count(AxisName.PAN, now_ns), self._count(AxisName.TILT, now_ns)
        self._link.notify(Finished(self._finished, outcome, pan, tilt, self._finished_ms))

    def _rest_ns(self) -> int:
        return max(axis.motion.end_ns for axis in self._axes.values())

    def _come_to_rest(self, now_ns: int) -> None:
        if self._state is BoardState.MOVING:
            self._finish(now_ns, Outcome.ARRIVED)
            return
        if self._running != NO_COMMAND:
            self._finish(now_ns, Outcome.CUT_SHORT)
        self._state = BoardState.DISARMED
        if self._stopped_by_itself:
            self._stopped_by_itself = False
            pan, tilt = self._count(AxisName.PAN, now_ns), self._count(AxisName.TILT, now_ns)
            self._link.notify(Held(self._cause, pan, tilt, self._clock_ms(now_ns)))

    def _go_on_referencing(self, now_ns: int) -> None:
        for run in self._references:
            run.handle_deadline(now_ns)
        if all(run.phase is Phase.DONE for run in self._references):
            # The switches' edge is step 0, wherever counting had started; without a switch, the place where it stands.
            for name, run in zip(self._origin, self._references, strict=True):
                self._origin[name] = run.zero_steps
            self._references = []
            self._known = True
            self._finish(now_ns, Outcome.REFERENCED)

    def _exposing_deadline(self, exposing: _Exposing) -> int:
        if not exposing.released:
            return exposing.release_ns
        return exposing.press_end_ns if exposing.sync_seen else exposing.limit_ns

    def _go_on_exposing(self, now_ns: int, exposing: _Exposing) -> None:
        if not exposing.released and now_ns >= exposing.release_ns:
            exposing.released = True
            self._camera.release(now_ns, exposing.label)
        elif exposing.released and now_ns >= self._exposing_deadline(exposing):
            if exposing.sync_seen:
                outcome = Outcome.EXPOSED_SYNC
            else:
                outcome = Outcome.NO_SYNC if self._sync_contact else Outcome.EXPOSED_BLIND
            self._exposing = None
            self._finish(now_ns, outcome)

    def _stop(self, now_ns: int, cause: Cause) -> None:
        """Ramp to rest, hold, disarm. Also opens the release; a shutter that is open closes in its own time."""
        if self._state is BoardState.DISARMED and not self._silence_ns:
            return
        if self._state is BoardState.STOPPING:
            return
        self._silence_ns, self._cause = 0, cause
        self._stopped_by_itself = cause is not Cause.HOST_STOP
        self._references, self._exposing = [], None
        for name, axis in self._axes.items():
            axis.begin(stop(axis.motion, now_ns, self._settings[name].accel_steps_s2))
        self._state = BoardState.STOPPING

    def _halt(self, now_ns: int, cause: Cause) -> None:
        """No more pulses. The rotor may slip by whole steps, so the position is no longer known."""
        self._silence_ns, self._cause, self._known = 0, cause, False
        self._references, self._exposing, self._stopped_by_itself = [], None, False
        for axis in self._axes.values():
            axis.jolt(now_ns)
        if self._running != NO_COMMAND:
            self._finish(now_ns, Outcome.CUT_SHORT)
        self._state = BoardState.DISARMED

    def _count(self, name: AxisName, now_ns: int) -> Steps:
        return Steps(round(self._axes[name].motion.steps_at(now_ns)) - self._origin[name])

    def _clock_ms(self, now_ns: int) -> int:
        return (now_ns - self._boot_ns) // MS & 0xFFFFFFFF
