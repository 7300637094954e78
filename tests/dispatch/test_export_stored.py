"""Export of stored energy: said by the scenario, sold at the hours it names, worth what a hand calculation says."""

import json
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from riskcalc.cli import app
from riskcalc.dispatch import Flow
from riskcalc.errors import InputError
from riskcalc.scenario import read_scenario
from riskcalc.study.model import assessment, world_of

HOURLY = ('tariff.rates.night.windows=["00:00-07:00"]', "study.step_minutes=60", 'kit.coupling="whole_home"')
SOLD = 'dispatch.export_stored_at=["day"]'
CHEAP_NIGHT = ("tariff.rates.night.import_price_per_kwh=0.05", "tariff.export_price_per_kwh=0.4")


def energy(assessed):
    """Return the first year's flows, (flows, draws) [kWh]."""
    return assessed.simulation.first_year_monthly_kwh.sum(axis=1)


def test_what_is_sold_is_missing_at_home(read_small):
    """With the key the cells are emptied into the grid in the morning: their loads are bought, and the losses besides."""
    without = energy(assessment(read_small(*HOURLY)))
    sold = energy(assessment(read_small(*HOURLY, SOLD)))
    more_sold = sold[Flow.GRID_EXPORT] - without[Flow.GRID_EXPORT]
    more_bought = sold[Flow.GRID_IMPORT] - without[Flow.GRID_IMPORT]
    assert (more_sold > 50.0).all()
    assert (more_bought > more_sold).all()
    assert (sold[Flow.BATTERY_TO_LOAD] < without[Flow.BATTERY_TO_LOAD] - 50.0).all()


def test_what_is_kept_bounds_it(read_small):
    """Keeping the whole capacity from export is to export nothing stored, but for the sun, which then goes out first."""
    flows = [
        energy(assessment(read_small(*HOURLY, SOLD, f"dispatch.export_stored_above_share={share}")))
        for share in (0.0, 0.5, 1.0)
    ]
    sold = np.array([flow[Flow.GRID_EXPORT] for flow in flows])
    assert (np.diff(sold, axis=0) < 0.0).all()
    served = np.array([flow[Flow.BATTERY_TO_LOAD] for flow in flows])
    assert (np.diff(served, axis=0) > 0.0).all()


def test_selling_pays_where_the_spread_of_prices_covers_the_losses(read_small):
    """Bought at 0.05, sold at 0.40 against 0.30 by day: the year earns; at an export price below the night's it costs."""

    def saving(*changes):
        return assessment(read_small(*HOURLY, *changes)).valuation.saving[0].mean()

    assert saving(*CHEAP_NIGHT, SOLD) > saving(*CHEAP_NIGHT)
    poor = ("tariff.rates.night.import_price_per_kwh=0.2", "tariff.export_price_per_kwh=0.05")
    assert saving(*poor, SOLD) < saving(*poor)


def test_the_search_finds_when_to_sell(read_small):
    """Left open, what is kept is found: sold where it pays, kept where it does not, never worse than not selling."""
    find = 'dispatch.export_stored_above_share="optimise"'
    found = world_of(read_small(*HOURLY, *CHEAP_NIGHT, SOLD, find)).optimised
    assert found.bill < found.plain_bill
    assert (found.running.export_stored_above_share < 1.0).any()
    poor = ("tariff.rates.night.import_price_per_kwh=0.2", "tariff.export_price_per_kwh=0.05")
    found = world_of(read_small(*HOURLY, *poor, SOLD, find)).optimised
    assert found.bill == found.plain_bill
    assert (found.running.export_stored_above_share == 1.0).all()


def test_the_best_hours_of_a_series(read_small, tmp_path):
    """Under prices by the hour two hours a day are sold in, those of the best price, and none of them is charged in."""
    hours = np.arange("2023-01-01T00", "2024-01-01T00", dtype="datetime64[h]")
    price = (
        0.2 + 0.1 * np.sin(np.arange(len(hours)) * 2 * np.pi / 24) + 0.01 * np.random.default_rng(1).random(len(hours))
    )
    lines = [f"{hour}:00Z,{each:.4f}" for hour, each in zip(hours, price, strict=True)]
    (tmp_path / "prices.csv").write_text("time,price_per_kwh\n" + "\n".join(lines), encoding="utf-8")
    both = '["day", "night"]'
    scenario = read_small(
        *HOURLY, f'tariff.series={{ file = "{tmp_path / "prices.csv"}", export_follows = true }}', f"dispatch.charge_at={both}",
        "dispatch.cheapest_hours_per_day=4", f"dispatch.export_stored_at={both}", "dispatch.export_stored_hours_per_day=2",
    )  # fmt: skip
    plan = world_of(scenario).plan
    sells, charges = plan.export_stored_on != 0, plan.grid_charge_on != 0
    assert np.bincount(plan.day[sells], minlength=365).tolist() == [2] * 365
    assert not (sells & charges).any()
    for day in (3, 200):
        today = plan.day == day
        assert plan.rate_weight[today & sells].min() >= plan.rate_weight[today & ~sells & ~charges].max()


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ((), "a kit of this coupling sends nothing to the grid"),
        ((HOURLY[2], "kit.inverter.export_limit_w=0"), "a kit that may export"),
        ((HOURLY[2], 'dispatch.discharge_at=["night"]', "dispatch.charge_at=[]"), "rates of discharge_at"),
        ((HOURLY[2], 'dispatch.charge_at=["day"]'), "rates that are not in charge_at"),
        ((HOURLY[2], 'dispatch.export_stored_at=["dusk"]'), "names of rates"),
        (
            (HOURLY[2], "dispatch.export_stored_at=[]", "dispatch.export_stored_hours_per_day=2"),
            "nothing to choose from",
        ),
    ],
)
def test_what_cannot_be_sold_is_refused(read_small, changes, said):
    """Couplings, limits and rates that rule it out are named."""
    with pytest.raises(InputError, match=said) as caught:
        read_small(SOLD, *changes)
    assert all(problem.key.startswith("dispatch.export_stored") for problem in caught.value.problems)


def test_the_answer_tells_it(small_file, tmp_path):
    """result.json, page and screen name down to where stored energy is exported, where that was found."""
    words = [*HOURLY, *CHEAP_NIGHT, SOLD, 'dispatch.export_stored_above_share="optimise"']
    arguments = [word for change in words for word in ("--set", change)]
    out = tmp_path / "out"
    told = CliRunner().invoke(app, ["assess", str(small_file), "--out", str(out), "--draws", "16", *arguments])
    assert told.exit_code == 0, told.output
    shares = json.loads((out / "result.json").read_text(encoding="utf-8"))["running"]["export_stored_above_share"]
    assert len(shares) == 12
    assert min(shares) < 1.0
    assert "stored energy exported down to" in told.output
    page = (out / "report.html").read_text(encoding="utf-8")
    assert "exported down to" in page
    assert "you need permission from the network operator" in page
    assert "Nothing is sold while the supply charges" in page


def test_no_shipped_scenario_sells_what_is_stored():
    """Off unless set."""
    for path in (Path(__file__).parents[2] / "scenarios").glob("*.toml"):
        assert read_scenario(path).dispatch.export_stored_at == ()
