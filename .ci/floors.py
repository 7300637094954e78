"""Print the lowest version of each library that pyproject.toml names, as constraints for pip."""

import re
import sys
import tomllib
from pathlib import Path

project = tomllib.loads((Path(__file__).parents[1] / "pyproject.toml").read_text(encoding="utf-8"))["project"]
extras = project["optional-dependencies"]
floors = {}
for wanted in [*project["dependencies"], *extras["cluster"], *extras["test"]]:
    named = re.match(r"([A-Za-z0-9_.-]+)>=([0-9.]+)", wanted)
    if named:
        floors[named[1]] = named[2]
sys.stdout.writelines(f"{name}=={lowest}\n" for name, lowest in sorted(floors.items()))
