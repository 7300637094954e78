"""Make eight changes as DEVELOPERS.md says, each on a fresh copy; count the files it touches, and run what is new.

    python tests/studies/recipes.py [NAME ...]

A change is the least that works: no tests, no words beyond those that the page needs. A line says how many files it
touches, how many it may touch, which they are, and whether the command ran that tries it.
"""

import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[2]
QUICK = ("--set", "study.horizon_years=4", "--set", "study.pool_years=8", "--draws", "32", "--out", "out")

CHART = '''"""A trial."""

from riskcalc.pages.exhibit import Block, chart
from riskcalc.pages.exhibits.cash import cash_chart
from riskcalc.pages.figures import say
from riskcalc.types import Figures


def trial_block(figures: Figures) -> Block:
    """Return a chart."""
    said = say("A trial.")
    return chart(
        figures, "trial", lambda width: cash_chart(figures, width=width), title=said, reading=said, alternative=said,
        table=(("year",), [("0",)]), columns={"year": [0]},
    )
'''
RISING = '''@dataclass(frozen=True, kw_only=True)
class Rising(Stretched):
    """The density grows in a straight line from `low` to `high`."""

    low: float
    high: float
    kind: ClassVar[str] = "rising"

    def complaint(self):
        return _ordered(self.low, self.high)

    def core_words(self):
        return f"rising from {plain(self.low)} to {plain(self.high)}"

    def _unit_quantile(self, share):
        return share**0.5

    def _unit_share(self, place):
        return place**2

    def _unit_mean(self, start, end):
        return 2 / 3 * (end**3 - start**3) / (end**2 - start**2)


'''
STEPPED = """def _standing(scenario, values, paths, year):
    first = values["tariff.standing_charge_per_day"]
    if scenario.tariff.standing_charge_from_year_3_per_day is None or paths is None:
        return first
    later = values["tariff.standing_charge_from_year_3_per_day"]
    stepped = np.where(np.arange(len(paths.export))[:, None] < 2, first, later)
    return stepped if year is None else stepped[year]


"""
COMMAND = '''"""`riskcalc trial`."""

import typer


def trial() -> None:
    """Say that it works."""
    typer.echo("it works")
'''
#: Each change: files at most, (file, text that stands there, text before it or whole new file) ..., the command, and what
#: its output must hold in the file named.
RECIPES = {
    "a chart": (
        3,
        (
            ("pages/exhibits/trial.py", "", CHART),
            (
                "pages/page.py",
                "from riskcalc.types import Figures",
                "from riskcalc.pages.exhibits.trial import trial_block\n",
            ),
            ("pages/page.py", "                cash_block(figures),", "                trial_block(figures),\n"),
        ),
        (),
        ("report.html", "A trial."),
    ),
    "a coupling of a known family": (
        5,
        (
            (
                "coupling.py",
                '    OFF_GRID = "',
                '    GARAGE = "garage", Traits(parallel=True, reaches_all=True, fixed=True)\n',
            ),
            ("pages/exhibits/cautions.py", '        "off_grid": [', '        "garage": [ISOLATION],\n'),
            ("pages/exhibits/method.py", '    "off_grid": "', '    "garage": "A trial.",\n'),
        ),
        ('kit.coupling="garage"', "dispatch.export_stored_at=[]"),
        ("report.html", "A trial."),
    ),
    "a law of ageing": (
        2,
        (
            (
                "years/ageing.py",
                '    "datasheet": Law',
                '    "steady": Law(lambda _: np.asarray(0.02), 1.0, lambda _: np.asarray(1e-5), 1.0),\n',
            ),
            ("scenario/kit_parts.py", '"datasheet"] = default(', '"steady", '),
        ),
        ('kit.ageing.law="steady"',),
        ("report.html", "steady"),
    ),
    "a distribution": (
        2,
        (
            ("uncertainty/bounded.py", "@dataclass(frozen=True, kw_only=True)\nclass Triangular", RISING),
            ("scenario/uncertain.py", "Triangular, Uniform\n", "Rising, "),
            ("scenario/uncertain.py", "Triangular, Normal", "Rising, "),
        ),
        ('purchase.price={distribution="rising", low=5000, high=9000}',),
        ("report.html", "rising from 5000 to 9000"),
    ),
    "a column of outcomes": (
        2,
        (("answers/assess.py", '        "bought": sim', '        "second_year_saving": money.saving[1],\n'),),
        (),
        ("draws.csv", "second_year_saving"),
    ),
    "a standing charge that steps in year 3": (
        2,
        (
            (
                "scenario/tariff.py",
                "    export_price_per_kwh: Annotated",
                "    standing_charge_from_year_3_per_day: Annotated[Quantity, Uncertain(0, 100)] | None = optional(\n"
                '        "fixed charge per day from the third year on", title="Standing charge from year 3"\n    )\n',
            ),
            (
                "money/bill.py",
                '        values["tariff.standing_charge_per_day"],\n',
                "        _standing(scenario, values, paths, year),\n",
            ),
            ("money/bill.py", '        values["tariff.standing_charge_per_day"],\n', None),
            ("money/bill.py", "def bill(prices", STEPPED),
        ),
        ("tariff.standing_charge_from_year_3_per_day=2",),
        ("report.html", "Standing charge from year 3"),
    ),
    "a command": (
        2,
        (
            ("commands/trial.py", "", COMMAND),
            ("cli.py", "from riskcalc.commands.update", "from riskcalc.commands.trial import trial\n"),
            ("cli.py", '    ("schema", schema', '    ("trial", trial, "A trial."),\n'),
        ),
        None,
        ("", "it works"),
    ),
    "a kind of cost": (
        2,
        (
            (
                "scenario/purchase.py",
                "    disposal_cost: Annotated",
                "    survey_cost: Annotated[Quantity, Money] = default_number(\n"
                '        0.0, "a survey before the purchase", absent("none unless given"), title="Survey"\n    )\n',
            ),
            (
                "money/flows.py",
                "    ends = last_working_year",
                '    survey = np.vstack([bought * -values["purchase.survey_cost"], np.zeros((years, draws))])\n'
                '    flows = flows.with_kind("survey", survey)\n',
            ),
        ),
        ("purchase.survey_cost=100",),
        ("report.html", "Survey"),
    ),
}


