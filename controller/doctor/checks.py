"""All checks of `fullturn doctor`, in their order."""

from controller.doctor import computer_checks as computer
from controller.doctor import port_checks as port
from controller.doctor import program_checks as program
from controller.doctor.findings import CheckedComputer, ComputerCheck
from controller.doctor.readings import ComputerReadings

CHECKS = (
    ComputerCheck("python", "Python", program.check_python),
    ComputerCheck("names", "The program's folders", program.check_names),
    ComputerCheck("packages", "Packages", program.check_packages),
    ComputerCheck("extras", "Optional parts", program.check_extras),
    ComputerCheck("ports", "Ports", port.check_ports),
    ComputerCheck("services", "Programs that take ports", port.check_services),
    ComputerCheck("folder", "Folder for sessions", computer.check_folder),
    ComputerCheck("file_system", "Kind of disk", computer.check_file_system),
    ComputerCheck("temporary", "Temporary files", computer.check_temporary),
    ComputerCheck("locks", "Locks", computer.check_locks),
    ComputerCheck("clock", "Clock", computer.check_clock),
    ComputerCheck("terminal", "Terminal", computer.check_terminal),
    ComputerCheck("memory", "Memory", computer.check_memory),
    ComputerCheck("power", "Sleep and battery", computer.check_power),
    ComputerCheck("user", "User", computer.check_user),
)


def checked(readings: ComputerReadings) -> CheckedComputer:
    """What all checks find in these readings."""
    return CheckedComputer([(check, finding) for check in CHECKS for finding in check.judge(readings)])
