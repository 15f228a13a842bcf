"""Set up and run, with nothing but Python 3.11 or newer and pip.

    python3 start.py demo           plan and rehearse the demo; prints where the report is
    python3 start.py page           open the page of a demo folder, with a simulated rig to try it on
    python3 start.py guide          build the guide as a site, and open it; it needs no network
    python3 start.py tests          run all tests
    python3 start.py add EXTRA ...  add optional parts: report, lenses, page, pictures, tether or all

All create an environment of their own in .venv beside this file, and install what they need into it. The packages are
those of the folder `locks`: exact versions, whose hashes pip checks.
"""

import hashlib
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import venv
import webbrowser
from importlib.util import find_spec
from pathlib import Path

HERE = Path(__file__).resolve().parent
LOCKS = HERE / "locks"
ENVIRONMENT = HERE / ".venv"
READY = ENVIRONMENT / "ready"
PYTHON = ENVIRONMENT / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
PLAN, OUT = HERE / "demo-plan.json", HERE / "demo-out"
FOLDER, RIG = HERE / "demo-page", "127.0.0.1:8361"
SITE = HERE / "site"


def prepare(extras: str = "") -> None:
    """Create the environment and install the program with `extras`, such as "[page,pictures]", unless that was done.

    What was added earlier stays, and is brought up to date with the rest.
    """
    names, known = set(extras.strip("[]").split(",")) - {""}, extras_known()
    if unknown := names - set(known):
        sys.exit(f"There is no extra {', '.join(sorted(unknown))}. There are: {', '.join(known)}.")
    parts = [HERE / "pyproject.toml", *sorted(LOCKS.glob("*.txt"))]
    digest = hashlib.sha256(b"".join(part.read_bytes() for part in parts)).hexdigest()
    was, *there = READY.read_text(encoding="utf-8").split() if READY.exists() else [""]
    if PYTHON.exists() and was == digest and names <= set(there):
        return
    if find_spec("pip") is None:
        sys.exit("This Python has no pip. On Debian install it with: apt install python3-pip")
    print("Setting up (once): an environment in .venv, and the packages it needs ...", flush=True)
    if not PYTHON.exists():
        # Without its own pip, because some systems ship Python without the part that would add it.
        venv.create(ENVIRONMENT, with_pip=False)
        there = []
    names |= set(there) & set(known)
    install(names)
    READY.write_text(" ".join([digest, *sorted(names)]), encoding="utf-8")


def extras_known() -> list[str]:
    """The extras that exist."""
    import tomllib  # noqa: PLC0415  an older Python, which is refused with a sentence, has none

    text = (HERE / "pyproject.toml").read_text(encoding="utf-8")
    return list(tomllib.loads(text)["project"]["optional-dependencies"])


def install(extras: set[str]) -> None:
    """Install the locked packages of the core and of `extras`, then the program itself, which stays in its folder."""
    pip = [sys.executable, "-m", "pip", "--disable-pip-version-check", "--python", str(PYTHON), "install", "--quiet"]
    wanted = [f"--requirement={LOCKS / f'{name}.txt'}" for name in ("core", *sorted(extras))]
    run([*pip, "--require-hashes", *wanted])
    with tempfile.TemporaryDirectory() as builder:  # its version is locked too, and it does not stay
        run([*pip, "--require-hashes", f"--requirement={LOCKS / 'build.txt'}", "--target", builder])
        run([*pip, "--no-deps", "--no-build-isolation", "--editable", str(HERE)], PYTHONPATH=builder)


def run(command: list[str], **variables: str) -> None:
    """Run a command in the project's folder, with more environment variables; exit with its status if it fails."""
    status = subprocess.run(command, cwd=HERE, check=False, env={**os.environ, **variables}).returncode
    if status:
        sys.exit(status)


def demo() -> None:
    """Plan and rehearse the demo kit."""
    prepare("[lenses,report]")  # the demo kit names its camera and lens
    fullturn = [str(PYTHON), "-m", "controller"]
    run([*fullturn, "plan", "sim/demo/kit.toml", "--out", str(PLAN), "--replace"])
    run([*fullturn, "rehearse", str(PLAN), "--out", str(OUT), "--replace"])


def page() -> None:
    """Open the page of the demo folder, with a simulated rig behind it; both end with Ctrl-C."""
    prepare("[lenses,page]")
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


def add(*extras: str) -> None:
    """Add optional parts of the program."""
    prepare(f"[{','.join(extras)}]")
    print(f"Installed: {', '.join(extras)}.")


def main() -> None:
    """Do what the first argument says."""
    tasks = {"demo": demo, "page": page, "guide": guide, "tests": tests}
    if sys.version_info < (3, 11):  # noqa: UP036  a user may try it with an older Python
        sys.exit("Fullturn needs Python 3.11 or newer; this is " + sys.version.split()[0] + ".")
    match sys.argv[1:]:
        case ["add", first, *others]:
            add(first, *others)
        case [task] if task in tasks:
            tasks[task]()
        case _:
            sys.exit(f"{__doc__}")


if __name__ == "__main__":
    main()
