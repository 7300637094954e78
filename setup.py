"""The parts of the build that pyproject.toml cannot say: the shelf of homes, kits and tariffs goes into the wheel."""

from pathlib import Path
from shutil import copytree

from setuptools import setup
from setuptools.command.build_py import build_py

#: What of scenarios/ the shelf of an installed package holds.
SHELF = ("homes", "kits", "tariffs")


class WithShelf(build_py):
    """Puts the shelf beside the modules, as riskcalc/shelf; a clone reads it where it lies."""

    def run(self) -> None:
        """Copy modules and package data, then the shelf."""
        super().run()
        if not self.editable_mode:
            for name in SHELF:
                copytree(Path("scenarios", name), Path(self.build_lib, "riskcalc", "shelf", name), dirs_exist_ok=True)


setup(cmdclass={"build_py": WithShelf})
