"""What is read of a computer: an invented /proc and /sys, and this computer as it is."""

from __future__ import annotations

import os
import sys
import tempfile
from importlib import metadata
from pathlib import Path
from unittest import mock

import pytest

from controller.doctor import installation, this_computer
from controller.doctor.linux_system import LinuxSystem
from controller.doctor.this_computer import port_reading, read_computer
from controller.errors import StorageFailed
from controller.extras import EXTRAS, ROOT
from controller.files import TRIAL_TIME_NS, try_folder
from controller.lock import Taken
from controller.system.clock_trust import ClockSigns

ON_LINUX = pytest.mark.skipif(sys.platform != "linux", reason="reads what only Linux has")


class InventedRoot:
    """A folder with files of an invented system."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.system = folder, LinuxSystem(folder)

    def put(self, name: str, text: str = "") -> None:
        path = self.folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")

    def runs(self, number: int, name: str, *opened: str) -> None:
        self.put(f"proc/{number}/comm", f"{name}\n")
        (self.folder / f"proc/{number}/fd").mkdir()
        for count, target in enumerate(opened):
            (self.folder / f"proc/{number}/fd/{count}").symlink_to(target)


@pytest.fixture
def invented(tmp_path: Path) -> InventedRoot:
    return InventedRoot(tmp_path / "root")


def test_of_a_system_that_tells_nothing_nothing_is_known(invented: InventedRoot) -> None:
    system = invented.system
    assert list(system.processes()) == []
    assert (system.holder_of("/dev/ttyUSB0"), system.memory_bytes()) == (None, None)
    assert system.file_system_of(Path("/")) == ""
    assert (system.has_lid(), system.battery_percents()) == (False, [])


def test_programs_are_found_by_name_and_by_what_they_have_open(invented: InventedRoot) -> None:
    invented.runs(7, "ModemManager", "/dev/null")
    invented.runs(31, "a\x1bterminal", "/dev/null", "/dev/ttyUSB0")
    invented.put("proc/self/comm", "not a number\n")
    assert dict(invented.system.processes()) == {7: "ModemManager", 31: "a\\x1bterminal"}
    assert invented.system.holder_of("/dev/ttyUSB0") == "process 31 (a\\x1bterminal)"
    assert invented.system.holder_of("/dev/ttyUSB1") is None


def test_a_folder_is_on_the_disk_that_is_mounted_nearest_above_it(invented: InventedRoot) -> None:
    lines = ("/dev/a / ext4 rw 0 0", r"/dev/b /media/my\040card vfat rw 0 0", "nas:/x /media nfs4 rw 0 0", "short")
    invented.put("proc/self/mounts", "\n".join(lines))
    kinds = {
        "/media/my card/DCIM": "vfat",
        "/media/my card": "vfat",
        "/media/other": "nfs4",
        "/home": "ext4",
        "/": "ext4",
    }
    assert {folder: invented.system.file_system_of(Path(folder)) for folder in kinds} == kinds
    assert invented.system.file_system_of(Path("/mediathek")) == "ext4"


@pytest.mark.parametrize(("text", "expected"), [
    ("MemTotal: 9 kB\nMemAvailable:    1234 kB\n", 1234 * 1024), ("MemTotal: 9 kB", None), ("MemAvailable: much", None),
    ("MemAvailable:", None),
])  # fmt: skip
def test_memory_is_what_programs_may_still_take(invented: InventedRoot, text: str, expected: int | None) -> None:
    invented.put("proc/meminfo", text)
    assert invented.system.memory_bytes() == expected


def test_batteries_of_the_computer_count_and_those_of_mice_do_not(invented: InventedRoot) -> None:
    for name, kind, scope, percent in (
        ("AC", "Mains", "", ""), ("BAT0", "Battery", "System", "55"), ("BAT1", "Battery", "", "8"),
        ("mouse", "Battery", "Device", "3"), ("BAT2", "Battery", "", "unknown"),
    ):  # fmt: skip
        for key, text in (("type", kind), ("scope", scope), ("capacity", percent)):
            invented.put(f"sys/class/power_supply/{name}/{key}", text)
    invented.put("proc/acpi/button/lid/LID0/state", "state: open")
    system = invented.system
    assert (system.battery_percents(), system.has_lid()) == ([55, 8, 100], True)


@ON_LINUX
def test_this_computer_is_read_and_nothing_is_left_in_its_folder(tmp_path: Path) -> None:
    readings = read_computer(tmp_path, [])
    assert list(tmp_path.iterdir()) == []
    assert readings.python.version == sys.version_info[:2]
    assert set(readings.names.imported_from.values()) == {readings.names.ours}
    assert {one.name for one in readings.extras} == set(EXTRAS)
    assert readings.folder.trouble is None
    assert readings.folder.free_bytes
    assert readings.folder.durable_ms > 0
    assert readings.folder.time_off_s < 0.1
    assert readings.lock_trouble is None
    assert readings.memory_bytes
    assert readings.as_root is (os.geteuid() == 0)
    assert readings.clock.signs == ClockSigns.here()


@ON_LINUX
def test_a_folder_that_cannot_be_written_says_why(tmp_path: Path) -> None:
    gone = tmp_path / "gone"
    readings = read_computer(gone, [])
    assert readings.folder.trouble == "its folder is gone"
    assert readings.folder.free_bytes is None


@ON_LINUX
def test_a_port_is_looked_at_without_being_opened(tmp_path: Path) -> None:
    number = os.open(tmp_path, os.O_RDONLY)
    try:
        here = port_reading("it", str(tmp_path), asked=True)
    finally:
        os.close(number)
    assert (here.exists, here.may_open, here.asked) == (True, True, True)
    assert here.holder is not None
    assert f"process {os.getpid()} " in here.holder
    assert here.group is not None
    with mock.patch.object(os, "access", return_value=False):
        assert not port_reading("it", str(tmp_path), asked=False).may_open
    gone = port_reading("it", str(tmp_path / "gone"), asked=False)
    assert (gone.exists, gone.may_open, gone.group, gone.holder) == (False, False, None, None)
    assert port_reading("socket://here:1", "socket://here:1", asked=True).on_network


def test_a_trial_of_a_folder_tells_how_far_its_times_are_off(tmp_path: Path) -> None:
    trial = try_folder(tmp_path)
    assert trial.took_ns > 0
    assert trial.time_off_ns < 10**8
    real = os.utime
    with mock.patch.object(os, "utime", lambda path, ns: real(path, ns=(ns[0], ns[1] // 2_000_000_000 * 2_000_000_000))):
        assert try_folder(tmp_path).time_off_ns == 1_500_000_000 == TRIAL_TIME_NS % 2_000_000_000
    assert list(tmp_path.iterdir()) == []
    with pytest.raises(StorageFailed, match="its folder is gone"):
        try_folder(tmp_path / "gone")


def test_a_lock_that_fails_is_told_and_one_that_is_taken_works(tmp_path: Path) -> None:
    with mock.patch.object(this_computer, "sole_use", side_effect=StorageFailed("It cannot be locked.")):
        assert read_computer(tmp_path, []).lock_trouble == "It cannot be locked."
    with mock.patch.object(this_computer, "sole_use", side_effect=Taken("in use")):
        assert read_computer(tmp_path, []).lock_trouble is None


def test_the_packages_that_are_wanted_are_those_of_the_project() -> None:
    texts = ["click>=8", "late>=1; python_version < '3.0'", "fullturn[report]; extra == 'page'",
             "matplotlib>=3.9; extra == 'report'", "no-such-thing>=2; extra == 'page'"]  # fmt: skip
    with mock.patch.object(metadata, "requires", return_value=texts):
        found = {(one.name, one.extra): one for one in installation.wanted_packages()}
    assert found.keys() == {("click", ""), ("matplotlib", "report"), ("no-such-thing", "page")}
    assert found["click", ""].fits
    assert found["click", ""].wanted == ">=8"
    assert found["no-such-thing", "page"].version is None
    with mock.patch.object(metadata, "requires", side_effect=metadata.PackageNotFoundError):
        assert installation.wanted_packages() == []


@pytest.mark.parametrize(("mark", "how"), [
    ("pipx_metadata.json", "pipx"), ("uv-receipt.toml", "uv tool"), ("pyvenv.cfg", "an environment"),
])  # fmt: skip
def test_where_it_is_installed_is_found_by_what_the_installer_leaves(mark: str, how: str, tmp_path: Path) -> None:
    assert installation.installed_from() == installation.InstalledFrom("a clone", installation.home_as_tilde(str(ROOT)))
    (tmp_path / mark).touch()
    with (
        mock.patch.object(installation, "ROOT", tmp_path / "site-packages"),
        mock.patch.object(sys, "prefix", str(tmp_path)),
        mock.patch.object(Path, "home", return_value=tmp_path.parent),
    ):
        assert installation.installed_from() == installation.InstalledFrom(how, f"~/{tmp_path.name}")
        with mock.patch.object(sys, "base_prefix", str(tmp_path)):
            system = how if how != "an environment" else "the system's Python"
            assert installation.installed_from().how == system


def test_the_home_folder_is_named_by_a_tilde_and_no_other_folder_is() -> None:
    with mock.patch.object(Path, "home", return_value=Path("/home/ann")):
        said = installation.home_as_tilde("python3 /home/ann/it /home/anna/it /home/ann-2 '/home/ann'")
    assert said == "python3 ~/it /home/anna/it /home/ann-2 '~'"
    with mock.patch.object(Path, "home", side_effect=RuntimeError):
        assert installation.home_as_tilde("/home/ann") == "/home/ann"
    with mock.patch.object(Path, "home", return_value=Path("/")):
        assert installation.home_as_tilde("/home/ann") == "/home/ann"


def test_another_package_with_a_folder_of_the_same_name_is_named() -> None:
    brought = {"controller": ["fullturn"], "sim": ["fullturn", "another-sim", "another-sim"]}
    with mock.patch.object(metadata, "packages_distributions", return_value=brought):
        assert installation.owners_of() == {
            "controller": ["fullturn"],
            "protocol": [],
            "sim": ["another-sim", "fullturn"],
        }
        with tempfile.TemporaryDirectory() as folder:
            others = read_computer(Path(folder), []).names.others
    assert others == {"controller": (), "protocol": (), "sim": ("another-sim",)}
