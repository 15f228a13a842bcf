"""Checks of what is installed: Python, the program's own folders, its packages and optional parts."""

from collections.abc import Iterator

from controller.doctor.findings import ComputerFinding, in_order, look, wrong
from controller.doctor.readings import ComputerReadings

OLDEST_PYTHON = (3, 11)
OLDEST_SQLITE = (3, 37)  # the first with STRICT tables (sqlite.org, "STRICT Tables")


def check_python(readings: ComputerReadings) -> Iterator[ComputerFinding]:
    """Python and its SQLite."""
    python = readings.python
    number, sqlite = _dotted(python.version), _dotted(python.sqlite)
    if python.version < OLDEST_PYTHON:
        yield wrong(f"This is Python {number}, which is too old.", "Install Python 3.11 or newer, then Fullturn again")
    elif not python.finished:
        yield look(f"This is a trial version of Python {number}.", "Use a finished version of Python for a run")
    else:
        yield in_order(f"This is Python {number}.")
    if python.sqlite < OLDEST_SQLITE:
        yield wrong(
            f"SQLite {sqlite} cannot keep sessions: it is older than 3.37.",
            "Use a Python that brings a newer SQLite, as those of Debian 12 and later do",
        )
    else:
        yield in_order(f"Sessions are kept by SQLite {sqlite}.")


def _dotted(version: tuple[int, ...]) -> str:
    return ".".join(map(str, version))


def check_names(readings: ComputerReadings) -> Iterator[ComputerFinding]:
    """The three folders that the program puts beside the packages of others."""
    names = readings.names
    clear = True
    for name, others in names.others.items():
        for other in others:
            clear = False
            yield wrong(
                f"The package {other} also brings a folder named {name}.",
                "Install Fullturn into an environment of its own",
            )
    for name, folder in names.imported_from.items():
        if folder != names.ours:
            clear = False
            yield wrong(
                f"The folder {name} is taken from {folder or 'nowhere'}, not from this program.",
                "Start Fullturn in another folder, without PYTHONPATH, or install it into an environment of its own",
            )
    if clear:
        yield in_order(f"The program's folders {', '.join(names.imported_from)} are its own.")


def check_packages(readings: ComputerReadings) -> Iterator[ComputerFinding]:
    """The packages that the program cannot do without, and those of the optional parts that are there."""
    wanted = [one for one in readings.packages if not one.extra]
    missing = {one.name for one in readings.extras if one.missing}
    bad = [one for one in readings.packages if not one.fits and one.extra not in missing]
    for one in bad:
        version = "not installed" if one.version is None else f"of version {one.version}"
        yield wrong(f"{one.name} is {version}; {one.wanted or 'any'} is wanted.", "Install Fullturn again")
    if not wanted:
        yield look(
            "Nothing says which packages are wanted: the program runs without having been installed.",
            "If something is missing, install it as the README says",
        )
    elif not bad:
        yield in_order(f"All {len(wanted)} packages of the core are in the versions that are wanted.")


def check_extras(readings: ComputerReadings) -> Iterator[ComputerFinding]:
    """The optional parts."""
    for extra in readings.extras:
        if extra.missing:
            yield look(f"{extra.name} is not installed; it is for {extra.purpose}.", f"If you need it: {extra.line}")
        else:
            yield in_order(f"{extra.name} is installed, for {extra.purpose}.")
