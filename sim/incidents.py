"""Applies a scenario to a rig at its times, and records it."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from protocol.messages import Cause
from protocol.units import NS
from sim.scenario import KINDS, Fault, Scenario
from sim.wind import Gust
from sim.wire import LineTrouble
from sim.world import world_texts

if TYPE_CHECKING:
    from sim.rig import Rig


@dataclass(frozen=True, slots=True)
class Incident:
    """An event in the world: when, and what."""

    at_ns: int
    what: str


@dataclass(slots=True)
class HostState:
    """What happened to the host: killed, asleep until a time, its clock ahead of the world's."""

    killed: bool = False
    asleep_until_ns: int = 0
    clock_ahead_ns: int = 0


class Incidents:
    """The faults still to come, those that last, and the record of past ones."""

    def __init__(self, scenario: Scenario) -> None:
        self.happened = [Incident(0, text) for text in world_texts(scenario.world)]
        self._timed = sorted(
            ((round(fault.at_s * NS), fault) for fault in scenario.faults if fault.at_s is not None),
            key=lambda due: due[0],
        )
        self._by_exposure = [fault for fault in scenario.faults if fault.at_s is None]
        self._ends: list[tuple[int, Fault]] = []

    def next_deadline(self) -> int | None:
        """When the next fault begins or ends."""
        if not self._timed and not self._ends:
            return None
        return min(moment for moment, _ in (*self._timed[:1], *self._ends[:1]))

    def handle_deadline(self, rig: "Rig", now_ns: int) -> None:
        """Begin and end the faults that are due."""
        while self._ends and self._ends[0][0] <= now_ns:
            self._end(rig, now_ns, self._ends.pop(0)[1])
        while self._timed and self._timed[0][0] <= now_ns:
            self._begin(rig, now_ns, self._timed.pop(0)[1])

    def exposure_made(self, rig: "Rig", now_ns: int, count: int, frame: int) -> None:
        """Begin the faults due after exposure number `count`, which was of `frame`."""
        due = [f for f in self._by_exposure if f.after_exposure == count or f.at_frame == frame]
        self._by_exposure = [fault for fault in self._by_exposure if fault not in due]
        for fault in due:
            self._begin(rig, now_ns, fault)

    def _begin(self, rig: "Rig", now_ns: int, fault: Fault) -> None:
        lasting = ""
        if KINDS[fault.kind].lasts and fault.for_s is not None:
            lasting = f" for {fault.for_s:g} s"
            self._ends.append((now_ns + round(fault.for_s * NS), fault))
            self._ends.sort(key=lambda end: end[0])
        self.happened.append(Incident(now_ns, KINDS[fault.kind].says + _amount(fault) + lasting))
        if rig.person is not None and fault.kind in BY_HAND and (fault.for_s or BY_HAND_S) >= BY_HAND_S:
            rig.person.touch(now_ns)
        BEGIN[fault.kind](rig, now_ns, fault)

    def _end(self, rig: "Rig", now_ns: int, fault: Fault) -> None:
        self.happened.append(Incident(now_ns, f"over: {KINDS[fault.kind].says}"))
        END[fault.kind](rig, now_ns, fault)


def _amount(fault: Fault) -> str:
    parts = []
    for field in KINDS[fault.kind].needs:
        value = getattr(fault, field)
        parts.append(f"{field} {value:g}" if isinstance(value, float | int) else f"{field} {value}")
    return f" ({', '.join(parts)})" if parts else ""


BY_HAND = {"line-cut", "supply-dip", "stop-switch", "board-reset"}
"""Faults caused by a person beside the head: a pulled cable, a changed battery, a pressed switch."""
BY_HAND_S = 10.0
"""A shorter fault was not caused by hand: nobody pulls a cable and plugs it back in less time."""
Handler = Callable[["Rig", int, Fault], None]


def _trouble(change: Callable[[LineTrouble, Fault, bool], LineTrouble]) -> tuple[Handler, Handler]:
    """Handlers that apply a trouble to both wires and remove it."""

    def set_on(rig: "Rig", fault: Fault, *, on: bool) -> None:
        for wire in (rig.to_board, rig.to_host):
            wire.trouble = change(wire.trouble, fault, on)

    return (lambda rig, _, fault: set_on(rig, fault, on=True)), (lambda rig, _, fault: set_on(rig, fault, on=False))


