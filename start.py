"""Set up and run, with nothing but Python 3.11 or newer and pip.

    python3 start.py demo     plan and rehearse the demo; prints where the report is
    python3 start.py page     open the page of a demo folder, with a simulated rig to try it on
    python3 start.py guide    build the guide as a site, and open it; it needs no network
    python3 start.py tests    run all tests

All create an environment of their own in .venv beside this file, and install what they need into it.
"""

import hashlib
import os
import shutil
import signal
import subprocess
import sys
import venv
import webbrowser
from pathlib import Path

HERE = Path(__file__).resolve().parent
ENVIRONMENT = HERE / ".venv"
PYTHON = ENVIRONMENT / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
PLAN, OUT = HERE / "demo-plan.json", HERE / "demo-out"
FOLDER, RIG = HERE / "demo-page", "127.0.0.1:8361"
SITE = HERE / "site"


def prepare(extra: str) -> None:
    """Create the environment and install the program with its optional `extra`, unless that was already done."""
    wanted = hashlib.sha256((extra + (HERE / "pyproject.toml").read_text(encoding="utf-8")).encode()).hexdigest()
    done = ENVIRONMENT / f"ready{extra.strip('[]')}"
    if PYTHON.exists() and done.exists() and done.read_text(encoding="utf-8") == wanted:
        return
    print("Setting up (once): an environment in .venv, and the packages it needs ...", flush=True)
    if not PYTHON.exists():
        # Without its own pip, because some systems ship Python without the part that would add it.
        venv.create(ENVIRONMENT, with_pip=False)
    pip = [sys.executable, "-m", "pip", "--disable-pip-version-check", "--python", str(PYTHON)]
    run([*pip, "install", "--quiet", "--editable", f"{HERE}{extra}"])
    done.write_text(wanted, encoding="utf-8")


def run(command: list[str]) -> None:
    """Run a command in the project's folder; exit with its status if it fails."""
    status = subprocess.run(command, cwd=HERE, check=False).returncode
    if status:
        sys.exit(status)


def demo() -> None:
    """Plan and rehearse the demo kit."""
    prepare("")
    fullturn = [str(PYTHON), "-m", "controller"]
    run([*fullturn, "plan", "sim/demo/kit.toml", "--out", str(PLAN), "--replace"])
    run([*fullturn, "rehearse", str(PLAN), "--out", str(OUT), "--replace"])


def page() -> None:
    """Open the page of the demo folder, with a simulated rig behind it; both end with Ctrl-C."""
    prepare("[page]")
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(1))  # so that the rig and the page end as well
    fullturn = [str(PYTHON), "-m", "controller"]
    kit, plan = FOLDER / "kit.toml", FOLDER / "plan.json"
    FOLDER.mkdir(exist_ok=True)
    if not kit.exists():
        shutil.copyfile(HERE / "sim/demo/kit.toml", kit)
    if not plan.exists():
        run([*fullturn, "plan", str(kit), "--out", str(plan)])
    simulate = [*fullturn, "simulate", "--kit", str(kit), "--tcp", RIG]
    rig = subprocess.Popen(simulate, cwd=HERE, stdout=subprocess.PIPE, text=True)
    try:
        print(rig.stdout.readline() if rig.stdout else "", end="", flush=True)  # it is there, or has said why not
        if rig.poll():
            sys.exit(rig.returncode)
        run([*fullturn, "page", str(FOLDER), "--port", f"socket://{RIG}", "--open"])
    except KeyboardInterrupt:
        pass  # the terminal interrupts the page and the rig as well
    finally:
        rig.terminate()
        rig.wait()


def guide() -> None:
    """Build the guide as a site, and open it in the browser."""
    prepare("[guide]")
    shutil.rmtree(SITE, ignore_errors=True)  # an earlier one
    run([str(PYTHON), "-m", "controller.guide.site", str(SITE)])
    first = SITE / "index.html"
    print(f"The guide is in {first}")
    webbrowser.open(first.as_uri())


def tests() -> None:
    """Run all tests, with one process more than processors, since some tests wait for a rig in real time."""
    prepare("[test]")
    workers = (os.cpu_count() or 1) + 1
    run([str(PYTHON), "-m", "pytest", "-q", "-n", str(workers), "--dist", "worksteal"])


def main() -> None:
    """Do what the first argument says."""
    tasks = {"demo": demo, "page": page, "guide": guide, "tests": tests}
    if len(sys.argv) != 2 or sys.argv[1] not in tasks:
        sys.exit(f"{__doc__}")
    if sys.version_info < (3, 11):  # noqa: UP036  a user may try it with an older Python
        sys.exit("Fullturn needs Python 3.11 or newer; this is " + sys.version.split()[0] + ".")
    tasks[sys.argv[1]]()


if __name__ == "__main__":
    main()
