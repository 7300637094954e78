"""Would a test notice? Change one place of the source at a time and run the fast tests of that room.

    python tests/studies/mutants.py                     a sample of each room
    python tests/studies/mutants.py money --each 100    a larger sample of one
    python tests/studies/mutants.py money --only money/bill.py:77
    python tests/studies/mutants.py dispatch money sun sensitivity demand --seed 27 --sample 120 --minutes 60

The last takes one sample over all rooms in proportion to their places, in random order, and tries it in two stages: the tests
named after each source, then, on what these let live, the figures kept of small runs. What is left goes through all tests of
its room with --only.

A mutant has one operator, comparison, condition, number or `min`/`max` changed. It is *killed* if a test fails or runs three
times longer than all of them should. The sources on the disk stay as they are: each mutant lives in a process of its own
that reads the changed module from memory. Annotations, texts, what is raised and default sizes of caches are left alone.
`EQUIVALENT` names the changes that no test could notice, each with its reason; they are left out of the count.
"""

from __future__ import annotations

import argparse
import ast
import copy
import importlib.abc
import importlib.util
import os
import random
import signal
import sys
import tempfile
import time
import traceback
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
SEED = 25


@dataclass(frozen=True)
class Room:
    """Sources below riskcalc/, and the tests that ought to notice, fastest first."""

    sources: tuple[str, ...]
    tests: tuple[str, ...]


ROOMS = {
    "dispatch": Room(
        (
            "dispatch/twin.py", "dispatch/plan.py", "dispatch/need.py", "dispatch/trace.py", "dispatch/outcome.py",
            "dispatch/kernel/books.py", "dispatch/kernel/kit_rows.py", "dispatch/kernel/lanes.py",
            "dispatch/kernel/loops.py", "dispatch/kernel/slot.py", "dispatch/kernel/year.py",
        ),
        ("tests/dispatch/test_twin.py", "tests/dispatch/test_kernel.py", "tests/dispatch/test_kit.py"),
    ),
    "money": Room(
        (
            "money/alternative.py", "money/bill.py", "money/flows.py", "money/measures.py", "money/price_history.py",
            "money/prices.py", "money/returns.py", "money/valuation.py", "tariff.py",
        ),
        ("tests/money",),
    ),
    "sun": Room(
        (
            "weather/solar.py", "weather/plane.py", "weather/split.py", "weather/array.py",
            "weather/within_hour.py",
        ),
        (
            "tests/weather/test_solar.py", "tests/weather/test_plane.py", "tests/weather/test_array.py",
            "tests/weather/test_weather_inclined.py", "tests/weather/test_weather_split.py",
            "tests/weather/test_within_hour.py", "tests/weather/test_orientation.py", "tests/weather/test_module.py",
        ),
    ),
    "sensitivity": Room(
        (
            "uncertainty/indices.py", "uncertainty/information.py", "uncertainty/odds.py", "uncertainty/order.py",
            "uncertainty/ranking.py", "uncertainty/smoothing.py", "uncertainty/factor_model.py",
        ),
        (
            "tests/uncertainty/test_indices.py", "tests/uncertainty/test_information.py", "tests/uncertainty/test_odds.py",
            "tests/uncertainty/test_order.py", "tests/uncertainty/test_ranking.py", "tests/uncertainty/test_smoothing.py",
        ),
    ),
    "claims": Room(
        ("answers/claims.py", "answers/rows.py", "answers/break_even.py"),
        ("tests/answers/test_rows.py", "tests/answers/test_claims.py", "tests/answers/test_break_even.py"),
    ),
    "demand": Room(
        (
            "demand/synthesis.py", "demand/habits.py", "demand/loads.py", "demand/events.py", "demand/runs.py",
            "demand/spikes.py", "demand/meter.py", "demand/gaps.py", "demand/pool.py",
        ),
        ("tests/demand",),
    ),
}  # fmt: skip