def made(folder: Path, edits: tuple[tuple[str, str, str | None], ...]) -> list[str]:
    """Make the edits below `riskcalc/` of a copy; return the files touched."""
    for name, place, text in edits:
        path = folder / "riskcalc" / name
        if not place:
            path.write_text(text or "", encoding="utf-8")
            continue
        whole = path.read_text(encoding="utf-8")
        if place not in whole:
            raise SystemExit(f"{name} no longer holds {place!r}: bring this study up to date")
        path.write_text(whole.replace(place, "" if text is None else text + place, 1), encoding="utf-8")
    return sorted({name for name, _, _ in edits})


def tried(folder: Path, keys: tuple[str, ...] | None, where: tuple[str, str]) -> bool:
    """Run the command that shows the change; return whether it ended well and said what it should."""
    words = ["trial"]
    if keys is not None:
        words = ["assess", "scenarios/terrace-rooftop.toml", *QUICK, *(word for key in keys for word in ("--set", key))]
    ran = subprocess.run(
        [sys.executable, "-m", "riskcalc", *words], cwd=folder, capture_output=True, text=True, check=False
    )
    file, text = where
    said = ran.stdout if not file or ran.returncode else (folder / "out" / file).read_text(encoding="utf-8")
    return ran.returncode == 0 and text in said


def main() -> None:
    """Print a line for each change."""
    for name, (most, edits, keys, where) in RECIPES.items():
        if sys.argv[1:] and name not in sys.argv[1:]:
            continue
        with tempfile.TemporaryDirectory() as home:
            folder = Path(home)
            for part in ("riskcalc", "scenarios"):
                shutil.copytree(ROOT / part, folder / part)
            files = made(folder, edits)
            works = "works" if tried(folder, keys, where) else "FAILS"
        print(f"{name}: {len(files)} of at most {most}, {works}: {', '.join(files)}", flush=True)


if __name__ == "__main__":
    main()
