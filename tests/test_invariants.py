"""What must hold whatever the figures: scale laws, orders that cannot turn round, independence of names and calendars."""

import dataclasses
import runpy
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from riskcalc.answers.assess import result
from riskcalc.coupling import Coupling
from riskcalc.dispatch import Billed, Flow, Param, dispatch_year
from riskcalc.dispatch.twin import StepKit
from riskcalc.money.measures import net_present_value, simple_payback_years
from riskcalc.money.prices import price_path
from riskcalc.money.valuation import valuation
from riskcalc.study.foresight_programme import YearAhead, foreseen
from riskcalc.study.model import assessment
from riskcalc.weather.csv_years import read_csv_years
from riskcalc.weather.generator import generated_years

random_case = runpy.run_path(str(Path(__file__).with_name("dispatch") / "dispatch_cases.py"))["random_case"]
QUIET = {"derandomize": True, "deadline": None, "suppress_health_check": list(HealthCheck)}
seeds = st.integers(0, 2**32 - 1)

POWERS = ("CHARGE_W", "DISCHARGE_W", "INVERTER_RATING_W", "IDLE_W", "STANDBY_W", "CHARGER_W")
LIMITS = ("SOCKET_LIMIT_W", "EXPORT_LIMIT_W")
ENERGIES = ("CAPACITY_WH", "FLOOR_WH")


def ideal(case):
    """Return the case with a kit that loses nothing and is limited by its capacity alone, run on the sun."""
    inputs, plan, params, arguments = case
    slots = len(plan.rate)
    plan = dataclasses.replace(
        plan,
        grid_charge_on=np.zeros(slots, dtype=np.int64),
        reserve_share=np.zeros(slots),
        discharge_on=np.ones(slots, dtype=np.int64),
        inverter_on=np.ones(slots, dtype=np.int64),
    )
    params = params.copy()
    for name in ("CHARGE_EFFICIENCY", "DISCHARGE_EFFICIENCY", "SOLAR_EFFICIENCY", "LOSS_LINEAR"):
        params[Param[name]] = 1.0
    for name in ("LOSS_QUADRATIC", "IDLE_W", "STANDBY_W", "FLOOR_WH", "EXPORT_LIMIT_W"):
        params[Param[name]] = 0.0
    for name in ("CHARGE_W", "DISCHARGE_W", "INVERTER_RATING_W"):
        params[Param[name]] = 1e6
    params[Param.CAPACITY_WH] = np.maximum(params[Param.CAPACITY_WH], 100.0)
    warm = dataclasses.replace(inputs, charge_allowed=np.ones_like(inputs.charge_allowed))
    empty = arguments | {"stored_wh": np.zeros(params.shape[1])}
    return warm, plan, params, empty


def run(coupling, case):
    """Return the outcome of one year of a case."""
    inputs, plan, params, arguments = case
    return dispatch_year(coupling, inputs, plan, params, threads=1, **arguments)


def sunnier(case, factor):
    """Return the case with more light."""
    inputs = dataclasses.replace(case[0], solar_w=case[0].solar_w * np.float32(factor))
    return inputs, *case[1:]


@pytest.mark.parametrize("coupling", Coupling)
@settings(max_examples=40, **QUIET)
@given(seed=seeds, minutes=st.integers(0, 3))
def test_twice_the_size_is_twice_the_flow_exactly(coupling, seed, minutes):
    """Every power and energy doubled (loads, sun, kit, limits): every flow, bill and store doubles to the last bit."""
    inputs, plan, params, arguments = random_case(seed, days=3, minutes=minutes)
    double = params.copy()
    for name in (*POWERS, *LIMITS, *ENERGIES):
        double[Param[name]] *= 2.0
    double[Param.LOSS_QUADRATIC] /= 2.0
    scaled = dataclasses.replace(
        inputs, **{name: getattr(inputs, name) * np.float32(2.0) for name in ("solar_w", "run_w", "wired_w")}
    )
    more = arguments | {name: arguments[name] * 2.0 for name in ("input_limit_w", "stored_wh")}
    twice = plan
    if plan.need is not None:
        doubled = {name: energy * 2.0 for name, energy in vars(plan.need.usual).items()}
        usual = dataclasses.replace(plan.need.usual, **doubled)
        twice = dataclasses.replace(plan, need=dataclasses.replace(plan.need, usual=usual))
    one, two = run(coupling, (inputs, plan, params, arguments)), run(coupling, (scaled, twice, double, more))
    for name in ("monthly_kwh", "billed_kwh", "stored_wh", "overload_kwh"):
        np.testing.assert_array_equal(2.0 * getattr(one, name), getattr(two, name), err_msg=name)
    np.testing.assert_array_equal(one.overload_minutes, two.overload_minutes)


