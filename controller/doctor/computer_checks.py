"""Checks of the computer: disk, locks, clock, terminal, memory, power."""

from collections.abc import Iterator

from controller.doctor.findings import ComputerFinding, in_order, look, wrong
from controller.doctor.readings import ComputerReadings, FolderReading
from controller.sizes import size_text
from controller.system.clock_trust import ClockTrust, trust_in

LEAST_FREE_BYTES, EASY_FREE_BYTES = 20_000_000, 200_000_000  # a session takes about 1 MB, its report about 1 MB
SLOW_MS = 200.0  # each exposure waits for the disk twice
TIME_OFF_S = 0.01
FAT = frozenset({"vfat", "msdos", "exfat"})
NETWORK = frozenset({"nfs", "nfs4", "cifs", "smb3", "smbfs", "fuse.sshfs", "9p"})
LEAST_MEMORY_BYTES, EASY_MEMORY_BYTES = 80_000_000, 250_000_000
NARROW = 80  # columns
EMPTY_PERCENT = 30


def check_folder(readings: ComputerReadings) -> Iterator[ComputerFinding]:
    """Whether sessions can be kept in the folder."""
    folder = readings.folder
    if folder.trouble is not None:
        yield wrong(f"In {folder.name} nothing can be written: {folder.trouble}.", "Name a folder that you may write to")
        return
    yield _free(folder)
    if folder.durable_ms > SLOW_MS:
        yield look(
            f"A small file took {folder.durable_ms:.0f} ms to reach the disk. Each exposure waits that long.",
            "Use a faster disk or card, or let other programs finish their writing",
        )
    else:
        yield in_order(f"A small file reached the disk in {folder.durable_ms:.0f} ms.")
    if folder.time_off_s > TIME_OFF_S:
        yield look(
            f"This disk keeps the times of files only to {folder.time_off_s:.2g} s.",
            "Copy cards to another disk if other programs need the times of files",
        )


def _free(folder: FolderReading) -> ComputerFinding:
    if folder.free_bytes is None:
        return in_order(f"{folder.name} can be written to; how much is free is not known.")
    free = size_text(folder.free_bytes)
    if folder.free_bytes < LEAST_FREE_BYTES:
        return wrong(f"Only {free} are free in {folder.name}.", "Free some space, or name another folder")
    if folder.free_bytes < EASY_FREE_BYTES:
        return look(f"{free} are free in {folder.name}: enough for sessions, not for pictures.", "Free some space")
    return in_order(f"{free} are free in {folder.name}, and files can be written there.")


def check_file_system(readings: ComputerReadings) -> Iterator[ComputerFinding]:
    """Whether the disk is of a kind that keeps sessions well."""
    kind, name = readings.folder.file_system, readings.folder.name
    if not kind:
        yield in_order(f"The kind of the disk of {name} is not known.")
    elif kind in NETWORK:
        yield look(
            f"{name} is on a network ({kind}), where a session cannot be watched while it is written.",
            "Keep sessions on a disk of this computer, and copy them afterwards",
        )
    elif kind in FAT:
        yield look(
            f"The disk of {name} ({kind}) keeps no links and no owners, and may lose files in a power cut.",
            "Keep sessions on a disk of this computer; sort cards with --copy",
        )
    else:
        yield in_order(f"The disk of {name} ({kind}) is fit for sessions.")


def check_temporary(readings: ComputerReadings) -> Iterator[ComputerFinding]:
    """Whether the folder for temporary files can be used."""
    folder = readings.temporary
    if folder.trouble is not None:
        yield wrong(
            f"Nothing can be written to the folder for temporary files, {folder.name}: {folder.trouble}.",
            "Set TMPDIR to a folder that you may write to",
        )
    elif folder.free_bytes is not None and folder.free_bytes < LEAST_FREE_BYTES:
        yield look(f"Only {size_text(folder.free_bytes)} are free in {folder.name}.", "Remove old files there")
    else:
        yield in_order(f"Temporary files can be written to {folder.name}.")


def check_locks(readings: ComputerReadings) -> Iterator[ComputerFinding]:
    """Whether two programs can be kept from using one session or port."""
    if readings.lock_trouble is None:
        yield in_order("Sessions and ports can be locked against a second program.")
    else:
        yield wrong(f"Locks do not work here: {readings.lock_trouble}", "Name a folder on a disk of this computer")


