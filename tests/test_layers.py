"""Imports go one way, and each foreign library is met at its border only."""

import ast
import subprocess
import sys
from pathlib import Path

PACKAGE = Path(__file__).parents[1] / "riskcalc"

#: From the ground up. A package may import from rows above its own and from itself, never from its row or below.
LAYERS = (
    ("types",),
    ("__init__", "coupling", "errors", "interruption", "jit", "ordered"),
    ("dispatch", "clock", "language", "output", "table_file", "uncertainty"),
    ("tariff", "price_series"),
    ("demand", "weather"),
    ("scenario",),
    ("years",),
    ("money",),
    ("study",),
    ("answers",),
    ("pages",),
    ("live",),
    ("notebook",),
    ("api", "commands"),
    ("cli",),
    ("__main__",),
)

#: Where each foreign library may be met; a library that is not named here may not be imported at all.
BORDERS = {
    "numpy": ("",),
    "scipy": (
        "uncertainty",
        "demand.spikes",
        "answers",
        "study.foresight_linear",
        "weather",
    ),
    "dask": ("answers.dask_border",),
    "distributed": ("answers.dask_border",),
    "pyarrow": ("answers.dask_border",),
    "numba": ("dispatch.kernel", "jit"),
    "llvmlite": ("jit",),
    "pvlib": ("weather",),
    "pandas": ("api", "notebook", "demand", "answers.trace", "weather"),
    "pydantic": ("scenario",),
    "pydantic_core": ("scenario",),
    "altair": ("notebook", "pages"),
    "vl_convert": ("pages",),
    "babel": ("language",),
    "jinja2": ("pages",),
    "markupsafe": ("pages",),
    "starlette": ("live.server",),
    "uvicorn": ("live.server",),
    "tomlkit": ("live.desk",),
    "typer": ("commands", "cli"),
    "rich": ("pages", "commands"),
}


def modules():
    """Yield (dotted name below riskcalc, syntax tree) of every module."""
    for path in sorted(PACKAGE.rglob("*.py")):
        parts = path.relative_to(PACKAGE).with_suffix("").parts
        name = ".".join(parts[:-1] if parts[-1] == "__init__" and len(parts) > 1 else parts)
        yield name, ast.parse(path.read_text(encoding="utf-8"))


def imported(tree):
    """Yield the dotted name of everything a module imports, inside functions too."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "relative import"
            yield node.module
            if node.module == "riskcalc":
                yield from (f"riskcalc.{alias.name}" for alias in node.names)


def rank(top):
    """Return the row of `LAYERS` that holds a top-level module or package."""
    rows = [index for index, row in enumerate(LAYERS) if top in row]
    assert rows, f"riskcalc/{top} has no place in tests/test_layers.py: decide where it belongs"
    return rows[0]


def test_imports_go_one_way():
    """No package imports from a layer below its own, nor from another package of its layer."""
    wrong = []
    for name, tree in modules():
        top = name.split(".")[0]
        if top == "__init__":
            continue  # hands on names of `api` when they are first asked for
        for target in imported(tree):
            if not target.startswith("riskcalc."):
                continue
            other = target.split(".")[1]
            if other == top or (not (PACKAGE / other).exists() and not (PACKAGE / f"{other}.py").exists()):
                continue
            if rank(other) >= rank(top):
                wrong.append(f"{name} imports {target}")
    assert not wrong, "\n".join(wrong)


def test_foreign_libraries_are_met_at_their_border():
    """Each foreign library is imported only where it is expected; an unexpected one is named."""
    wrong = []
    for name, tree in modules():
        for target in imported(tree):
            library = target.split(".")[0]
            if library in ("riskcalc", "__future__") or library in sys.stdlib_module_names:
                continue
            allowed = BORDERS.get(library, ())
            if not any(part == "" or f"{name}.".startswith(f"{part}.") for part in allowed):
                wrong.append(f"{name} imports {library}")
    assert not wrong, "\n".join(wrong)


def test_dispatch_knows_numpy_and_numba_only():
    """The kernels depend on nothing else; of riskcalc's other modules on couplings and what compiles them."""
    for name, tree in modules():
        if name.split(".")[0] == "dispatch":
            outside = {target for target in imported(tree) if target.startswith("riskcalc.")}
            allowed = tuple(f"riskcalc.{room}" for room in ("dispatch", "jit", "coupling", "types"))
            assert all(target.startswith(allowed) for target in outside), (name, outside)


def test_a_scenario_is_read_without_compilers():
    """Reading takes a moment: what takes seconds to load stays out until something is simulated."""
    program = """
import sys
from riskcalc.scenario import read_scenario
read_scenario("scenarios/terrace-rooftop.toml")
print([name for name in ("numba", "pandas", "pvlib") if name in sys.modules])
"""
    ran = subprocess.run(
        [sys.executable, "-c", program], cwd=PACKAGE.parent, capture_output=True, text=True, check=True
    )
    assert ran.stdout.strip() == "[]"
