"""Perfect foresight as a bound: worked by hand, never beaten by the kit's rule, and without flows the kit does not have."""

import json
import runpy
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from riskcalc.answers.foresight import first_year_gap, gap
from riskcalc.cli import app
from riskcalc.coupling import Coupling
from riskcalc.dispatch import Param, trace_year
from riskcalc.dispatch.twin import StepKit
from riskcalc.scenario import read_scenario
from riskcalc.study.foresight_hourly import at_slots, year_ahead
from riskcalc.study.foresight_programme import YearAhead, foreseen
from riskcalc.study.model import assessment, design_of, drawn_values, part_of_design, world_of
from riskcalc.years.simulation import Plant, YearRequest

SCENARIOS = sorted((Path(__file__).parents[2] / "scenarios").glob("*.toml"))
random_case = runpy.run_path(str(Path(__file__).parents[1] / "dispatch/dispatch_cases.py"))["random_case"]

#: A kit that loses nothing and is limited by its 1 kWh alone.
IDEAL = StepKit(
    capacity_wh=1000.0, floor_wh=0.0, charge_w=5000.0, discharge_w=5000.0, charge_efficiency=1.0,
    discharge_efficiency=1.0, solar_efficiency=1.0, inverter_rating_w=5000.0, idle_w=0.0, standby_w=0.0,
    loss_linear=1.0, loss_quadratic=0.0, charger_w=5000.0, charger_efficiency=1.0, socket_limit_w=np.inf,
    export_limit_w=np.inf,
)  # fmt: skip


def ahead(coupling, kit, *, load, sun=0.0, buy=0.2, sell=0.0, **changes):
    """Return hours known beforehand, each figure a number or a list of hours."""
    rows = np.broadcast_arrays(*(np.asarray(figure, float) for figure in (load, sun, buy, sell)))
    load_w, input_w, import_price, export_price = (np.atleast_1d(row).copy() for row in rows)
    hours = len(load_w)
    return replace(
        YearAhead(
            coupling=coupling, hours=1.0, kit=kit, load_w=load_w, wired_w=np.zeros(hours), input_w=input_w,
            import_price=import_price, export_price=export_price, charge_allowed=np.ones(hours),
            inverter_on=np.ones(hours, bool), charges_from_grid=True, exports_stored=np.zeros(hours, bool), start_wh=0.0,
            least_end_wh=0.0,
        ),
        **changes,
    )  # fmt: skip


@pytest.mark.parametrize("coupling", ["sockets", "whole_home"])
def test_two_hours_by_hand(coupling):
    """A cheap hour, then a dear one: 500 W takes (500 + 20) / 0.8 Wh from the cells, / 0.9 at the charger, at 0.10."""
    kit = IDEAL._replace(idle_w=20.0, discharge_efficiency=0.8, charger_efficiency=0.9)
    found = foreseen(ahead(coupling, kit, load=[0, 500], buy=[0.10, 0.30]))
    assert found.bill == pytest.approx(0.10 * 520 / 0.8 / 0.9 / 1000)
    assert found.stored_wh == pytest.approx([650, 0], abs=1e-6)
    # Cells left half full at the end take 1/2 kWh more; wired demand is paid for and nothing else.
    assert foreseen(
        ahead(coupling, kit, load=[0, 250], buy=[0.10, 0.30], least_end_wh=500.0, wired_w=np.array([100.0, 0.0]))
    ).bill == pytest.approx(0.10 * ((270 / 0.8 + 500) / 0.9 + 100) / 1000)
    # Without the charger the dear hour is bought.
    assert foreseen(
        ahead(coupling, kit, load=[0, 500], buy=[0.10, 0.30], charges_from_grid=False)
    ).bill == pytest.approx(0.15)


def test_quadratic_losses_by_hand():
    """b L^2 counts: 1000 W at a = 1.02 and b = 1e-5 takes 1030 W; off grid what is not carried is paid for."""
    kit = IDEAL._replace(capacity_wh=10000.0, loss_linear=1.02, loss_quadratic=1e-5)
    for coupling in ("sockets", "whole_home"):
        found = foreseen(ahead(coupling, kit, load=[0, 1000], buy=[0.1, 0.3]))
        assert found.bill == pytest.approx(0.103), coupling
    found = foreseen(ahead("off_grid", kit, load=1000.0, sun=515.0, buy=1.0, charges_from_grid=False))
    # Half of the load for the whole hour (1.02 x 500 + 2.5 W) beats all of it for half the hour (515 W).
    assert 0.4976 - 1e-3 < found.bill < 0.5