@pytest.mark.parametrize("coupling", Coupling)
@settings(max_examples=40, **QUIET)
@given(seed=seeds, factor=st.floats(1.0, 3.0))
def test_more_sun_never_lowers_solar_used(coupling, seed, factor):
    """A kit without losses and limits of power uses no less when there is more light.

    One with losses may, by a little: where a step is served whole or not at all, more sun in the cells can end a service
    at another step. It never costs more than 5 % of what is used.
    """
    case = random_case(seed, days=4, draws=4)
    plain = ideal(case)
    used = [run(coupling, kit).yearly_kwh(Flow.PV_USED) for kit in (plain, sunnier(plain, factor))]
    assert (used[1] >= used[0] - 1e-9).all()
    used = [run(coupling, kit).yearly_kwh(Flow.PV_USED) for kit in (case, sunnier(case, factor))]
    assert (used[1] >= 0.95 * used[0] - 1e-9).all()


@pytest.mark.parametrize("coupling", Coupling)
@settings(max_examples=40, **QUIET)
@given(seed=seeds, factor=st.floats(1.0, 4.0))
def test_a_larger_battery_of_equal_losses_never_buys_more(coupling, seed, factor):
    """Without losses and night charge, more capacity lowers import and unmet demand or leaves them."""
    inputs, plan, params, arguments = ideal(random_case(seed, days=4, draws=4))
    larger = params.copy()
    larger[Param.CAPACITY_WH] *= factor
    small, large = (run(coupling, (inputs, plan, kit, arguments)) for kit in (params, larger))
    for flow in (Flow.GRID_IMPORT, Flow.UNMET):
        assert (large.yearly_kwh(flow) <= small.yearly_kwh(flow) + 1e-9).all()


def foreseen_case(coupling, seed):
    """Return two days known beforehand, with a random kit of sound losses, loads, sun and prices."""
    rng = np.random.default_rng(seed)
    hours, capacity = 48, rng.uniform(100, 3000)
    kit = StepKit(
        capacity_wh=capacity,
        floor_wh=rng.choice([0.0, 0.1, 0.3]) * capacity,
        charge_w=rng.uniform(50, 2000),
        discharge_w=rng.uniform(50, 2000),
        charge_efficiency=rng.uniform(0.8, 1.0),
        discharge_efficiency=rng.uniform(0.8, 1.0),
        solar_efficiency=rng.uniform(0.9, 1.0),
        inverter_rating_w=rng.uniform(200, 3000),
        idle_w=rng.choice([0.0, 10.0, 30.0]),
        standby_w=rng.choice([0.0, 2.0]),
        loss_linear=rng.uniform(1.0, 1.1),
        loss_quadratic=rng.choice([0.0, 3e-5]),
        charger_w=rng.uniform(100, 1500),
        charger_efficiency=rng.uniform(0.8, 1.0),
        socket_limit_w=rng.choice([np.inf, 1000.0]),
        export_limit_w=rng.choice([np.inf, 0.0, 600.0]),
    )
    start = rng.uniform(kit.floor_wh, capacity)
    return YearAhead(
        coupling=coupling,
        hours=1.0,
        kit=kit,
        load_w=rng.gamma(1.0, 400.0, hours),
        wired_w=rng.gamma(1.0, 100.0, hours),
        input_w=np.maximum(np.sin(np.arange(hours) * np.pi / 12 - np.pi / 2), 0.0) * rng.uniform(0, 2500),
        import_price=rng.choice([0.05, 0.15, 0.3, 0.5], hours),
        export_price=np.full(hours, rng.uniform(0.0, 0.4)),
        charge_allowed=rng.choice([0.0, 1.0], hours, p=[0.1, 0.9]),
        inverter_on=rng.random(hours) < 0.8,
        charges_from_grid=bool(rng.random() < 0.7),
        exports_stored=rng.random(48) < rng.choice([0.0, 0.5, 1.0]),
        start_wh=start,
        least_end_wh=min(start, kit.floor_wh),
    )


@pytest.mark.parametrize("coupling", Coupling)
@settings(max_examples=40, **QUIET)
@given(seed=seeds, factor=st.floats(1.0, 4.0))
def test_a_larger_battery_of_equal_losses_never_worsens_the_optimum(coupling, seed, factor):
    """Whoever knows the year beforehand has no larger bill with more capacity, whatever the kit loses and prices do.

    The rule may: it charges at night up to a share of the capacity, needed or not. That is what the optimum is for.
    """
    small = foreseen_case(coupling, seed)
    large = dataclasses.replace(small, kit=small.kit._replace(capacity_wh=small.kit.capacity_wh * factor))
    assert foreseen(large).bill <= foreseen(small).bill + 1e-7