#: What any moved figure or guard fails, for the second stage.
WIDER = ["tests/test_guards.py", "tests/test_kept_figures.py"]
#: Of these what needs no machine code, so that a changed kernel need not be compiled to be noticed.
PLAIN = ["tests/test_guards.py", "tests/test_kept_figures.py::test_no_figure_moves_unseen[random days]"]
#: A guard whose call needs machine code, since it makes demand.
NOT_PLAIN = "tests/test_guards.py::test_a_guard_stands_where_it_should[steps of a slot]"
#: Read once, not once for every mutant.
LIBRARIES = (
    "hypothesis.strategies", "numba", "pandas", "pvlib", "pydantic", "pytest", "scipy.optimize", "scipy.stats",
)  # fmt: skip
#: Sources whose tests bear another name.
NAMED_OTHERWISE = {
    "synthesis": ("kernels",), "habits": ("rhythm",), "loads": ("appliances",), "runs": ("kernels", "minutes"),
    "spikes": ("spikes", "kernels"), "gaps": ("meter",), "plan": ("kernel", "kit"), "trace": ("twin",), "outcome": ("kernel",),
    "need": ("kernel",), "books": ("kernel",), "kit_rows": ("kernel",), "lanes": ("kernel",), "loops": ("kernel",),
    "slot": ("kernel",), "year": ("kernel",), "flows": ("cashflow", "payback_kinds"), "valuation": ("returns",),
    "measures": ("measures", "payback", "rate_of_return"),
    "price_history": ("prices", "price_paths"), "factor_model": ("information", "ranking"), "split": ("split", "solar"),
}  # fmt: skip
DESELECTED: list[str] = []
#: Changes without effect on anything that is promised, by file and changed text, and why.
EQUIVALENT: dict[str, str] = {
    "weather/solar.py: lit_share < 1.0 -> lit_share <= 1.0": "the middle of an hour that is lit throughout is its centre",
    **{
        f"dispatch/kernel/{name}.py: min(lanes, LANES) -> max(lanes, LANES)": "a group has no more lanes than that; the empty "
        "ones are worked out for nobody"
        for name in ("books", "feeding", "loops", "slot")
    },
    "money/measures.py: roots > 0 -> roots >= 0": "without a root the search starts from what is no number and ends there",
}

SWAPS: dict[type, type] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In,
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.FloorDiv: ast.Mult, ast.Mod: ast.Mult,
    ast.Pow: ast.Mult, ast.And: ast.Or, ast.Or: ast.And, ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd,
}  # fmt: skip
NAMES = {"min": "max", "max": "min", "minimum": "maximum", "maximum": "minimum", "any": "all", "all": "any"}


@dataclass(frozen=True)
class Mutant:
    """One change: the number of its place in the walk of the tree, and how it reads."""

    source: str
    place: int
    line: int
    before: str
    after: str

    def __str__(self) -> str:
        return f"{self.source}:{self.line}: `{self.before}` -> `{self.after}`"


def larger_or_smaller(node: ast.AST) -> bool:
    """Return whether a node is `a if a < b else b` or the like, which gives the same number where both are equal."""
    if not (isinstance(node, ast.IfExp) and isinstance(node.test, ast.Compare) and len(node.test.ops) == 1):
        return False
    sides = {ast.unparse(node.test.left), ast.unparse(node.test.comparators[0])}
    return sides == {ast.unparse(node.body), ast.unparse(node.orelse)}


def places(tree: ast.AST) -> Iterator[ast.AST]:
    """Yield every node that may be changed, always in the same order."""
    if isinstance(tree, ast.Raise | ast.Assert | ast.Import | ast.ImportFrom | ast.JoinedStr):
        return
    if isinstance(tree, ast.If) and ast.unparse(tree.test) == "TYPE_CHECKING":
        return
    if isinstance(tree, ast.Call) and ast.unparse(tree.func).split(".")[-1] in ("TypeVar", "one_problem", "Problem"):
        return
    if not isinstance(tree, ast.AnnAssign | ast.arg):
        yield tree
    for name, value in ast.iter_fields(tree):
        if name in ("annotation", "returns", "decorator_list", "type_params"):
            continue
        for child in value if isinstance(value, list) else [value]:
            if child is getattr(tree, "test", None) and larger_or_smaller(tree):
                yield from (place for side in (child.left, *child.comparators) for place in places(side))
            elif isinstance(child, ast.AST):
                yield from places(child)


