"""What the time step of demand does to the answer: first-year saving of each shipped scenario at 1, 5, 15, 30 and 60 minutes.

Run from the repository: python tests/studies/step_length.py. Same draws and pools' seeds at every step; night windows are
moved to whole hours for all steps alike, so that an hour can be simulated at all.
"""

import sys
from pathlib import Path

from riskcalc.scenario import read_scenario
from riskcalc.study.model import assessment

STEPS = (1, 5, 15, 30, 60)
STUDY = ("study.draws=64", "study.pool_years=8", "study.horizon_years=1")


def saving(path, step):
    """Return the mean first-year saving of a scenario simulated at this step."""
    changes = [*STUDY, f"study.step_minutes={step}"]
    rates = read_scenario(path).tariff.rates
    changes += [f'tariff.rates.{name}.windows=["00:00-07:00"]' for name, rate in rates.items() if rate.windows]
    if read_scenario(path).dispatch.off_hours:
        changes.append('dispatch.off_hours=["00:00-07:00"]')
    return float(assessment(read_scenario(path, changes)).valuation.saving[0].mean())


def main():
    """Print a row per scenario: saving at one minute, and how much coarser steps overstate it."""
    folder = Path(__file__).parents[2] / "scenarios"
    print(f"{'scenario':<24}{'1 min':>9}" + "".join(f"{f'{step} min':>10}" for step in STEPS[1:]))
    for path in sorted(folder.glob("*.toml")):
        finest = saving(path, 1)
        errors = [saving(path, step) / finest - 1.0 for step in STEPS[1:]]
        print(f"{path.stem:<24}{finest:9.1f}" + "".join(f"{error:+10.1%}" for error in errors), flush=True)


if __name__ == "__main__":
    sys.exit(main())
