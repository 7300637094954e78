"""A made-up run for the tests of the page: a small Monte Carlo of its own, invented throughout.

Loaded with `runpy` by the tests, so that it needs no package around it.
"""

from dataclasses import replace

import numpy as np

from riskcalc.pages import data
from riskcalc.pages.cautions import cautions

N = 15
DAYS_IN_MONTH = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
SUN = np.array([0.35, 0.55, 0.95, 1.35, 1.6, 1.65, 1.6, 1.4, 1.1, 0.7, 0.4, 0.3])


def estimate(values: np.ndarray, statistic) -> data.Estimate:
    """Return the statistic and its standard error from eight groups of draws."""
    groups = np.array([statistic(group) for group in values.reshape(8, -1)])
    value = float(statistic(values))
    if not np.isfinite(value):
        return data.Estimate(None)
    spread = groups.std(ddof=1) / np.sqrt(8) if np.isfinite(groups).all() else np.nan
    return data.Estimate(value, float(spread))


def quantile(level: float):
    """Return the function that reads off one quantile, by order so that inf stays inf."""
    return lambda values: np.sort(values)[int(level * (len(values) - 1))]


def draws_of(*, draws: int, seed: int, price: float) -> dict[str, np.ndarray]:
    """Return named inputs, yearly cash and the two outcomes of a simple invented investment."""
    rng = np.random.default_rng(seed)
    inputs = {
        "purchase.price": rng.triangular(0.94, 1.0, 1.12, draws) * price,
        "home.annual_use_kwh": rng.normal(2300, 320, draws).clip(1200, 3600),
        "home.moved_share": rng.beta(2, 4, draws),
        "tariff.rates.day.import_price_per_kwh": rng.triangular(0.24, 0.28, 0.34, draws),
        "prices.trend_per_year": rng.normal(0.025, 0.02, draws),
        "kit.inverter.idle_w": rng.uniform(8, 24, draws),
        "kit.battery.capacity_kwh": rng.choice([1.8, 1.92, 2.04], draws, p=[0.25, 0.5, 0.25]),
        "home.surfaces.rail.shading": rng.uniform(0.0, 0.3, draws),
        "kit.ageing.scale": rng.lognormal(0.0, 0.3, draws),
    }
    used_kwh = 620 * (1 - inputs["home.surfaces.rail.shading"]) * rng.normal(1, 0.05, draws)
    used_kwh *= 0.62 + 0.3 * inputs["home.moved_share"]
    used_kwh -= (inputs["kit.inverter.idle_w"] - 8) * 6
    day_price = inputs["tariff.rates.day.import_price_per_kwh"]
    year = np.arange(1, N + 1)[:, None]
    growth = (1 + inputs["prices.trend_per_year"]) ** (year - 1)
    luck = rng.normal(1, 0.06, (N, draws))
    saving = used_kwh * day_price * growth * luck * 0.985 ** (year - 1)
    flows = np.concatenate([-inputs["purchase.price"][None], saving - 6])
    cash = flows.cumsum(axis=0)
    discounted = (flows / 1.045 ** np.arange(N + 1)[:, None]).cumsum(axis=0)
    return {
        "inputs": inputs,
        "used_kwh": used_kwh,
        "saving": saving[0],
        "cash": cash,
        "payback": first_crossing(cash),
        "discounted_payback": first_crossing(discounted),
        "worth": discounted[-1],
    }


def first_crossing(cash: np.ndarray) -> np.ndarray:
    """Return when the balance first reaches zero, linear within the year, inf if never."""
    paid = cash >= 0
    index = np.where(paid.any(axis=0), paid.argmax(axis=0), 0)
    column = np.arange(cash.shape[1])
    before, after = cash[index - 1, column], cash[index, column]
    return np.where(index > 0, index - 1 + before / (before - after + 1e-300), np.inf)


def payback_of(run: dict) -> data.Payback:
    """Return the payback section."""
    whole_years = np.arange(1, N + 1)
    within = [estimate(run["payback"], lambda v, y=y: (v <= y).mean()) for y in whole_years]
    levels = {f"p{round(100 * u)}": estimate(run["payback"], quantile(u)) for u in data.CASH_LEVELS}
    return data.Payback(
        years=whole_years,
        share_within=np.array([e.value for e in within]),
        share_within_se=np.array([e.se for e in within]),
        discounted_within=np.array([(run["discounted_payback"] <= y).mean() for y in whole_years]),
        never_share=estimate(run["payback"], lambda v: np.isinf(v).mean()),
        discounted_never_share=estimate(run["discounted_payback"], lambda v: np.isinf(v).mean()),
        **levels,
    )