@pytest.mark.parametrize("coupling", Coupling)
@settings(max_examples=20, **QUIET)
@given(seed=seeds, factor=st.floats(1.0, 3.0))
def test_more_loss_never_betters_the_optimum(coupling, seed, factor):
    """The same kit with cells that give back less has no smaller bill: the optimum does see losses."""
    good = foreseen_case(coupling, seed)
    worse = dataclasses.replace(good, kit=good.kit._replace(charge_efficiency=good.kit.charge_efficiency / factor))
    assert foreseen(worse).bill >= foreseen(good).bill - 1e-7


@pytest.mark.parametrize("coupling", Coupling)
@settings(max_examples=40, **QUIET)
@given(seed=seeds)
def test_energy_is_kept_over_the_year(coupling, seed):
    """Sources and sinks of all months balance, and the cells hold what went in less what came out."""
    case = random_case(seed, days=4, draws=4)
    outcome = run(coupling, case)
    kwh = outcome.monthly_kwh.sum(axis=1)
    sources = kwh[Flow.PV_USED] + kwh[Flow.GRID_IMPORT] + kwh[Flow.BATTERY_DISCHARGE] + kwh[Flow.UNMET]
    sinks = kwh[Flow.DEMAND_REACHABLE] + kwh[Flow.DEMAND_WIRED] + kwh[Flow.GRID_EXPORT]
    sinks = sinks + kwh[Flow.BATTERY_CHARGE] + kwh[Flow.LOSSES]
    np.testing.assert_allclose(sources, sinks, rtol=1e-9, atol=1e-9)
    assert (kwh >= -1e-9).all()
    # What was stored beyond the cells' capacity is lost before the year begins.
    began = np.minimum(case[3]["stored_wh"], case[2][Param.CAPACITY_WH])
    change = (outcome.stored_wh - began) / 1000.0
    np.testing.assert_allclose(change, kwh[Flow.BATTERY_CHARGE] - kwh[Flow.BATTERY_DISCHARGE], atol=1e-6)


@pytest.fixture(scope="module")
def found(tmp_path_factory):
    """Return an assessment of the small scenario with uncertain habits."""
    from riskcalc.scenario import read_scenario

    path = tmp_path_factory.mktemp("invariants") / "small.toml"
    path.write_text(runpy.run_path(str(Path(__file__).with_name("conftest.py")))["SMALL"], encoding="utf-8")
    use = 'home.annual_use_kwh={ distribution = "uniform", low = 800, high = 4000 }'
    return assessment(read_scenario(path, (use, "study.draws=32")))


@settings(max_examples=40, **QUIET)
@given(rate=st.sampled_from(["day", "night"]), factor=st.floats(1.0, 5.0))
def test_a_dearer_rate_moves_the_saving_the_way_the_energy_goes(found, rate, factor):
    """Of a given dispatch: a higher price never lowers the saving where the kit saves energy, nor raises it where it charges."""
    key = f"tariff.rates.{rate}.import_price_per_kwh"
    values = dict(found.values) | {key: found.values[key] * factor}
    dearer = valuation(found.scenario, found.simulation, values, found.design.path)
    row = list(found.scenario.tariff.rates).index(rate)
    billed = found.simulation.billed_kwh[:, row]
    saves = billed[Billed.DEMAND] >= billed[Billed.IMPORT]
    change = dearer.saving - found.valuation.saving
    assert (change[saves] >= -1e-9).all()
    assert (change[~saves] <= 1e-9).all()


@settings(max_examples=40, **QUIET)
@given(factor=st.floats(1.0, 4.0), extra=st.floats(0.0, 2000.0))
def test_a_dearer_purchase_is_worth_less_by_its_price_and_never_pays_back_sooner(found, factor, extra):
    """Worth falls by exactly what is paid more; payback comes no sooner; saving is the same to the bit."""
    price = found.values["purchase.price"]
    values = dict(found.values) | {"purchase.price": price * factor + extra}
    dearer = valuation(found.scenario, found.simulation, values, found.design.path)
    paid = price * factor + extra - price
    np.testing.assert_allclose(found.valuation.net_present_value - dearer.net_present_value, paid, atol=1e-9)
    assert (dearer.payback_years >= found.valuation.payback_years).all()
    np.testing.assert_array_equal(dearer.saving, found.valuation.saving)


