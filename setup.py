"""Puts the guide's pages, and its site if that was built, into the wheel as data of `controller.guide`.

Everything else about the package is in pyproject.toml. An editable installation reads the pages where they are.
"""

import shutil
import sys
from pathlib import Path

from setuptools import setup
from setuptools.command.build_py import build_py

ROOT = Path(__file__).resolve().parent
sys.path.insert(0, str(ROOT))
from controller.guide.pages import SHIPPED  # noqa: E402


class WithGuide(build_py):
    """Copy Python files and data, then the guide."""

    def run(self) -> None:
        """Do it; raises OSError."""
        super().run()
        if self.editable_mode:
            return
        home = Path(self.build_lib) / "controller" / "guide" / "home"
        shutil.rmtree(home, ignore_errors=True)  # of an earlier build
        for name in (*SHIPPED, "site"):
            source, target = ROOT / name, home / name
            if source.is_dir():
                shutil.copytree(source, target, ignore=shutil.ignore_patterns("__pycache__", ".buildinfo"))
            elif name != "site":
                target.parent.mkdir(parents=True, exist_ok=True)
                shutil.copyfile(source, target)


setup(cmdclass={"build_py": WithGuide})
