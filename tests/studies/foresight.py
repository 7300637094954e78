"""How near the rule of each shipped scenario comes to perfect foresight, and what targets found by search make of it.

    python tests/studies/foresight.py [NAME ...]

First year of one future of each of eight scrambles, none of them seen by the search, in steps of the tariff's slots: what the
battery saves run by the rule, over what it would save if every step were known beforehand. Scenarios that charge at night are
run four ways: as shipped, to full every night, with targets and switch dates found by search, and with a forecast of
tomorrow's sun besides. `roof` is the rooftop kit of the shelf over the terraced house at 0.30 by day and 0.15 by night
without pay for export.
"""

import shutil
import sys
import tempfile
from pathlib import Path

import numpy as np

from riskcalc.answers.foresight import gap
from riskcalc.scenario import read_scenario
from riskcalc.study.model import design_of, drawn_values, part_of_design, world_of
from riskcalc.years.simulation import Plant

FOLDER = Path(__file__).parents[2] / "scenarios"
STUDY = ("study.scrambles=8", "study.draws=128", "study.pool_years=16")
#: Of the 16 draws of a scramble the search runs the first two.
UNSEEN = 8
FULL = "dispatch.target_share=1.0"
FOUND = 'dispatch.target_share="optimise"'
WAYS = {
    "as shipped": (),
    "to full": (FULL,),
    "found": (FOUND,),
    "with forecasts": (FOUND, "dispatch.sun_forecast_skill=0.83"),
}
ROOF = """currency = "GBP"
site.from = "homes/terrace.toml"
home.from = "homes/terrace.toml"
kit.from = "kits/rooftop-4kwp-5kwh.toml"
purchase.from = "kits/rooftop-4kwp-5kwh.toml"
prices.from = "tariffs/two-rate.toml"
tariff.rates.night = { import_price_per_kwh = 0.15, windows = ["00:00-07:00"] }
tariff.rates.day.import_price_per_kwh = 0.30
dispatch.charge_at = ["night"]
"""


def taken(path, changes):
    """Return the share of the possible saving that the rule of a scenario takes, and that saving in money a year."""
    scenario = read_scenario(path, [*STUDY, *changes])
    world, random = world_of(scenario), design_of(scenario)
    chosen = np.arange(random.scrambles) * (random.draws // random.scrambles) + UNSEEN
    values = {key: of_all[chosen] for key, of_all in drawn_values(scenario, random).items()}
    found = gap(Plant(scenario, world.pools, world.plan, values, part_of_design(random, chosen).pool_year))
    return found.taken_share, float((found.without_cells - found.of_optimum).mean())


def main(names):
    """Print a row per scenario."""
    print(f"{'scenario':<20}{'possible':>10}" + "".join(f"{way:>16}" for way in WAYS))
    with tempfile.TemporaryDirectory() as copy:
        folder = shutil.copytree(FOLDER, Path(copy) / "scenarios")
        (folder / "roof.toml").write_text(ROOF, encoding="utf-8")
        for path in sorted(folder.glob("*.toml")):
            name = path.stem
            if names and name not in names:
                continue
            at_night = bool(read_scenario(path).dispatch.charge_at)
            shares = {way: taken(path, changes) for way, changes in WAYS.items() if at_night or not changes}
            cells = (f"{shares[way][0]:16.1%}" if way in shares else f"{'':>16}" for way in WAYS)
            print(f"{name:<20}{shares['as shipped'][1]:10.1f}" + "".join(cells), flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