def change(node: ast.AST) -> bool:
    """Change a node in place; False where there is nothing to change."""
    if isinstance(node, ast.Compare) and type(node.ops[0]) in SWAPS:
        node.ops[0] = SWAPS[type(node.ops[0])]()
    elif isinstance(node, ast.BinOp | ast.AugAssign | ast.BoolOp) and type(node.op) in SWAPS:
        node.op = SWAPS[type(node.op)]()
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
        node.op = ast.UAdd()
        node.operand = ast.Call(ast.Name("bool", ast.Load()), [node.operand], [])
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub) and not isinstance(node.operand, ast.Constant):
        node.op = ast.UAdd()
    elif isinstance(node, ast.IfExp):
        node.body, node.orelse = node.orelse, node.body
    elif isinstance(node, ast.Constant) and isinstance(node.value, bool):
        node.value = not node.value
    elif isinstance(node, ast.Constant) and isinstance(node.value, int | float):
        node.value = node.value + 1 if abs(node.value) <= 2 else node.value * 2
    elif isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in NAMES:
        node.func.id = NAMES[node.func.id]
    elif isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr in NAMES:
        node.func.attr = NAMES[node.func.attr]
    else:
        return False
    ast.fix_missing_locations(node)
    return True


def mutants_of(source: str) -> list[Mutant]:
    """Return every mutant of a file."""
    tree = ast.parse((ROOT / "riskcalc" / source).read_text(encoding="utf-8"))
    found = []
    for place, node in enumerate(places(tree)):
        before = ast.unparse(node) if not isinstance(node, ast.Module) else ""
        changed = copy.deepcopy(node)
        if change(changed):
            found.append(Mutant(source, place, node.lineno, _short(before), _short(ast.unparse(changed))))
    return found


def _short(text: str) -> str:
    text = " ".join(text.split())
    return text if len(text) <= 100 else f"{text[:97]}..."


class Changed(importlib.abc.MetaPathFinder, importlib.abc.Loader):
    """Finds the module of a mutant and runs its changed source."""

    def __init__(self, mutant: Mutant) -> None:
        self.mutant = mutant
        self.name = "riskcalc." + mutant.source.removesuffix(".py").replace("/", ".")

    def find_spec(self, name, path, target=None):  # noqa: ARG002 - as importlib asks
        """Return where the module comes from, for this one only."""
        if name != self.name:
            return None
        return importlib.util.spec_from_file_location(name, ROOT / "riskcalc" / self.mutant.source, loader=self)

    def exec_module(self, module) -> None:
        """Run the changed source as the module."""
        tree = ast.parse((ROOT / "riskcalc" / self.mutant.source).read_text(encoding="utf-8"))
        for place, node in enumerate(places(tree)):
            if place == self.mutant.place:
                assert change(node)
        exec(compile(tree, module.__spec__.origin, "exec"), vars(module))


def nearest_first(tests: tuple[str, ...], source: str) -> tuple[list[str], int]:
    """Return the test files of a room, those named after a source first, and how many these are."""
    paths = [
        path
        for test in tests
        for path in (sorted(Path(test).glob("test_*.py")) if Path(test).is_dir() else [Path(test)])
    ]
    stem = Path(source).stem
    names = NAMED_OTHERWISE.get(stem, (stem.rstrip("s"),))
    near = [any(name in path.stem for name in names) for path in paths]
    return [str(path) for _, path in sorted(zip(near, paths, strict=True), key=lambda both: not both[0])], sum(near)


def outcome(mutant: Mutant | None, tests: list[str], limit_s: float, *, plain: bool = False) -> tuple[str, float]:
    """Return `SURVIVED` or by what it was killed, and how long that took; without a mutant the tests as they are.

    `plain` runs the kernels as the Python that they are written in.
    """
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as work:
        child = os.fork()
        if child == 0:
            os.setsid()
            os._exit(_tested(mutant, tests, work, plain=plain))
        while True:
            ended, status = os.waitpid(child, os.WNOHANG)
            took = time.monotonic() - began
            if ended:
                said = (Path(work) / "said").read_text(errors="replace")
                if mutant is None and status:
                    print(said[-3000:])
                failed = [line for line in said.splitlines() if line.startswith(("FAILED", "ERROR"))]
                return (f"killed by {(failed or ['what it does'])[-1][:110]}" if status else "SURVIVED"), took
            if took > limit_s:
                os.killpg(child, signal.SIGKILL)
                os.waitpid(child, 0)
                return "killed by time", took
            time.sleep(0.05)