def check_clock(readings: ComputerReadings) -> Iterator[ComputerFinding]:
    """Whether the time of day can be true, and stays so."""
    clock = readings.clock
    told = f"{clock.now:%Y-%m-%d %H:%M}"
    match trust_in(clock.signs, clock.now):
        case ClockTrust.WRONG:
            yield wrong(
                f"The clock says {told} UTC, which is before this version of Fullturn was made.",
                "Set the clock: connect to a network, or type: sudo date -s 'YEAR-MONTH-DAY HOUR:MINUTE'",
            )
        case ClockTrust.UNSURE:
            yield look(
                f"The clock says {told} UTC, and nothing has set it since the start.",
                "Compare it with your phone; a wrong clock makes the times of a session and the sun's place wrong",
            )
        case ClockTrust.KEPT:
            yield in_order(f"The clock says {told} UTC; no time server has set it, as far as is known.")
        case ClockTrust.SYNCHRONISED:
            yield in_order(f"The clock says {told} UTC, set by a time server.")
    if clock.signs.battery is False:
        yield look(
            "This computer has no clock that goes on while it is off.",
            "Connect it to a network after each start, or compare its time with your phone",
        )


def check_terminal(readings: ComputerReadings) -> Iterator[ComputerFinding]:
    """Whether what the program prints can be read."""
    terminal = readings.terminal
    if "utf" not in terminal.encoding.lower():
        yield look(
            f"The terminal's letters are {terminal.encoding or 'not known'}, so some signs are printed as codes.",
            "Set the environment variable PYTHONUTF8=1, or choose a language setting with UTF-8",
        )
    if "utf" not in terminal.file_names.lower():
        yield look(
            f"Names of files are in {terminal.file_names}, so some names cannot be used.",
            "Choose a language setting with UTF-8, like C.UTF-8",
        )
    if 0 < terminal.columns < NARROW:
        yield look(
            f"The terminal is {terminal.columns} columns wide, so the screen of a run is cut short.",
            f"Make the window at least {NARROW} columns wide",
        )
    elif terminal.columns == 0:
        yield in_order("The program does not print to a terminal now.")
    else:
        yield in_order(f"The terminal is {terminal.columns} columns wide.")


def check_memory(readings: ComputerReadings) -> Iterator[ComputerFinding]:
    """Whether there is room for planning and for a run."""
    free = readings.memory_bytes
    if free is None:
        yield in_order("How much memory is free is not known.")
    elif free < LEAST_MEMORY_BYTES:
        yield wrong(f"Only {size_text(free)} of memory are free, too little for a run.", "End other programs")
    elif free < EASY_MEMORY_BYTES:
        yield look(
            f"{size_text(free)} of memory are free: enough for a run, not for planning or inspecting.",
            "End other programs, or plan on another computer and copy the plan",
        )
    else:
        yield in_order(f"{size_text(free)} of memory are free.")


def check_power(readings: ComputerReadings) -> Iterator[ComputerFinding]:
    """Whether the computer may fall asleep or run out in the middle of a run."""
    power = readings.power
    start = f"start a run with: {power.awake_line} fullturn capture PLAN.json" if power.awake_line else ""
    if power.percent is not None and power.percent < EMPTY_PERCENT:
        yield look(f"The computer's battery is at {power.percent} %.", "Charge it, or connect a supply, before a run")
    if power.has_lid or power.has_battery:
        yield look(
            "This computer may go to sleep when its lid is closed or nobody types, which suspends a run.",
            " or ".join(filter(None, ("Turn its sleep off in the settings", start))),
        )
    elif power.has_lid is None and power.has_battery is None:
        yield look(
            "Whether this computer goes to sleep by itself is not known.",
            " or ".join(filter(None, ("Turn its sleep off in the settings", start))),
        )
    else:
        yield in_order("This computer has no lid and no battery, so it hardly goes to sleep by itself.")


def check_user(readings: ComputerReadings) -> Iterator[ComputerFinding]:
    """Whether the files will belong to the person who works with them."""
    if readings.as_root:
        yield look(
            "You are the administrator (root): files that you write now belong to root.",
            "Work as an ordinary user, and give that user the port",
        )
    else:
        yield in_order("You are an ordinary user.")
