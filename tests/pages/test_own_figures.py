"""Your figures: what the page makes of typed figures is what `assess --set` gives, for every scenario and every field."""

import json
import runpy
from pathlib import Path

import numpy as np
import pytest

from riskcalc.answers.own_figures import typed_keys, whole_scrambles
from riskcalc.answers.page_dict import page_dict
from riskcalc.answers.whole_result import whole_result
from riskcalc.money.valuation import valuation
from riskcalc.pages.exhibits.own_figures import HORIZON, fields
from riskcalc.pages.page import assess_page
from riskcalc.scenario import read_scenario
from riskcalc.study.model import assessment, design_of, drawn_values

ROOT = Path(__file__).parents[2]
HEADLESS = runpy.run_path(str(ROOT / "tests" / "headless.py"))
MISSING = HEADLESS["missing"]()
SCENARIOS = sorted((ROOT / "scenarios").glob("*.toml"))
QUICK = ["study.draws=128", "study.pool_years=16", "study.step_minutes=30"]
LOAN = "purchase.loan={ financed_share = 0.8, rate_per_year = 0.06, term_years = 10 }"
CHANCE = {"tariff": (0.02, 0.6), "prices": (-0.01, 0.07), "purchase": (1.0, 3000.0)}


def expected(found, path, changes):
    """The money of the same futures with figures set by hand, through the reader of scenarios and the money chain."""
    scenario = read_scenario(path, changes)
    random = design_of(scenario)
    values = drawn_values(scenario, random)
    simulation = found.simulation
    if scenario.study.horizon_years != found.scenario.study.horizon_years:
        again = assessment(scenario)
        return again.valuation, again.simulation
    return valuation(scenario, simulation, values, random.path), simulation


def figures_of(money, simulation, horizon):
    worth, payback = money.net_present_value, money.payback_years[simulation.course.bought]
    quantiles = [np.quantile(payback, share, method="inverted_cdf") for share in (0.05, 0.5)]
    return {
        "odds": float((payback <= horizon).mean()),
        "mean": float(worth.mean()),
        "p5": float(np.quantile(worth, 0.05)),
        "p95": float(np.quantile(worth, 0.95)),
        "loss": float((worth < 0).mean()),
        "saving": float(money.saving[0].mean()),
        "median": float(np.median(payback)) if np.isfinite(quantiles[1]) else None,
        "last_band": float(np.quantile(money.cash_balance[-1], 0.75)),
    }


def compare(shown, wanted, what):
    got = {
        "odds": shown["odds"],
        "mean": shown["worth"]["mean"],
        "p5": shown["worth"]["p5"],
        "p95": shown["worth"]["p95"],
        "loss": shown["worth"]["loss"],
        "saving": shown["saving"],
        "last_band": shown["bands"][-1][3],
    }
    for name, value in got.items():
        assert value == pytest.approx(wanted[name], rel=1e-6, abs=2e-4), (what, name)
    if wanted["median"] is not None and shown["payback"][2] is not None:
        assert shown["payback"][2] == pytest.approx(wanted["median"], rel=1e-6), what


@pytest.mark.browser
@pytest.mark.slow
@pytest.mark.skipif(bool(MISSING), reason=MISSING)
@pytest.mark.parametrize("path", SCENARIOS, ids=lambda path: path.stem)
def test_typed_figures_give_what_assess_gives(path, tmp_path):
    """Every field alone and twenty random sets of them, against the money chain on the same futures."""
    loan = [LOAN] if path.stem == "terrace-rooftop" else []
    base = [*QUICK, *loan]
    found = assessment(read_scenario(path, base))
    figures = page_dict(found, command="riskcalc assess", figures=whole_result(found))
    page_file = tmp_path / "report.html"
    page_file.write_text(assess_page(figures), encoding="utf-8")
    assert page_file.stat().st_size < 1_500_000
    rows, horizon = fields(figures), found.scenario.study.horizon_years
    rng = np.random.default_rng(5)

    def value_for(key):
        if key == HORIZON:
            return int(rng.integers(2, horizon))
        low, high = CHANCE[key.split(".")[0]]
        return float(np.round(rng.uniform(low, high), 4))

    cases = [{row["key"]: value_for(row["key"])} for row in rows]
    for _ in range(20):
        chosen = [row["key"] for row in rows if row["key"] != HORIZON and rng.random() < 0.5]
        cases.append({key: value_for(key) for key in chosen})
    scale = {row["key"]: row["scale"] for row in rows}
    with HEADLESS["chromium"]() as browser:
        page = browser.new_page()
        faults = []
        page.on("pageerror", lambda error: faults.append(str(error)))
        page.goto(page_file.as_uri())
        for case in cases:
            page.click("[data-own=reset]")
            for key, value in case.items():
                page.fill(f'#own input[data-key="{key}"]', repr(value * scale[key]))
            shown = json.loads(page.get_attribute("#own", "data-figures"))
            changes = [*base, *(f"{key}={value}" for key, value in case.items())]
            money, simulation = expected(found, path, changes)
            compare(shown, figures_of(money, simulation, case.get(HORIZON, horizon)), case)
        assert not faults


def test_the_panel_offers_prices_costs_and_rates_but_nothing_that_needs_a_simulation(read_small):
    scenario = read_small()
    keys = typed_keys(scenario, trend_drawn=True)
    assert "tariff.rates.day.import_price_per_kwh" in keys
    assert "purchase.price" in keys
    assert not [key for key in keys if key.startswith(("kit.", "home.", "site."))]


def test_large_runs_travel_in_whole_scrambles():
    assert whole_scrambles(1024, scrambles=8) == 8
    assert whole_scrambles(4096, scrambles=8) == 2
    assert whole_scrambles(65_536, scrambles=8) == 1