def _tested(mutant: Mutant | None, tests: list[str], work: str, *, plain: bool) -> int:
    silence = os.open(Path(work) / "said", os.O_WRONLY | os.O_CREAT)
    os.dup2(silence, 1)
    os.dup2(silence, 2)
    try:
        import hypothesis
        import pytest

        hypothesis.settings.register_profile("mutants", derandomize=True, database=None, deadline=None)
        hypothesis.settings.load_profile("mutants")
        if plain:
            _interpret()
        if mutant is not None:
            sys.meta_path.insert(0, Changed(mutant))
            if not plain and any(
                word in (ROOT / "riskcalc" / mutant.source).read_text() for word in ("register_jitable", "riskcalc.jit")
            ):
                _compile_anew(ROOT / "riskcalc" / mutant.source.partition("/")[0])
        words = [
            "-x",
            "-q",
            "--assert=plain",
            "-p",
            "no:cacheprovider",
            "-p",
            "no:xdist",
            "-m",
            "not slow and not browser",
        ]
        words += [
            "--basetemp",
            f"{work}/pytest",
            *(f"--deselect={test}" for test in (*DESELECTED, *[NOT_PLAIN] * plain)),
        ]
        return int(pytest.main([*words, *tests]))
    except BaseException:  # noqa: BLE001 - whatever a mutant does, it was noticed
        traceback.print_exc()
        return 99


def _interpret() -> None:
    """Leave every kernel the Python that it is written in, and give the one instruction that has no Python its meaning."""
    import numba
    from numba.core import extending

    numba.config.DISABLE_JIT = True
    extending._Intrinsic.__call__ = lambda _, factor, other, plus: factor * other + plus


def _compile_anew(package: Path) -> None:
    """Compile the loops of one package afresh: code kept for them would be that of the unchanged source."""
    from riskcalc import jit

    kept = jit._kept
    jit._kept = lambda function, dispatcher: (
        dispatcher if jit._folder_of(function) == package else kept(function, dispatcher)
    )


#: Where a stage is counted (1 near, 2 wider), its tests, and whether kernels stay plain Python.
Stages = list[tuple[int, list[str], bool]]


def _stages(name: str, mutant: Mutant, *, figures_first: bool) -> Stages:
    """Return the stages of a mutant of a room, in order."""
    tests, near = nearest_first(ROOMS[name].tests, mutant.source)
    wider: Stages = [(2, WIDER, False)] if name != "dispatch" else [(2, PLAIN, True), (2, WIDER, False)]
    close: Stages = [(1, tests[:near], False)] if near else []
    return [*wider, *close] if figures_first else [*close, *wider]


def _noticed_at(stages: Stages, mutant: Mutant, limit_s: float) -> tuple[int | None, str]:
    """Return the stage that noticed, None where none did, and what each said."""
    said = []
    for stage, part, plain in stages:
        found, took = outcome(mutant, part, limit_s, plain=plain)
        said.append(f"{took:.0f} s {found}")
        if found != "SURVIVED":
            return stage, " | ".join(said)
    return None, " | ".join(said)


def in_two_stages(
    rooms: list[str], *, figures_first: bool, skipped: int, size: int, seed: int, minutes: float, limit_s: float
) -> None:
    """Try one sample over all rooms in random order until the time is up, and print how many each stage noticed."""
    everyone = [(name, mutant) for name in rooms for source in ROOMS[name].sources for mutant in mutants_of(source)]
    chosen = random.Random(seed).sample(everyone, min(size, len(everyone)))
    until = time.monotonic() + 60.0 * minutes
    tally = {name: [0, 0, 0, 0] for name in rooms}  # tried, noticed near, noticed wider, without effect
    alive: list[tuple[str, Mutant, Stages, str]] = []
    for name, mutant in chosen[skipped:]:
        if time.monotonic() > until:
            break
        tally[name][0] += 1
        if f"{mutant.source}: {mutant.before} -> {mutant.after}" in EQUIVALENT:
            tally[name][3] += 1
            continue
        first, *others = _stages(name, mutant, figures_first=figures_first)
        stage, said = _noticed_at([first], mutant, limit_s)
        if stage is None:
            alive.append((name, mutant, others, said))
            continue
        tally[name][stage] += 1
        print(f"{name}: {mutant} | {said}", flush=True)
    # What the first stage let live comes last: its other stages take most of the time.
    for name, mutant, others, before in alive:
        stage, said = _noticed_at(others, mutant, limit_s) if time.monotonic() < until else (None, "not tried further")
        if stage is not None:
            tally[name][stage] += 1
        print(f"{name}: {mutant} | {before} | {said}", flush=True)
    for name, (tried, *noticed) in tally.items():
        places = sum(room == name for room, _ in everyone)
        print(
            f"{name}: {places} places, {tried} tried; near {noticed[0]}, wider {noticed[1]}, without effect {noticed[2]}"
        )


