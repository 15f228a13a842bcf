"""The implementations for the system that this program runs on. Nowhere else is it asked which system that is."""

import os
import sys

from controller.system.disk import Disk, PosixDisk, WindowsDisk
from controller.system.file_locks import FileLocks, PosixLocks, WindowsLocks
from controller.system.keyboard import Keyboard, PosixKeyboard, WindowsKeyboard
from controller.system.pipe_ends import PipeCalls, PosixPipes, WindowsPipes
from controller.system.port_names import MacPorts, PosixPorts, SerialNames, WindowsPorts
from controller.system.processes import PosixProcesses, Processes, WindowsProcesses
from controller.system.signals import PosixSignals, SignalNumbers, WindowsSignals
from controller.system.terminals import PosixTerminals, Terminals, WindowsTerminals

ABSTRACT_NAMES = sys.platform == "linux"
"""Whether the kernel has names for sockets that belong to no file (unix(7) of the Linux manual)."""
WINDOWS = sys.platform == "win32"

keyboard: Keyboard
locks: FileLocks
disk: Disk
pipes: PipeCalls
processes: Processes
signals: SignalNumbers
terminals: Terminals
serial_names: SerialNames
if sys.platform == "win32":
    import msvcrt

    from controller.system.kernel32 import bytes_waiting, is_console

    keyboard = WindowsKeyboard(msvcrt)
    locks = WindowsLocks(msvcrt)
    disk = WindowsDisk(os)
    pipes = WindowsPipes(bytes_waiting)
    processes = WindowsProcesses()
    signals = WindowsSignals()
    terminals = WindowsTerminals(is_console)
    serial_names = WindowsPorts()
else:
    keyboard = PosixKeyboard()
    locks = PosixLocks()
    disk = PosixDisk()
    pipes = PosixPipes()
    processes = PosixProcesses()
    signals = PosixSignals()
    terminals = PosixTerminals()
    serial_names = MacPorts() if sys.platform == "darwin" else PosixPorts()