def worth_of(run: dict) -> data.Worth:
    """Return the worth section."""
    worth = run["worth"]
    shares, edges = np.histogram(worth, bins=40)
    return data.Worth(
        mean=estimate(worth, np.mean),
        sd=estimate(worth, np.std),
        loss_probability=estimate(worth, lambda v: (v < 0).mean()),
        mean_of_worst_5_percent=estimate(worth, lambda v: np.sort(v)[: len(v) // 20].mean()),
        bin_edges=edges,
        bin_share=shares / len(worth),
        **{f"p{round(100 * u)}": estimate(worth, quantile(u)) for u in data.CASH_LEVELS},
    )


def months_of(run: dict) -> data.MonthlyEnergy:
    """Return the twelve months of the first year."""
    used = run["used_kwh"]
    shape = SUN * DAYS_IN_MONTH / (SUN * DAYS_IN_MONTH).sum()
    solar = used.mean() * shape
    demand = 2300 * (1 + 0.18 * np.cos(2 * np.pi * np.arange(12) / 12)) / 12
    direct, stored = 0.45 * solar, 0.42 * solar + 8
    reachable = 0.55 * demand
    return data.MonthlyEnergy(
        from_solar_kwh=direct,
        from_battery_kwh=stored,
        from_grid_kwh=reachable - direct - stored,
        out_of_reach_kwh=demand - reachable,
        unmet_kwh=np.zeros(12),
        solar_used_kwh=solar,
        solar_used_p10_kwh=np.quantile(used, 0.1) * shape,
        solar_used_p90_kwh=np.quantile(used, 0.9) * shape,
        export_kwh=np.zeros(12),
        curtailed_kwh=0.25 * solar * SUN,
        losses_kwh=np.full(12, 11.0),
        grid_to_battery_kwh=np.full(12, 9.0) * (SUN < 0.9),
    )


def week_of(season: str, *, seed: int) -> data.Week:
    """Return one invented week in half hours whose battery follows from its flows."""
    rng = np.random.default_rng(seed)
    hour = np.arange(data.WEEK_STEPS) / 2 % 24
    strength, first, last = (640, 5, 21) if season == "summer" else (250, 8, 16.5)
    day = rng.uniform(0.35, 1, 7).repeat(48) * rng.uniform(0.8, 1.05, data.WEEK_STEPS)
    solar = strength * np.clip(np.sin(np.pi * (hour - first) / (last - first)), 0, 1) ** 1.5 * day
    solar[(hour < first) | (hour > last)] = 0
    hidden = 90 + 260 * np.exp(-((hour - 18.5) ** 2) / 3) + 60 * rng.exponential(1, data.WEEK_STEPS)
    within = 110 + 180 * np.exp(-((hour - 7.5) ** 2) / 1.2) + 220 * np.exp(-((hour - 20) ** 2) / 5)
    within = within + 900 * (rng.uniform(size=data.WEEK_STEPS) < 0.03)
    stored, level, from_grid = np.zeros(data.WEEK_STEPS), 500.0, np.zeros(data.WEEK_STEPS)
    for step in range(data.WEEK_STEPS):
        need = (within[step] - solar[step]) / 2
        level_after = float(np.clip(level - need, 100, 1900))
        from_grid[step] = max(0.0, 2 * (need - (level - level_after)))
        stored[step] = level = level_after
    return data.Week(
        season=season,
        first_day="Monday 7 July" if season == "summer" else "Monday 13 January",
        demand_w=hidden + within,
        out_of_reach_w=hidden,
        solar_w=solar,
        grid_import_w=hidden + from_grid,
        export_w=np.zeros(data.WEEK_STEPS),
        unmet_w=np.zeros(data.WEEK_STEPS),
        battery_wh=stored,
        capacity_wh=1920.0,
        draw=417,
    )


LABELS = {
    "purchase.price": ("Price of the kit", "", "kit"),
    "home.annual_use_kwh": ("Electricity the home uses in a year", "kWh", "habits"),
    "home.moved_share": ("Movable use that really moves into the sun", "", "habits"),
    "tariff.rates.day.import_price_per_kwh": ("Price of a kWh by day", "GBP/kWh", "prices"),
    "prices.trend_per_year": ("Yearly rise of electricity prices", "", "prices"),
    "kit.inverter.idle_w": ("What the unit burns while switched on", "W", "kit"),
    "kit.battery.capacity_kwh": ("Usable battery capacity", "kWh", "kit"),
    "home.surfaces.rail.shading": ("light lost to shade: share of the year's", "share", "weather"),
    "kit.ageing.scale": ("Capacity loss over that of the law", "", "ageing"),
}


def ranking_of(run: dict) -> tuple[data.RankingRow, ...]:
    """Return the ranking by squared correlation: enough for an invented, nearly linear model."""
    rows = []
    for key, values in run["inputs"].items():
        label, unit, family = LABELS[key]

        def share(worth, values=values):
            held = values if len(worth) == len(values) else values[: len(worth)]
            return np.corrcoef(held, worth)[0, 1] ** 2 if worth.std() else 0.0

        low, high = np.quantile(values, [0.1, 0.9])
        rows.append(
            data.RankingRow(
                key=key,
                label=label,
                unit=unit,
                family=family,
                share=data.Estimate(float(share(run["worth"])), 0.015),
                input_p10=float(low),
                input_p90=float(high),
                worth_at_p10=data.Estimate(float(run["worth"][values <= np.quantile(values, 0.2)].mean()), 12.0),
                worth_at_p90=data.Estimate(float(run["worth"][values >= np.quantile(values, 0.8)].mean()), 12.0),
            )
        )
    rows.append(data.RankingRow("luck", "Luck of weather and demand years", "", "weather", data.Estimate(0.06, 0.02)))
    return tuple(sorted(rows, key=lambda row: -row.share.value))


def assumptions_of(run: dict) -> tuple[data.Assumption, ...]:
    """Return the uncertain inputs and a few fixed ones."""
    rows = []
    for key, values in run["inputs"].items():
        label, unit, family = LABELS[key]
        sketch = np.quantile(values, data.SKETCH_LEVELS)
        given = f"between {values.min():.3g} and {values.max():.3g}"
        rows.append(
            data.Assumption(key, label, family, given, "triangular", unit, "invented for this test", False, sketch)
        )
    source = "common practice, no source"
    rows.append(data.Assumption("site.albedo", "Reflection of the ground", "weather", "0.2", "fixed", "", source, True))
    rows.append(
        data.Assumption(
            "kit.ageing.module_decline_per_year",
            "Yearly decline of the modules",
            "ageing",
            "0.005",
            "fixed",
            "",
            "Jordan and Kurtz 2013, median",
            True,
        )
    )
    return tuple(rows)


def example_report(*, draws: int = 1024, seed: int = 1, price: float = 1150.0, **changes) -> data.ReportData:
    """Return a whole report; `price` decides how many futures pay back, `changes` replace fields."""
    run = draws_of(draws=draws, seed=seed, price=price)
    saving, used = run["saving"], run["used_kwh"]
    p10, p90 = (float(np.quantile(saving, u)) for u in (0.1, 0.9))
    report = data.ReportData(
        name="Second-floor flat, balcony rail",
        description="Two modules on a south-west balcony rail and a portable 2 kWh unit; every kit, home and "
        "price is invented.",
        place="Thames region",
        kit="Invented portable unit, 2 kWh",
        home="Two-room flat, two people",
        tariff="Two rates, cheap by night",
        currency="GBP",
        coupling="sockets",
        horizon_years=N,
        headline_years=10,
        payback=payback_of(run),
        worth=worth_of(run),
        cash=data.CashFan(
            years=np.arange(N + 1),
            cash=np.quantile(run["cash"], data.CASH_LEVELS, axis=1),
            share_above_zero=(run["cash"] >= 0).mean(axis=1),
        ),
        first_year=(
            data.Figure("saving", "Saved on the bill", "money", estimate(saving, np.mean), p10, p90),
            data.Figure("solar_used_kwh", "Solar used", "kWh", estimate(used, np.mean), 290.0, 440.0),
            data.Figure("import_kwh", "Bought from the grid", "kWh", data.Estimate(1968.3, 6.1), 1600.0, 2350.0),
            data.Figure(
                "battery_throughput_kwh", "Through the battery", "kWh", data.Estimate(214.2, 1.3), 170.0, 260.0
            ),
            data.Figure("self_share", "Demand met by the kit", "share", data.Estimate(0.143, 0.001), 0.11, 0.18),
        ),
        months=months_of(run),
        weeks=(week_of("summer", seed=3), week_of("winter", seed=4)),
        ranking=ranking_of(run),
        ranking_method="Estimated from the draws themselves: the share of the variance of worth that goes away "
        "when the input is known.",
        fit=(
            data.FitRow(
                "Open-circuit voltage at the record low", 52.1, 60.0, 0.13, "V", "ok", "", "datasheet coefficient"
            ),
            data.FitRow(
                "Operating voltage at hot cells",
                31.4,
                30.0,
                0.05,
                "V",
                "tight",
                "one more module in series would pass the limit of 60 V; leave as it is",
                "datasheet coefficient, cells at 70 °C",
            ),
            data.FitRow(
                "Power against the input's limit",
                860.0,
                500.0,
                -0.72,
                "W",
                "wasteful",
                "500 W of modules would fill the input",
                "nameplate ratio",
            ),
        ),
        cautions=cautions(coupling="sockets", has_modules=True, has_battery=True, modules_in_series=2, renting=True),
        assumptions=assumptions_of(run),
        notes=("Weather: one typical year only, so the luck of good and bad years is too small.",),
        weather_source="Generated from the monthly climate of the Thames region (Standard Assessment Procedure).",
        demand_source="Appliance events after Richardson et al. 2010.",
        provenance=data.Provenance(
            command="riskcalc assess scenarios/example.toml --draws 1024 --seed 1",
            seed=seed,
            draws=draws,
            scrambles=8,
            pool_years=32,
            step_minutes=1,
            versions=(("riskcalc", "0.1.0"), ("numpy", np.__version__)),
            files=(("example.toml", "9f" * 32), ("kits/portable.toml", "3c" * 32)),
        ),
        draws_table=data.DrawTable(
            inputs=tuple((key, *LABELS[key][:2]) for key in run["inputs"]),
            values=np.array(list(run["inputs"].values())),
            payback_years=run["payback"],
            net_present_value=run["worth"],
        ),
    )
    return replace(report, **changes)
