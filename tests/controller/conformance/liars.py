"""Boards like the simulated one, each with one lie."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from protocol.board_link import BoardLink
from protocol.framing import LEAD
from protocol.messages import (
    Accepted,
    BoardState,
    Capability,
    Cause,
    Finished,
    Halt,
    Hello,
    Move,
    Outcome,
    Reason,
    Refused,
    SetShaper,
    Status,
    Stop,
    Welcome,
)
from protocol.units import BootId, CommandId, Steps
from sim.board import SimulatedBoard

HALT = Halt()
Spoil = Callable[[SimulatedBoard], None]
Change = Callable[[Any, int], Any]


def replies(board: SimulatedBoard, kind: type, change: Change) -> None:
    """Replace each reply of a type by `change(reply, now_ns)`."""
    original = board._judge

    def judge(now_ns: int, request: Any) -> Any:
        reply = original(now_ns, request)
        return change(reply, now_ns) if isinstance(reply, kind) else reply

    board._judge = judge  # type: ignore[method-assign]


def statuses(change: Change) -> Spoil:
    return lambda board: replies(board, Status, change)


def welcomes(**values: Any) -> Spoil:
    return lambda board: replies(board, Welcome, lambda reply, _: replace(reply, **values))


def notices(change: Change) -> Spoil:
    """Change each Finished, or drop it with None; Status stays true."""

    def spoil(board: SimulatedBoard) -> None:
        original = board._link.notify

        def notify(message: Any) -> None:
            changed = change(message, 0) if isinstance(message, Finished) else message
            if changed is not None:
                original(changed)

        board._link.notify = notify  # type: ignore[method-assign]

    return spoil


def commands(kind: type, change: Callable[[Any], Any]) -> Spoil:
    """Execute something other than the request."""

    def spoil(board: SimulatedBoard) -> None:
        name = f"_{kind.__name__.lower()}"
        original = getattr(board, name)
        setattr(board, name, lambda now_ns, command: original(now_ns, change(command)))

    return spoil


def counted(change: Callable[[int], int]) -> Spoil:
    """Report changed positions, in Status and notices alike."""

    def spoil(board: SimulatedBoard) -> None:
        original = board._count
        board._count = lambda name, now_ns: Steps(change(original(name, now_ns)))  # type: ignore[method-assign]

    return spoil


def that_never_moved(board: SimulatedBoard) -> None:
    """Reports ARRIVED at the target at once; its motors never turn."""
    claimed: dict[Any, int] = {}
    count = board._count
    board._count = lambda name, now_ns: Steps(claimed.get(name, count(name, now_ns)))  # type: ignore[method-assign]

    def move(now_ns: int, command: Move) -> None:
        claimed.update(zip(board._axes, (command.pan_steps, command.tilt_steps), strict=True))
        board._running = command.command_id
        board._finish(now_ns, Outcome.ARRIVED)

    board._move = move  # type: ignore[method-assign]


def that_hurries(board: SimulatedBoard) -> None:
    original = board._move

    def move(now_ns: int, command: Move) -> None:
        told = board._settings
        fast = {name: replace(one, speed_steps_s=2000, accel_steps_s2=10_000) for name, one in told.items()}
        board._settings = fast
        original(now_ns, command)
        board._settings = told

    board._move = move  # type: ignore[method-assign]


def that_never_arrives(board: SimulatedBoard) -> None:
    rest = board._rest_ns
    board._rest_ns = lambda: rest() + 10**15 * (board._state is BoardState.MOVING)  # type: ignore[method-assign]


def that_says_ready_too_soon(board: SimulatedBoard) -> None:
    """Its Status reports a Move as ended while the head turns, at the target, until asked again."""

    def change(status: Status, _: int) -> Status:
        if status.state is not BoardState.MOVING:
            return status
        return replace(
            status,
            state=BoardState.READY,
            running_id=CommandId(0),
            finished_id=status.running_id,
            finished_outcome=Outcome.ARRIVED,
        )

    replies(board, Status, change)


def of_another_major_version(major: int, minor: int, *, refuses: bool) -> Spoil:
    """Welcomes every host with its own version, or only hosts of its version."""

    def spoil(board: SimulatedBoard) -> None:
        def judge(_: int, request: Any) -> Any:
            if isinstance(request, Hello) and (not refuses or request.version_major == major):
                return Welcome(major, minor, request.nonce, BootId(5), CommandId(0), Capability.HALF_PRESS, 64, 1000)
            return Refused(Reason.VERSION) if isinstance(request, Hello) else Accepted()

        board._judge = judge  # type: ignore[method-assign,assignment]

    return spoil


def deaf_to_stale_ids(board: SimulatedBoard) -> None:
    board._judge_command = lambda *_: Accepted()  # type: ignore[method-assign]


def that_compares_ids_as_numbers(board: SimulatedBoard) -> None:
    original = board._judge_command

    def judge(now_ns: int, command: Any) -> Any:
        stale = command.command_id and command.command_id < board._last_id
        return Refused(Reason.STALE_ID) if stale else original(now_ns, command)

    board._judge_command = judge  # type: ignore[method-assign]


def that_takes_any_kind_for_a_repeat(board: SimulatedBoard) -> None:
    original = board._judge_command

    def judge(now_ns: int, command: Any) -> Any:
        return Accepted() if command.command_id == board._last_id != 0 else original(now_ns, command)

    board._judge_command = judge  # type: ignore[method-assign]


def without_patience_limit(board: SimulatedBoard) -> None:
    original = board._arm

    def arm(now_ns: int, command: Any) -> None:
        original(now_ns, command)
        board._silence_ns = 10**15

    board._arm = arm  # type: ignore[method-assign,assignment]


def that_forgets_to_disarm(board: SimulatedBoard) -> None:
    original = board._judge
    board._judge = (  # type: ignore[method-assign]
        lambda now_ns, request: Accepted() if isinstance(request, Stop) else original(now_ns, request)
    )


def that_needs_no_lead(board: SimulatedBoard) -> None:
    original = board.receive
    board.receive = lambda now_ns, data: original(now_ns, data.replace(b"\0", LEAD))  # type: ignore[method-assign]


def that_refuses_no_shaper(*reasons: Reason) -> Spoil:
    """Accepts a SetShaper that it should refuse for one of these reasons."""

    def spoil(board: SimulatedBoard) -> None:
        original = board._judge

        def judge(now_ns: int, request: Any) -> Any:
            reply = original(now_ns, request)
            wrong = isinstance(request, SetShaper) and isinstance(reply, Refused) and reply.reason in reasons
            return Accepted() if wrong else reply

        board._judge = judge  # type: ignore[method-assign]

    return spoil


def without_shaping(board: SimulatedBoard) -> None:
    """Honestly: another firmware."""
    board._shapes, board._link = False, BoardLink(without=(SetShaper,))


def that_forgets_its_shapers(board: SimulatedBoard) -> None:
    board._set_shaper = lambda *_: None  # type: ignore[method-assign]


def that_stops_slowly(board: SimulatedBoard) -> None:
    original = board._stop

    def stop(now_ns: int, cause: Cause) -> None:
        told = board._settings
        board._settings = {
            name: replace(one, accel_steps_s2=max(1, one.accel_steps_s2 // 20)) for name, one in told.items()
        }
        original(now_ns, cause)
        board._settings = told

    board._stop = stop  # type: ignore[method-assign]