@settings(max_examples=100, **QUIET)
@given(
    gains=st.lists(st.floats(0, 1e4), min_size=1, max_size=20),
    cost=st.floats(0, 1e5),
    rates=st.tuples(st.floats(-0.05, 0.5), st.floats(-0.05, 0.5)),
    more=st.floats(0, 100),
)
def test_money_later_is_worth_less_and_more_money_more(gains, cost, rates, more):
    """A higher discount rate never raises the worth of a cost followed by gains; more gain never delays payback."""
    flows = np.array([-cost, *gains])[:, None]
    low, high = sorted(rates)
    assert net_present_value(flows, discount_rate=high) <= net_present_value(flows, discount_rate=low) + 1e-6
    richer = flows.copy()
    richer[1:] += more
    assert simple_payback_years(richer) <= simple_payback_years(flows) + 1e-9


@settings(max_examples=60, **QUIET)
@given(seed=seeds, trends=st.tuples(st.floats(-0.2, 0.3), st.floats(-0.2, 0.3)))
def test_a_steeper_trend_never_gives_a_lower_price(seed, trends):
    """Same luck, higher trend: no year's price is lower."""
    rng = np.random.default_rng(seed)
    noise = {
        "normals": rng.normal(size=(10, 8)),
        "jump_uniforms": rng.random((10, 8)),
        "jump_normals": rng.normal(size=(10, 8)),
    }
    model = {"persistence": 0.4, "spread": 0.1, "jump_chance": 0.2, "jump_mean": 0.3, "jump_spread": 0.1}
    low, high = (price_path(years=10, trend=trend, **model, **noise) for trend in sorted(trends))
    assert (high >= low * (1 - 1e-12)).all()


def figures(read_small, *changes):
    """Return the figures of a result, those about the scenario's own words left out."""
    content = result(assessment(read_small(*changes)))
    return {key: content[key] for key in ("net_present_value", "payback_years", "first_year")}


def test_a_zone_of_another_name_with_the_same_clock_changes_nothing(read_small):
    """London, Dublin (whose winter is the exception by law) and Lisbon show the same time all year: the same bits."""
    plain = figures(read_small)
    for zone in ("Europe/Dublin", "Europe/Lisbon", "GB"):
        assert figures(read_small, f"site.zone={zone}") == plain


def test_the_order_of_surfaces_and_appliances_changes_nothing(read_small, tmp_path):
    """Tables of a scenario may stand in any order: the same bits."""
    from riskcalc.scenario import read_scenario

    small = runpy.run_path(str(Path(__file__).with_name("conftest.py")))["SMALL"]
    turned = small.replace(
        'fridge_freezer = "unit", television = "unit", kettle = "unit", hob = "elsewhere"',
        'hob = "elsewhere", kettle = "unit", television = "unit", fridge_freezer = "unit"',
    )
    assert turned != small
    blocks = turned.split("\n\n")
    path = tmp_path / "small.toml"
    path.write_text("\n\n".join([blocks[0], *reversed(blocks[1:])]), encoding="utf-8")
    moved = result(assessment(read_scenario(path)))
    plain = result(assessment(read_small()))
    assert moved["first_year"]["demand_kwh"] == plain["first_year"]["demand_kwh"]
    for group in ("net_present_value", "first_year"):
        for name, figure in plain[group].items():
            assert moved[group][name]["value"] == pytest.approx(figure["value"], rel=1e-9, abs=1e-9), name


def test_a_leap_year_is_the_same_year(tmp_path):
    """The same hours stamped as 2023, and as 2024 with a wild 29 February in between, are the same pool."""
    from riskcalc.weather.climates import climate

    made = generated_years(climate("thames"), years=2, seed=3)
    light, air, wind = (getattr(made, name)[1] for name in ("ghi", "temp_air", "wind_speed"))
    pools = []
    for year in (2023, 2024):
        hours = np.arange(f"{year}-01-01T00", f"{year + 1}-01-01T00", dtype="datetime64[h]")
        rows = [
            f"{hour}:00Z,{g:.3f},{t:.2f},{w:.2f}"
            for hour, g, t, w in zip(
                [hour for hour in hours.astype(str) if "02-29T" not in hour], light, air, wind, strict=True
            )
        ]
        if year == 2024:
            wild = [f"2024-02-29T{hour:02d}:00Z,{500 if 9 < hour < 15 else 0},40,30" for hour in range(24)]
            rows[59 * 24 : 59 * 24] = wild
        path = tmp_path / f"{year}.csv"
        path.write_text("time,ghi,temp_air,wind_speed\n" + "\n".join(rows), encoding="utf-8")
        pools.append(
            read_csv_years(
                path,
                zone="UTC",
                label="start",
                latitude_deg=made.latitude_deg,
                longitude_deg=made.longitude_deg,
                altitude_m=made.altitude_m,
            )
        )
    for name in ("ghi", "dni", "dhi", "temp_air", "wind_speed"):
        np.testing.assert_array_equal(getattr(pools[0], name), getattr(pools[1], name), err_msg=name)
    assert any("29 February left out" in note for note in pools[1].notes)
