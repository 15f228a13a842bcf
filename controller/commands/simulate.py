"""`fullturn simulate`: the simulated rig in real time, at a port that any program can open."""

import os
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from random import SystemRandom

from controller.capture.interrupts import Interrupts
from controller.commands.faults import scenario_named
from controller.commands.stand_in import rig_spec
from controller.errors import InputError, WorldError
from controller.files import Rewritten
from controller.kit.load import load_kit
from controller.places import cause_of
from controller.ports.address import Host
from controller.ports.trouble import cannot_serve
from controller.reading import TRUTH, read_text
from controller.report.own_pages import is_own_truth
from controller.shown import shown
from sim.rig import Rig
from sim.serve import FarEnd, RealTime
from sim.socket_line import SocketLine
from sim.system import HAS_TERMINALS
from sim.terminal import NameTaken, Terminal
from sim.truth import Truth


@dataclass(frozen=True, slots=True)
class ServingPlace:
    """Where to serve: a pseudo-terminal, with or without a second name for its path, or TCP at host and port."""

    name: Path | None = None
    tcp: Host | None = None


@dataclass(frozen=True, slots=True)
class Served:
    """What is reported once the port is open."""

    port: str
    kit: str
    truth: str | None
    exposures_before: int


def simulate_command(
    kit_path: Path,
    place: ServingPlace,
    truth_path: Path | None,
    *,
    seed: int,
    speed: float,
    tell: Callable[[Served], None],
    faults: str | None = None,
) -> int:
    """Serve the rig until interrupted; return how many exposures its truth then holds.

    An existing truth file is continued: the same head, with its board switched on again. Raises InputError, WorldError,
    StorageFailed.
    """
    kit = load_kit(kit_path)
    rig = Rig(replace(rig_spec(kit, seed), scenario=scenario_named(faults), boots=SystemRandom()))
    if truth_path is not None and os.path.exists(truth_path):
        rig.truth = _earlier(truth_path)
    written = before = len(rig.truth.exposures)
    kept = None if truth_path is None else Rewritten(truth_path, is_own_truth, durably=False)
    if kept is not None:
        kept.write(rig.truth.to_json())

    def over() -> bool:
        nonlocal written
        if kept is not None and len(rig.truth.exposures) != written:
            written = len(rig.truth.exposures)
            kept.write(rig.truth.to_json())
        return interrupts.next_request() is not None

    with _opened(place) as line, Interrupts() as interrupts:
        served = RealTime(rig, line, speed)
        named = str(place.name) if place.name is not None else line.path
        tell(Served(named, str(kit_path), None if truth_path is None else str(truth_path), before))
        served.serve(over)
    return len(rig.truth.exposures)


def simulation_text(served: Served) -> str:
    """The sentences for people once the port is open."""
    text = f"The simulated rig of {served.kit} is at {served.port}; Ctrl-C ends it."
    if served.exposures_before:
        text += f" {served.truth} is continued after {served.exposures_before} exposures."
    return text


def _earlier(path: Path) -> Truth:
    try:
        return Truth.from_json(read_text(path, TRUTH))
    except (ValueError, KeyError, TypeError, RecursionError):
        raise InputError(f"{shown(path)}: exists and is not a truth file. Choose another name.") from None


def _opened(place: ServingPlace) -> FarEnd:
    if place.tcp is not None:
        try:
            return SocketLine(place.tcp.name, place.tcp.port)
        except (OSError, UnicodeError) as error:
            raise WorldError(f"{place.tcp} cannot be served: {cannot_serve(error, place.tcp.port)}.") from None
    if not HAS_TERMINALS:
        raise InputError("This system has no pseudo-terminals; serve the rig with --tcp instead.")
    try:
        return Terminal(place.name)
    except NameTaken as error:
        why = f": {cause_of(error.__cause__)}" if isinstance(error.__cause__, OSError) else ""
        raise InputError(f"{shown(place.name or '')} {error}{why}. Choose another name.") from None
