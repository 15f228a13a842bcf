"""Each check of `fullturn doctor`, over readings of any computer: what makes it look or wrong, and nothing else does."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.doctor import computer_checks as computer
from controller.doctor.checks import CHECKS, checked
from controller.doctor.findings import CheckState, ComputerFinding
from controller.doctor.installation import InstalledPackage
from controller.doctor.port_checks import GRABBERS
from controller.doctor.readings import (
    ClockReading,
    ComputerReadings,
    ExtraReading,
    FolderReading,
    NamesReading,
    PortReading,
    PowerReading,
    PythonReading,
    TerminalReading,
)
from controller.system.clock_trust import MADE, ClockSigns, trust_in

OK, LOOK, WRONG = CheckState.OK, CheckState.LOOK, CheckState.WRONG
NAMES = ("controller", "protocol", "sim")
FIT = ComputerReadings(
    python=PythonReading((3, 12), True, (3, 45, 1)),
    names=NamesReading(dict.fromkeys(NAMES, ()), dict.fromkeys(NAMES, "~/there"), "~/there"),
    packages=(InstalledPackage("click", "8.2", ">=8.1"),),
    extras=(ExtraReading("report", "the drawings", False, "add it"),),
    ports=(PortReading("/dev/ttyUSB0", exists=True, may_open=True),),
    services=(),
    folder=FolderReading("~/pictures", 10**10, None, 4.0, 0.0, "ext4"),
    temporary=FolderReading("/tmp", 10**10),
    lock_trouble=None,
    clock=ClockReading(MADE + timedelta(days=100), ClockSigns(True, True)),
    terminal=TerminalReading("utf-8", 100, "utf-8"),
    memory_bytes=10**9,
    power=PowerReading(False, False, None, "stay-awake"),
    as_root=False,
)
"""A computer that is fit for a run in every way."""


def found(readings: ComputerReadings, name: str) -> list[ComputerFinding]:
    """What one check finds."""
    return [finding for check, finding in checked(readings).found if check.name == name]


def worst(readings: ComputerReadings, name: str) -> CheckState:
    """The worst that one check finds."""
    states = {one.state for one in found(readings, name)}
    return WRONG if WRONG in states else LOOK if LOOK in states else OK


def changed(part: str, **values: Any) -> ComputerReadings:
    """The fit computer with other values in one of its readings."""
    return replace(FIT, **{part: replace(getattr(FIT, part), **values)})


def test_a_fit_computer_has_nothing_to_do() -> None:
    result = checked(FIT)
    assert result.worst is OK
    assert {check.name for check, _ in result.found} == {check.name for check in CHECKS}
    assert [one.do for _, one in result.found if one.do] == []


TROUBLES: list[tuple[str, CheckState, ComputerReadings, str]] = [
    ("python", WRONG, changed("python", version=(3, 10)), "too old"),
    ("python", LOOK, changed("python", finished=False), "trial version"),
    ("python", WRONG, changed("python", sqlite=(3, 36, 9)), "SQLite 3.36.9"),
    ("names", WRONG, changed("names", others={"sim": ("other-sim",)}), "other-sim also brings a folder named sim"),
    ("names", WRONG, changed("names", imported_from=dict(FIT.names.imported_from) | {"protocol": "/x"}), "taken from /x"),
    ("names", WRONG, changed("names", imported_from=dict(FIT.names.imported_from) | {"protocol": ""}), "from nowhere"),
    ("packages", WRONG, replace(FIT, packages=(InstalledPackage("click", None, ">=8"),)), "click is not installed"),
    ("packages", WRONG, replace(FIT, packages=(InstalledPackage("click", "7.0", ">=8"),)), "version 7.0; >=8 is wanted"),
    ("packages", LOOK, replace(FIT, packages=()), "without having been installed"),
    ("extras", LOOK, replace(FIT, extras=(ExtraReading("page", "a page", True, "add page"),)), "page is not installed"),
    ("ports", LOOK, replace(FIT, ports=()), "No serial port"),
    ("ports", WRONG, replace(FIT, ports=(PortReading("COM9", exists=False, may_open=False),)), "no port COM9"),
    ("services", LOOK, replace(FIT, services=("ModemManager",)), "ModemManager is running"),
    ("folder", WRONG, changed("folder", trouble="the disk can only be read"), "the disk can only be read"),
    ("folder", WRONG, changed("folder", free_bytes=computer.LEAST_FREE_BYTES - 1), "are free in ~/pictures"),
    ("folder", LOOK, changed("folder", free_bytes=computer.EASY_FREE_BYTES - 1), "not for pictures"),
    ("folder", LOOK, changed("folder", durable_ms=computer.SLOW_MS + 1), "Each exposure waits"),
    ("folder", LOOK, changed("folder", time_off_s=1.5), "only to 1.5 s"),
    ("file_system", LOOK, changed("folder", file_system="vfat"), "no links and no owners"),
    ("file_system", LOOK, changed("folder", file_system="nfs4"), "on a network"),
    ("temporary", WRONG, changed("temporary", trouble="the disk is full"), "the disk is full"),
    ("temporary", LOOK, changed("temporary", free_bytes=5), "5 bytes are free"),
    ("locks", WRONG, replace(FIT, lock_trouble="It cannot be locked."), "It cannot be locked."),
    ("clock", WRONG, changed("clock", now=datetime(1970, 1, 1, tzinfo=UTC)), "1970-01-01"),
    ("clock", LOOK, changed("clock", signs=ClockSigns(False, False)), "nothing has set it"),
    ("clock", LOOK, changed("clock", signs=ClockSigns(True, False)), "while it is off"),
    ("terminal", LOOK, changed("terminal", encoding="cp1252"), "cp1252"),
    ("terminal", LOOK, changed("terminal", file_names="ascii"), "Names of files are in ascii"),
    ("terminal", LOOK, changed("terminal", columns=79), "79 columns"),
    ("memory", WRONG, replace(FIT, memory_bytes=computer.LEAST_MEMORY_BYTES - 1), "too little for a run"),
    ("memory", LOOK, replace(FIT, memory_bytes=computer.EASY_MEMORY_BYTES - 1), "not for planning"),
    ("power", LOOK, changed("power", has_lid=True), "go to sleep"),
    ("power", LOOK, changed("power", has_battery=True, percent=90), "go to sleep"),
    ("power", LOOK, changed("power", percent=29), "at 29 %"),
    ("power", LOOK, changed("power", has_lid=None, has_battery=None), "is not known"),
    ("user", LOOK, replace(FIT, as_root=True), "administrator"),
]


@pytest.mark.parametrize(("name", "state", "readings", "says"), TROUBLES, ids=[f"{one[0]}-{one[3]}" for one in TROUBLES])
def test_each_trouble_is_found_by_its_check_alone_with_what_to_do(
    name: str, state: CheckState, readings: ComputerReadings, says: str
) -> None:
    assert {check.name for check in CHECKS if worst(readings, check.name) is not OK} == {name}
    assert worst(readings, name) is state is checked(readings).worst
    bad = [one for one in found(readings, name) if one.state is not OK]
    assert any(says in one.sentence for one in bad)
    assert all(one.do and one.sentence.endswith((".", "%.")) for one in bad)


def test_every_check_can_find_something() -> None:
    assert {name for name, *_ in TROUBLES} == {check.name for check in CHECKS}


NOT_KNOWN: list[tuple[str, ComputerReadings]] = [
    ("memory", replace(FIT, memory_bytes=None)),
    ("clock", changed("clock", signs=ClockSigns(None, None))),
    ("folder", changed("folder", free_bytes=None)),
    ("file_system", changed("folder", file_system="")),
    ("terminal", changed("terminal", columns=0)),
]


@pytest.mark.parametrize(("name", "readings"), NOT_KNOWN, ids=[one[0] for one in NOT_KNOWN])
def test_what_is_not_known_is_no_trouble(name: str, readings: ComputerReadings) -> None:
    assert worst(readings, name) is OK
    assert checked(readings).worst is OK


@given(st.integers(0, 10**12), st.booleans())
def test_free_space_and_memory_are_judged_by_their_bounds(size_bytes: int, is_memory: bool) -> None:
    if is_memory:
        state, least, easy = (
            worst(replace(FIT, memory_bytes=size_bytes), "memory"),
            computer.LEAST_MEMORY_BYTES,
            computer.EASY_MEMORY_BYTES,
        )
    else:
        state = worst(changed("folder", free_bytes=size_bytes), "folder")
        least, easy = computer.LEAST_FREE_BYTES, computer.EASY_FREE_BYTES
    assert state is (WRONG if size_bytes < least else LOOK if size_bytes < easy else OK)


@given(
    st.datetimes(datetime(1970, 1, 1), datetime(2100, 1, 1)),
    st.builds(ClockSigns, st.sampled_from([True, False, None]), st.sampled_from([True, False, None])),
)
def test_a_clock_is_judged_as_the_program_trusts_it(now: datetime, signs: ClockSigns) -> None:
    moment = now.replace(tzinfo=UTC)
    states = [one.state for one in found(changed("clock", now=moment, signs=signs), "clock")]
    assert (states[0] is WRONG) is (moment < MADE)
    assert (states[0] is OK) is trust_in(signs, moment).is_sure
    assert (len(states) == 2) is (signs.battery is False)


@given(st.builds(
    PortReading, st.just("/dev/ttyUSB3"), exists=st.booleans(), may_open=st.booleans(), asked=st.booleans(),
    on_network=st.booleans(), group=st.sampled_from([None, "root", "dialout"]),
    holder=st.sampled_from([None, "process 9 (terminal)"]),
))  # fmt: skip
def test_a_port_is_in_order_only_if_it_is_there_free_and_yours(port: PortReading) -> None:
    (finding,) = found(replace(FIT, ports=(port,)), "ports")
    good = port.on_network or (port.exists and port.may_open and port.holder is None)
    assert (finding.state is OK) is good
    assert port.name in finding.sentence
    if finding.state is WRONG:
        assert not port.exists or (port.asked and not port.may_open)
    if port.exists and not port.may_open and not port.on_network:
        assert ("usermod -aG dialout" in finding.do) is (port.group == "dialout")


@given(st.sets(st.sampled_from([*GRABBERS, "bash", "systemd"])))
def test_only_programs_that_take_ports_are_named(running: set[str]) -> None:
    named = {name for name in running for one in found(replace(FIT, services=tuple(running)), "services")
             if one.state is LOOK and one.sentence.startswith(name)}  # fmt: skip
    assert named == running & set(GRABBERS)


@given(st.lists(st.tuples(st.booleans(), st.booleans()), min_size=1, max_size=5))
def test_a_package_of_an_optional_part_that_is_missing_is_no_fault(parts: list[tuple[bool, bool]]) -> None:
    extras = tuple(ExtraReading(f"part{n}", "it", missing, "add it") for n, (missing, _) in enumerate(parts))
    packages = tuple(
        InstalledPackage(f"library{n}", "2" if fits else "1", ">=2", f"part{n}") for n, (_, fits) in enumerate(parts)
    )
    readings = replace(FIT, extras=extras, packages=(*FIT.packages, *packages))
    named = {one.sentence.split()[0] for one in found(readings, "packages") if one.state is WRONG}
    assert named == {f"library{n}" for n, (missing, fits) in enumerate(parts) if not missing and not fits}
    assert worst(readings, "extras") is (LOOK if any(missing for missing, _ in parts) else OK)


@given(st.sampled_from(["8.1", "8.1.7", "8.2", "9.0rc1", "7.9", "8.2.dev1+local", "no version"]))
def test_a_version_fits_its_range(version: str) -> None:
    assert InstalledPackage("it", version, ">=8.1.7").fits is (version in {"8.1.7", "8.2", "9.0rc1", "8.2.dev1+local"})
    assert InstalledPackage("it", version, "").fits


def test_findings_as_json_have_a_name_a_state_and_what_to_do() -> None:
    value = checked(changed("clock", signs=ClockSigns(True, False))).as_json()
    assert value["worst"] == "look"
    (one,) = [each for each in value["findings"] if each["state"] != "ok"]
    assert (one["check"], one["do"] is None) == ("clock", False)
    assert all(each["do"] is None for each in value["findings"] if each["state"] == "ok")