def test_sockets_give_all_or_nothing():
    """A load above the rating stays on the grid whole; while the charger runs the unit carries nothing."""
    kit = IDEAL._replace(inverter_rating_w=800.0)
    assert foreseen(ahead("sockets", kit, load=[0, 900], buy=[0.1, 0.3])).bill == pytest.approx(0.27)
    busy = foreseen(ahead("sockets", IDEAL._replace(charger_w=1000.0), load=[400, 1000], buy=[0.1, 0.3]))
    assert busy.bill == pytest.approx(0.1 * 1.4), "one hour at 1 kW fills the cells; the load of 400 W passes by"


def test_import_never_runs_straight_to_export():
    """Export at five times the price of import earns nothing by itself: neither past the loads nor through the cells."""
    assert foreseen(ahead("whole_home", IDEAL, load=[0, 0], buy=0.1, sell=0.5)).bill == pytest.approx(0.0, abs=1e-9)
    # The sun serves the load; exporting it and buying for the load would earn 0.5 x 0.4 - 0.1 x 0.4 instead.
    assert foreseen(ahead("whole_home", IDEAL, load=400.0, sun=400.0, buy=0.1, sell=0.5)).bill == pytest.approx(0.0)
    some = foreseen(ahead("whole_home", IDEAL, load=400.0, sun=300.0, buy=0.1, sell=0.5, charges_from_grid=False))
    assert some.bill == pytest.approx(0.1 * 0.1), "sun that does not cover the load is not sold either"
    # A surplus of 600 W is sold, and no more than that, whatever is charged.
    sunny = ahead("whole_home", IDEAL, load=400.0, sun=1000.0, buy=0.1, sell=0.5)
    found = foreseen(sunny)
    assert found.bill == pytest.approx(-0.5 * 0.6)
    room = np.minimum(sunny.kit.inverter_rating_w - sunny.load_w, 600.0)
    assert (found.grid_to_cells_w / 5000.0 + found.export_w / room <= 1.0 + 1e-9).all()


def test_stored_energy_is_exported_only_with_the_key():
    """Filled at 0.10 and sold at 0.50 an hour later only if the scenario lets the cells feed the grid."""
    night = ahead("whole_home", IDEAL, load=0.0, buy=[0.1, 0.1], sell=[0.0, 0.5])
    assert foreseen(night).bill == pytest.approx(0.0, abs=1e-9)
    assert foreseen(replace(night, exports_stored=np.ones(2, bool))).bill == pytest.approx(0.1 - 0.5)
    # Not in one and the same hour: the cells give what they held at its beginning.
    one_hour = ahead("whole_home", IDEAL, load=0.0, buy=[0.1], sell=[0.5], exports_stored=np.ones(1, bool))
    assert foreseen(one_hour).bill == pytest.approx(0.0, abs=1e-9)


def test_the_scenario_says_whether_stored_energy_is_exported(read_small):
    """Bought at night and sold at ten times that by day: with the key foresight earns, and the rule, else neither does."""
    changes = [
        'tariff.rates.night.windows=["00:00-07:00"]', "study.step_minutes=60", 'kit.coupling="whole_home"',
        "tariff.rates.night.import_price_per_kwh=0.05", "tariff.export_price_per_kwh=0.5",
    ]  # fmt: skip

    def least_bill(*more):
        scenario = read_small(*changes, *more)
        world, random = world_of(scenario), design_of(scenario)
        values = {key: of_all[:1] for key, of_all in drawn_values(scenario, random).items()}
        found = gap(Plant(scenario, world.pools, world.plan, values, part_of_design(random, np.array([0])).pool_year))
        assert found.of_optimum[0] <= found.of_rule[0] + 1e-6
        return np.array([found.of_optimum[0], found.of_rule[0]])

    closed = least_bill()
    assert read_small(*changes).dispatch == read_small(*changes, "dispatch.export_stored_at=[]").dispatch
    assert (least_bill('dispatch.export_stored_at=["day"]') < closed - 10.0).all()


