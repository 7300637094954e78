"""A coarser step answers as one minute does, kettles above the rating included."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from riskcalc.coupling import Coupling
from riskcalc.scenario import read_scenario
from riskcalc.study.model import Assessment, assessment

SCENARIOS = Path(__file__).parents[2] / "scenarios"
QUICK = (
    "study.draws=32", "study.scrambles=4", "study.pool_years=4", "study.horizon_years=8", "study.odds_within_years=8",
)  # fmt: skip
#: A 2 kW kettle on a unit that carries 1,800 W: averaged over five minutes it would seem to run.
KETTLE = ('home.appliances.kettle="unit"', "kit.inverter.rating_w=1800")
CASES = {
    "night-only": (), "tenant-balcony": (), "terrace-portable": (), "terrace-rooftop": (), "terrace-tenant": (),
    "workshop-off-grid": (), "tenant-balcony with a kettle": KETTLE, "terrace-portable with a kettle": KETTLE,
    "terrace-rooftop on a socket": ('kit.coupling="plug_in"',),
}  # fmt: skip


@cache
def run(case: str, step_minutes: int) -> Assessment:
    """Return the case at a step."""
    path = SCENARIOS / f"{case.split(' ', maxsplit=1)[0]}.toml"
    return assessment(read_scenario(path, [*QUICK, *CASES[case], f"study.step_minutes={step_minutes}"]))


@pytest.mark.parametrize("step_minutes", [5, 15])
@pytest.mark.parametrize("case", CASES)
def test_a_coarser_step_gives_the_same_saving_and_odds(case: str, step_minutes: int) -> None:
    """First-year saving within 1 % of that at one minute, odds within two standard errors, overloads not averaged away."""
    fine, coarse = run(case, 1), run(case, step_minutes)
    saving = fine.valuation.saving[0].mean()
    assert coarse.valuation.saving[0].mean() == pytest.approx(saving, rel=0.01)
    paid = [np.isfinite(found.valuation.payback_years) for found in (fine, coarse)]
    by_scramble = paid[0].reshape(4, -1).mean(axis=1)
    error = by_scramble.std(ddof=1) / np.sqrt(4)
    assert abs(paid[1].mean() - paid[0].mean()) <= 2.0 * error + 1e-12
    assert coarse.simulation.overload_minutes == pytest.approx(fine.simulation.overload_minutes, rel=0.02, abs=1.0)
    if "kettle" in case:
        assert fine.simulation.overload_minutes.mean() > 1000.0


def test_the_cases_are_all_shipped_scenarios_and_all_couplings() -> None:
    """A scenario or coupling that is added later is held to the same."""
    named = {case.split(" ", maxsplit=1)[0] for case in CASES}
    assert named == {path.stem for path in SCENARIOS.glob("*.toml")}
    read = [read_scenario(SCENARIOS / f"{case.split(' ', maxsplit=1)[0]}.toml", CASES[case]) for case in CASES]
    assert {scenario.kit.coupling for scenario in read if scenario.kit is not None} == set(Coupling)


@pytest.mark.parametrize("command", ["assess", "rank", "match", "compare"])
def test_every_command_takes_the_same_step(command: str) -> None:
    """No command coarsens the step by itself: without --step each takes the one of the scenario, one minute."""
    import inspect
    from importlib import import_module

    given = inspect.signature(getattr(import_module(f"riskcalc.commands.{command}"), command)).parameters["step"]
    assert given.default is None
    assert read_scenario(SCENARIOS / "night-only.toml").study.step_minutes == 1