def _restart(rig: "Rig", now_ns: int, _: Fault) -> None:
    rig.restart_board(now_ns, Cause.POWER_ON)


def _lose_steps(rig: "Rig", now_ns: int, fault: Fault) -> None:
    rig.head.axis(fault.axis).lose(now_ns, fault.steps)


def _stall(rig: "Rig", now_ns: int, fault: Fault) -> None:
    rig.head.axis(fault.axis).stall(now_ns)
    if fault.sensed:
        rig.board.trip(now_ns, Cause.STALL)


def _move_index(rig: "Rig", _: int, fault: Fault) -> None:
    rig.head.axis(fault.axis).flag_deg += fault.degrees


def _blow(rig: "Rig", now_ns: int, fault: Fault) -> None:
    rig.head.wind.add(Gust(now_ns, fault.for_s if fault.for_s is not None else 3.0, fault.degrees))


def _dip(rig: "Rig", now_ns: int, _: Fault) -> None:
    rig.board.block(now_ns, Cause.SUPPLY_LOW)


def _open_switch(rig: "Rig", now_ns: int, _: Fault) -> None:
    rig.board.block(now_ns, Cause.STOP_SWITCH)


def _deafen(rig: "Rig", _: int, __: Fault) -> None:
    rig.camera.silent = True


def _hear(rig: "Rig", _: int, __: Fault) -> None:
    rig.camera.silent = False


def _misfire(rig: "Rig", _: int, fault: Fault) -> None:
    rig.camera.misfires += fault.times


def _fill_card(rig: "Rig", _: int, __: Fault) -> None:
    rig.camera.card_left = 0


def _drain(rig: "Rig", _: int, __: Fault) -> None:
    rig.camera.battery_left = 0


def _sleep(rig: "Rig", now_ns: int, fault: Fault) -> None:
    rig.host.asleep_until_ns = now_ns + round((fault.for_s or 0.0) * NS)


def _jump(rig: "Rig", _: int, fault: Fault) -> None:
    rig.host.clock_ahead_ns += round(fault.seconds * NS)


def _kill(rig: "Rig", _: int, __: Fault) -> None:
    rig.host.killed = True


def _nothing(_: "Rig", __: int, ___: Fault) -> None:
    """Do nothing: the fault ends by itself."""


TROUBLE = {
    "bytes-damaged": _trouble(lambda line, fault, on: replace(line, byte_error_rate=fault.share if on else 0.0)),
    "bytes-dropped": _trouble(lambda line, fault, on: replace(line, drop_share=fault.share if on else 0.0)),
    "bytes-doubled": _trouble(lambda line, fault, on: replace(line, double_share=fault.share if on else 0.0)),
    "bytes-delayed": _trouble(lambda line, fault, on: replace(line, delay_ns=round(fault.delay_ms * 1e6) if on else 0)),
    "line-cut": _trouble(lambda line, _, on: replace(line, cut=on)),
}
BEGIN: dict[str, Handler] = {
    **{kind: begin for kind, (begin, _) in TROUBLE.items()},
    "board-reset": _restart,
    "supply-dip": _dip,
    "stop-switch": _open_switch,
    "steps-lost": _lose_steps,
    "stall": _stall,
    "limit-hit": lambda rig, now_ns, _: rig.board.trip(now_ns, Cause.LIMIT),
    "index-moved": _move_index,
    "gust": _blow,
    "camera-silent": _deafen,
    "misfire": _misfire,
    "card-full": _fill_card,
    "battery-flat": _drain,
    "clock-jump": _jump,
    "host-asleep": _sleep,
    "host-killed": _kill,
}
END: dict[str, Handler] = {
    **{kind: end for kind, (_, end) in TROUBLE.items()},
    "supply-dip": lambda rig, _, __: rig.board.unblock(Cause.SUPPLY_LOW),
    "stop-switch": lambda rig, _, __: rig.board.unblock(Cause.STOP_SWITCH),
    "camera-silent": _hear,
    "gust": _nothing,
    "host-asleep": _nothing,
}