@pytest.mark.parametrize("coupling", Coupling)
@settings(max_examples=40, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
@given(seed=st.integers(0, 2**32 - 1), sell=st.floats(0.0, 0.6))
def test_no_rule_beats_it(coupling, seed, sell):
    """Random kits, days and plans: the bill of the kit's own rule is never below that of the programme."""
    inputs, plan, params, arguments = random_case(seed, days=2, draws=1, minutes=0)
    inputs = at_slots(inputs)
    rng = np.random.default_rng(seed)
    buy = rng.choice([0.05, 0.15, 0.3, 0.5], plan.slots)
    request = YearRequest(coupling, inputs, plan, params, **arguments)
    flows = trace_year(
        coupling, inputs, plan, params[:, 0], use_numba=False,
        **{name: array[..., 0] for name, array in arguments.items()},
    )  # fmt: skip
    bill = float(buy @ (flows["grid_import_w"] + flows["unmet_w"]) - sell * flows["grid_export_w"].sum()) / 1000.0
    floor = max(params[Param.FLOOR_WH, 0], plan.reserve_share.min() * params[Param.CAPACITY_WH, 0])
    best = foreseen(
        year_ahead(
            request,
            0,
            import_price=buy,
            export_price=np.full(plan.slots, sell),
            floor_wh=min(floor, params[Param.CAPACITY_WH, 0]),
            least_end_wh=float(flows["battery_stored_wh"][-1]),
        )
    )
    assert best.bill <= bill + 1e-6


@pytest.mark.parametrize("path", SCENARIOS, ids=lambda path: path.stem)
def test_shipped_scenarios_stay_above_it(path):
    """In a year of every shipped scenario the rule saves something with its cells, and less than foresight would."""
    changes = ["study.pool_years=1", "study.draws=8", "study.step_minutes=60"]
    shipped = read_scenario(path)
    # Hours instead of half hours: half the programme.
    night = '["00:00-07:00"]'
    changes += [f"tariff.rates.{name}.windows={night}" for name, rate in shipped.tariff.rates.items() if rate.windows]
    changes += [f"dispatch.off_hours={night}"] if shipped.dispatch.off_hours else []
    scenario = read_scenario(path, changes)
    world, random = world_of(scenario), design_of(scenario)
    values = {key: of_all[:1] for key, of_all in drawn_values(scenario, random).items()}
    found = gap(Plant(scenario, world.pools, world.plan, values, part_of_design(random, np.array([0])).pool_year))
    assert (found.of_optimum <= found.of_rule + 1e-6).all()
    assert 0.3 < found.taken_share < 1.0


def test_assess_says_it_where_asked(small_file, tmp_path):
    """`--foresight` puts the share into result.json, page and screen, and `replay` finds the same figures again."""
    hours = ["--set", 'tariff.rates.night.windows=["00:00-07:00"]', "--set", "study.scrambles=2", "--draws", "8"]
    arguments = ["assess", str(small_file), "--out", str(tmp_path / "out"), "--step", "60", *hours]
    told = CliRunner().invoke(app, [*arguments, "--foresight"])
    assert told.exit_code == 0, told.output
    assert "of what it could if the future were known" in told.output
    result = json.loads((tmp_path / "out/result.json").read_text(encoding="utf-8"))
    seen = result["foresight"]
    assert (seen["draws"], seen["step_minutes"]) == (2, 60)
    rule, best = seen["saved_by_rule"]["value"], seen["saved_with_foresight"]["value"]
    assert seen["taken_share"]["value"] == pytest.approx(rule / best)
    assert 0.0 < rule < best
    page = (tmp_path / "out/report.html").read_text(encoding="utf-8")
    assert "How well the battery is run" in page
    assert "--foresight" in page
    again = CliRunner().invoke(app, ["replay", str(tmp_path / "out/result.json")])
    assert again.exit_code == 0, again.output


def test_refused_futures_are_not_looked_at(read_small):
    """With half refused, the year of each scramble is that of its first bought draw: the share a kit with its modules takes."""
    hours = 'tariff.rates.night.windows=["00:00-07:00"]', "study.step_minutes=60", "study.scrambles=2", "study.draws=8"
    refused = assessment(
        read_small(*hours, "study.pool_years=2", 'tenure={kind="rent", permission_refused_chance=0.5}')
    )
    bought = refused.simulation.course.bought.reshape(2, 4)
    assert 0 < bought.sum() < 8
    granted = assessment(read_small(*hours, "study.pool_years=2", 'tenure={kind="rent"}'))
    chosen = np.array([4 * part + row.argmax() for part, row in enumerate(bought) if row.any()])
    values = {key: drawn[chosen] for key, drawn in granted.values.items()}
    pool_year = refused.design.pool_year[:, chosen]
    want = gap(Plant(granted.scenario, granted.world.pools, granted.world.plan, values, pool_year))
    got = first_year_gap(refused)
    assert got.of_rule == pytest.approx(want.of_rule, rel=1e-12)
    assert got.taken_share == pytest.approx(want.taken_share, rel=1e-9)
