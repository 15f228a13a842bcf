"""Writes `locks/`: the exact version of every package, with the hashes of its files: `python -m tests.repo.locks`.

`core.txt` is what the program needs, and the file of an extra what it needs besides. They hold for every system and for
every Python from 3.11, in lines that pip takes with `--require-hashes`. All come from one search, so that they agree
with each other. uv (the extra `release`) looks for the newest versions that go together. `build.txt` is what
builds the program itself.
"""

import re
import subprocess
import sys
import tomllib
from pathlib import Path
from tempfile import TemporaryDirectory

ROOT = Path(__file__).resolve().parents[2]
LOCKS = ROOT / "locks"
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
EXTRAS = tuple(PROJECT["project"]["optional-dependencies"])
BLOCK = re.compile(r"^\S.*(?:\n[ ].*)*\n", re.MULTILINE)
HEADER = "# Written by `python -m tests.repo.locks`.\n"
OPTIONS = (
    "--quiet", "--universal", "--python-version", "3.11", "--generate-hashes", "--no-header", "--no-annotate",
    "--no-emit-index-url", "--no-emit-find-links",
)  # fmt: skip


def compiled(source: str, *options: str) -> list[str]:
    """The packages that `source` (a file of requirements) needs, each with its version and hashes."""
    command = [sys.executable, "-m", "uv", "pip", "compile", source, *OPTIONS, *options]
    return BLOCK.findall(subprocess.run(command, cwd=ROOT, check=True, stdout=subprocess.PIPE, text=True).stdout)


def renewed() -> dict[str, str]:
    """The files of the folder: their names and texts."""
    with TemporaryDirectory() as folder:
        build, everything = Path(folder) / "build.in", Path(folder) / "everything.txt"
        build.write_text("\n".join(PROJECT["build-system"]["requires"]), encoding="utf-8")
        everything.write_text("".join(compiled("pyproject.toml", "--all-extras")), encoding="utf-8")
        agreeing = ("--constraint", str(everything))
        core = compiled("pyproject.toml", *agreeing)
        parts = {"build": compiled(str(build)), "core": core}
        for extra in EXTRAS:
            found = compiled("pyproject.toml", "--extra", extra, *agreeing)
            parts[extra] = [package for package in found if package not in core]
    return {f"{name}.txt": HEADER + "".join(packages) for name, packages in parts.items()}


def main() -> None:
    """Write the folder."""
    LOCKS.mkdir(exist_ok=True)
    for file in LOCKS.glob("*.txt"):
        file.unlink()
    for name, text in renewed().items():
        (LOCKS / name).write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