def main() -> None:
    """Run the sample and print what survived."""
    arguments = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    arguments.add_argument("rooms", nargs="*", default=list(ROOMS), metavar="ROOM", help=", ".join(ROOMS))
    arguments.add_argument("--each", type=int, default=60, help="Mutants of each room.")
    arguments.add_argument(
        "--near", action="store_true", help="Only the tests named after a source, on a tree known to be green."
    )
    arguments.add_argument("--limit", type=float, default=600.0, help="Seconds for one with --near.", metavar="S")
    arguments.add_argument("--only", default="", help="Those of one FILE:LINE.")
    arguments.add_argument("--deselect", action="append", default=[], help="A test to leave out.", metavar="TEST")
    arguments.add_argument("--seed", type=int, default=SEED)
    arguments.add_argument("--sample", type=int, default=0, help="One sample of so many over all rooms, in two stages.")
    arguments.add_argument("--figures-first", action="store_true", help="The second stage first: faster.")
    arguments.add_argument("--skip", type=int, default=0, help="Leave out the first so many of a sample.")
    arguments.add_argument("--minutes", type=float, default=1e6, help="Stop a sample after so long.")
    asked = arguments.parse_args()
    DESELECTED.extend(asked.deselect)
    os.chdir(ROOT)
    sys.path.insert(0, str(ROOT))
    for library in LIBRARIES:
        importlib.import_module(library)
    if asked.sample:
        how = {"size": asked.sample, "seed": asked.seed, "skipped": asked.skip, "minutes": asked.minutes}
        in_two_stages(asked.rooms, figures_first=asked.figures_first, limit_s=asked.limit, **how)
        return
    for name in asked.rooms:
        room = ROOMS[name]
        everyone = [mutant for source in room.sources for mutant in mutants_of(source)]
        chosen = random.Random(asked.seed).sample(everyone, min(asked.each, len(everyone)))
        if asked.only:
            chosen = [mutant for mutant in everyone if f"{mutant.source}:{mutant.line}" == asked.only]
        print(f"\n{name}: {len(everyone)} mutants, {len(chosen)} tried", flush=True)
        killed, alike = 0, []
        sound: dict[str, float] = {}
        for mutant in sorted(chosen, key=lambda found: (found.source, found.line, found.place)):
            reason = EQUIVALENT.get(f"{mutant.source}: {mutant.before} -> {mutant.after}")
            if reason:
                alike.append(f"  {mutant}: {reason}")
                continue
            tests, near = nearest_first(room.tests, mutant.source)
            tests = tests[:near] if asked.near and near else tests
            if asked.near:
                sound[mutant.source] = (asked.limit - 60.0) / 3.0
            elif mutant.source not in sound:
                as_it_is, sound[mutant.source] = outcome(None, tests, 3600.0)
                if as_it_is != "SURVIVED":
                    sys.exit(f"{mutant.source}: its tests fail without any change")
            found, took = outcome(mutant, tests, 60.0 + 3.0 * sound[mutant.source])
            killed += found != "SURVIVED"
            print(f"{name} {took:.0f} s {mutant} {found}", file=sys.stderr, flush=True)
            if found == "SURVIVED":
                print(f"  survived: {mutant}", flush=True)
        counted = len(chosen) - len(alike)
        print(f"  killed {killed} of {counted} ({killed / counted:.0%})" if counted else "  none")
        print("\n".join(["  without effect:", *alike]) if alike else "", end="", flush=True)


if __name__ == "__main__":
    main()
