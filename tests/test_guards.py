"""Guards at their edges: the last value that is taken and the first that is refused, for every guard of the rooms below.

A guard that refuses one value too many stops a home that exists; one too few lets nonsense into the draws. Other tests
hold what a guard says; this one holds where it stands.
"""

from __future__ import annotations

from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from riskcalc.clock import local_clock
from riskcalc.demand.appliances import CAR, appliance_table
from riskcalc.demand.events import appliance_years
from riskcalc.demand.loads import car_load
from riskcalc.demand.meter import MeteredYear
from riskcalc.demand.pool import DemandPool
from riskcalc.dispatch import ChargeByNeed, DispatchInputs, SlotPlan, UsualDay
from riskcalc.dispatch.kernel import rows
from riskcalc.dispatch.kernel.books import count_overload
from riskcalc.dispatch.kernel.lanes import lane_groups
from riskcalc.dispatch.need import MOST_KINDS
from riskcalc.dispatch.plan import MOST_RATES
from riskcalc.errors import InputError
from riskcalc.money.flows import cash_flows, loan_flows
from riskcalc.money.measures import crossing_years, dominates, internal_rate_of_return, single_present_value
from riskcalc.money.price_history import drawn_growth, growth_statistics
from riskcalc.money.prices import correlated_normals, price_path
from riskcalc.tariff import slot_minutes, slots_in_windows, window_minutes
from riskcalc.uncertainty.factor_model import enough_draws, varies
from riskcalc.uncertainty.indices import check_outcome, check_points
from riskcalc.weather.plane import horizon_elevation
from riskcalc.weather.solar import HOURS as HOURS_IN_YEAR
from riskcalc.weather.within_hour import LEAST_COSINE, STEPS, _MovingSun


def plan(**changes: Any) -> SlotPlan:
    """Return a plan of one day of hours."""
    hours = np.arange(24)
    return SlotPlan(
        **{"slot_minutes": 60, "month": hours * 0, "day": hours * 0, "start_minute": 60 * hours, "rate": hours // 12}
        | changes
    )


def inputs(**changes: Any) -> DispatchInputs:
    """Return the inputs of one day of hours, a run in each."""
    given: dict[str, Any] = {
        "solar_w": np.zeros((1, 1, 24)), "run_w": np.zeros((24, 3)), "run_minutes": np.full(24, 60),
        "first_run": np.arange(25)[None], "wired_w": np.zeros((1, 3, 24)), "input_of_plane": [0],
        "rank_row": [-1, 0, 1], "rank_below": [True] * 3, "scale_row": [0, 1, 2],
        "day_rank": np.zeros((1, 2, 365)), "charge_allowed": np.ones((1, 365)),
    }  # fmt: skip
    return DispatchInputs(**given | changes)


def bases(count: int) -> DispatchInputs:
    """Return inputs with so many streams of demand."""
    alike = dict.fromkeys(("rank_row", "rank_below", "scale_row"), [0] * count)
    return inputs(run_w=np.zeros((24, count)), wired_w=np.zeros((1, count, 24)), **alike)


def need(kinds: int = 2, *, kind: Any = None, light: Any = None, wide: int | None = None) -> ChargeByNeed:
    """Return a rule of some kinds of day for a day of hours."""
    usual = UsualDay(*(np.ones((1, kinds if wide is None else wide)) for _ in range(4)))
    kind = np.arange(24) % kinds if kind is None else kind
    return ChargeByNeed(kind, np.zeros(24) if light is None else light, usual, 1.0, 1.0, np.zeros(kinds))


def demand(**changes: Any) -> DemandPool:
    """Return a year of demand of nothing, an hour a run."""
    given: dict[str, Any] = {
        "run_w": np.zeros((8760, 1), np.float32), "run_minutes": np.full(8760, 60, np.uint8),
        "first_run": np.arange(8761)[None], "wired_w": np.zeros((1, 1, 8760), np.float32), "basis": ("all",),
        "rank_row": np.array([-1]), "rank_below": np.array([True]), "scale_row": np.array([0]),
        "day_rank": np.full((1, 2, 365), -1.0), "step_minutes": 1, "slot_day": np.repeat(np.arange(365), 24), "source": "",
    }  # fmt: skip
    return DemandPool(**given | changes)


def path(**changes: Any) -> np.ndarray:
    """Return a price path of three years in two draws."""
    noise = np.zeros((3, 2))
    given: dict[str, Any] = {
        "years": 3, "trend": 0.0, "persistence": 0.0, "spread": 0.0, "jump_chance": 0.0, "jump_mean": 0.1,
        "jump_spread": 0.0, "jump_fall_share": 0.0, "jump_fade_share": 0.0, "normals": noise, "jump_uniforms": noise + 0.5,
        "jump_normals": noise,
    }  # fmt: skip
    return price_path(**given | changes)


def of_hours(value: float) -> np.ndarray:
    """Return a day of hours that all have one value."""
    return np.full(24, value)


CLOCK = local_clock("Etc/UTC", slot_minutes=60)
HOURS = np.full(8760, 60, np.uint8)
FLOWS = np.array([[-2.0, 0.0], [1.0, 0.0]])
RUNS = np.arange(25)[None]
GAP = np.array([0, *range(2, 25), 24])[None]
#: What is guarded -> how it is called with one value, values that are taken, values that are refused.
GUARDS: dict[str, tuple[Callable[[Any], Any], tuple[Any, ...], tuple[Any, ...]]] = {
    "month": (lambda v: plan(month=of_hours(v)), (0, 11), (-1, 12)),
    "day": (lambda v: plan(day=of_hours(v)), (0, 364), (-1, 365)),
    "start": (lambda v: plan(start_minute=of_hours(v)), (0, 525_599), (-1, 525_600)),
    "rate": (lambda v: plan(rate=of_hours(v)), (0, MOST_RATES - 1), (-1, MOST_RATES)),
    "rates": (lambda v: plan(rates=v), (0, 2, 3), (1,)),
    "weight": (lambda v: plan(rate_weight=of_hours(v)), (-5.0, 5.0), (np.nan,)),
    "lag": (lambda v: plan(lag_minutes=v), (0.0, 1.0), (-0.01, 1.01)),
    **{
        f"plan: {name}": (lambda v, name=name: plan(**{name: of_hours(v)}), (0, 1), (-1, 2))
        for name in ("discharge_on", "inverter_on", "grid_charge_on", "export_stored_on")
    },
    **{
        f"plan: {name}": (lambda v, name=name: plan(**{name: of_hours(v)}), (0.0, 1.0), (-0.01, 1.01))
        for name in ("target_share", "reserve_share", "export_stored_above_share", "output_share")
    },
    "rows of targets": (lambda v: plan(target_share=np.ones(v)), (24, (1, 24), (3, 24)), (23, (0, 24), (1, 1, 24), (2, 23))),
    "rows of a plan": (lambda v: plan(month=np.zeros(v)), (24,), ((1, 24),)),
    "need of a plan": (lambda v: plan(need=need(kind=np.zeros(v), light=np.zeros(v))), (24,), (23, 25)),
    "kinds of day": (need, (1, MOST_KINDS), (MOST_KINDS + 1,)),
    "kind of day": (lambda v: need(2, kind=of_hours(v)), (0, 1), (-1, 2)),
    "usual days": (lambda v: need(2, wide=v), (2,), (1, 3)),
    "light": (lambda v: need(2, light=v), (of_hours(0), np.zeros((2, 24))), (np.zeros(23), of_hours(np.inf))),
    "rank row": (lambda v: inputs(rank_row=[v] * 3), (-1, 1), (-2, 2)),
    "scale row": (lambda v: inputs(scale_row=[v] * 3), (0, 3), (-1, 4)),
    "run": (lambda v: inputs(run_minutes=of_hours(v)), (1, 60), (0,)),
    "runs of a slot": (lambda v: inputs(first_run=v), (RUNS,), (GAP, RUNS - 1, RUNS + 1)),
    "bases": (bases, (1, 4), (0,)),
    "demand of a year": (lambda v: demand(run_minutes=HOURS + v), (0,), (np.eye(1, 8760, dtype=np.uint8)[0],)),
    "steps of a slot": (
        lambda v: appliance_years({"kettle": "unit"}, clock=CLOCK, years=1, seed=1, step_minutes=v), (1, 60), (7, 120)
    ),
    "car": (
        lambda v: car_load(appliance_table()[CAR], in_reach=True, kwh_per_year=v, charger_w=1000.0, years=1),
        (0.5, 8760.0), (8761.0,),
    ),
    "saving": (lambda v: cash_flows(np.zeros(v), purchase_price=1.0), ((1, 1), (0, 1)), (3, (1, 1, 1))),
    "term": (lambda v: loan_flows(1.0, loan_rate=0.1, term_years=v, years=3, draws=2), (1, [1, 5]), (0, 1.5, [1, 0], [2.5, 1])),
    "rate above -1": (lambda v: single_present_value(v, 1.0), (-0.99, 0.0), (-1.0, np.nan, [0.0, -1.0])),
    "balance": (lambda v: crossing_years(FLOWS + v), (0.0,), (np.nan, np.inf)),
    "flows": (lambda v: internal_rate_of_return(FLOWS + v), (0.0,), (np.nan, [0.0, np.inf])),
    "order": (lambda v: dominates(FLOWS[0], FLOWS[1], order=v), (0, 1, 2), (-1, 3)),
    "alike": (lambda v: dominates(np.zeros(v), np.zeros(v), order=1), (3,), ((3, 1),)),
    "unlike": (lambda v: dominates(np.zeros(3), np.zeros(v), order=1), (3,), (2,)),
    "years of prices": (lambda v: growth_statistics(np.arange(1.0, v)), (5,), (4,)),
    "prices above nothing": (lambda v: growth_statistics([1.0, 2.0, 3.0, v]), (1e-9,), (0.0, -1.0)),
    "persistence": (lambda v: path(persistence=v), (-0.99, 0.99), (-1.0, 1.0, [0.0, 1.0])),
    "noise": (lambda v: path(jump_normals=np.zeros(v)), ((3, 2),), ((2, 2), 3)),
    "correlation": (lambda v: correlated_normals([0.0], [1.0], correlation=v), (-1.0, 1.0), (-1.01, 1.01, [0.0, 2.0])),
    "window": (
        window_minutes,
        ("00:00-24:00", "23:55-00:00", "00:00-00:05", "23:00-07:00", "12:00-24:00"),
        ("07:00", "24:00-07:00", "07:00-24:05", "07:60-08:00", "07:02-08:00", "07:00-08:02", "07:00-07:00", 7),
    ),
    "day of a week": (
        lambda v: slots_in_windows(None, CLOCK, days=v),
        ("all", "weekdays", "Friday", ["monday"]), ("noday", [], ["monday", "x"]),
    ),
    "month of a rate": (lambda v: slots_in_windows(None, CLOCK, months=v), ([1, 12], [], None), ([0], [13], [1, 13])),
    "points": (check_points, (2, 4, 1024), (0, 1, 3, 1023)),
    "outcome": (
        lambda v: check_outcome(np.array(v)),
        ([0.0, 1.0], [1.0, 1.0 + 1e-11]), ([1.0, 1.0 + 1e-13], [0.0, np.inf], [[0.0, 1.0]]),
    ),
    "skyline": (lambda v: horizon_elevation(np.array([10.0]), [(0.0, v), (90.0, 3.0)]), (0.0, 90.0), (-0.1, 90.1)),
}  # fmt: skip


@pytest.mark.parametrize("name", GUARDS)
def test_a_guard_stands_where_it_should(name: str) -> None:
    """What lies on the edge is taken, what lies beyond is refused."""
    call, taken, refused = GUARDS[name]
    for value in taken:
        call(value)
    for value in refused:
        with pytest.raises((ValueError, InputError)):
            call(value)


def test_a_plan_says_nothing_by_default() -> None:
    """Left out: bills not weighted, cells serve, inverter on and whole, the grid charges nothing, nothing kept or sold."""
    found = plan()
    ones = (found.rate_weight, found.discharge_on, found.inverter_on, found.target_share, found.output_share)
    none = (found.grid_charge_on, found.reserve_share, found.export_stored_on, found.export_stored_above_share)
    assert all((values == 1).all() for values in ones)
    assert all((values == 0).all() for values in none)
    assert (found.rates, found.lag_minutes, found.need) == (2, 0.0, None)
    assert (inputs().sun_minutes, inputs().step_minutes) == (60, 1)


def test_a_stretch_ends_where_month_rate_or_weight_change() -> None:
    """By hand: rates change after hour 11, the month after 5, the weight after 20, and the day ends."""
    found = plan(month=(np.arange(24) > 5).astype(int), rate_weight=1.0 + (np.arange(24) > 20))
    assert np.flatnonzero(found.stretch_ends).tolist() == [5, 11, 20, 23]


def test_the_longest_slot_that_fits_every_window() -> None:
    """Windows on full hours, halves, quarters and five minutes; nothing asked for leaves an hour."""
    windows = ("07:00-08:00", "07:30-08:00", "07:00-07:45", "07:00-07:05")
    assert [slot_minutes([window]) for window in windows] == [60, 30, 15, 5]
    assert slot_minutes([]) == 60
    assert slot_minutes([], zone="Australia/Lord_Howe") == 30


def test_how_many_draws_and_years_are_enough() -> None:
    """Four draws for a constant, and for a line and a bend of each input; three growths that are not all alike."""
    assert enough_draws(3, draws=28)
    assert not enough_draws(3, draws=27)
    assert drawn_growth(np.exp(np.array([[0.0], [1.0], [3.0], [4.0]]))) is not None
    assert drawn_growth(np.exp(np.array([[0.0], [1.0], [3.0]]))) is None
    # A steady rise: its logarithms differ by rounding, which is no spread and has no correlation.
    assert drawn_growth(2.0 ** np.arange(5.0)[:, None]) is None
    assert growth_statistics(2.0 ** np.arange(5.0)).lag1 is None
    assert varies(np.array([1e6, 1e6 + 1e-5]))
    assert not varies(np.array([1e6, 1e6 + 1e-7]))
    assert not varies(np.array([1e-3, 1e-3 + 1e-13]))


def doubted(power_w: np.ndarray, year_kwh: float = 100.0, annual_use_kwh: float | None = None) -> list[str]:
    """Return what is asked about a meter file of days of hours with these powers."""
    read = SimpleNamespace(power_w=power_w, interval_minutes=60, line=np.ones(power_w.shape, dtype=int))
    metered = SimpleNamespace(days=SimpleNamespace(power_w=power_w), read=read, year_kwh=year_kwh)
    return [key for key, *_ in MeteredYear.doubts(metered, annual_use_kwh)]  # type: ignore[arg-type]


def test_doubts_of_a_meter_begin_beyond_what_is_usual() -> None:
    """43 kW, three days of nothing and nearly a tenth more than the file holds are not asked about; five times are taken."""
    flat = np.full((10, 24), 500.0)
    peak, idle = flat.copy(), flat.copy()
    peak[3, 4], idle.ravel()[30:102] = 43_000.0, 0.0
    assert doubted(flat) == doubted(peak) == doubted(idle) == []
    peak[3, 4], idle[4, 6] = 43_001.0, 0.0
    assert doubted(peak) == doubted(idle) == ["home.demand.file"]
    assert doubted(flat, 1000.0, 1000.0) == doubted(flat, 1000.0, 1099.0) == doubted(flat, 1000.0, 901.0) == []
    for annual in (1101.0, 899.0, 5000.0, 200.0):
        assert doubted(flat, 1000.0, annual) == ["home.annual_use_kwh"]
    for annual in (5001.0, 199.0):
        with pytest.raises(InputError):
            doubted(flat, 1000.0, annual)


def test_a_load_at_the_rating_is_no_overload() -> None:
    """The counter of minutes by hand: 800 W on 800 W is carried, 801 W for five minutes is not, whole or in excess."""
    for excess_only, refused in ((0.0, 801.0), (1.0, 1.0)):
        work = np.zeros(rows.workspace_size(1))
        work[rows.DURATIONS] = 5.0
        work[rows.RATING : rows.RATING + rows.LANES] = work[rows.RATING_SLACK : rows.RATING_SLACK + rows.LANES] = 800.0
        work[rows.LOADS : rows.LOADS + 2] = 800.0, 801.0
        getattr(count_overload, "py_func", count_overload)(rows.LANES, 1, work, excess_only)
        assert work[rows.OVERLOAD_MINUTES : rows.OVERLOAD_MINUTES + 2].tolist() == [0.0, 5.0]
        assert work[rows.OVERLOAD_ENERGY : rows.OVERLOAD_ENERGY + 2].tolist() == [0.0, 5.0 * refused]


def test_groups_of_lanes_hold_draws_of_one_year_and_kind() -> None:
    """By hand: years 2, 0, 1, 2 with the second draw's kit absent give a group for each year, and one for the absent."""
    draws, years, lanes = lane_groups(np.array([2, 0, 1, 2, 1]), np.array([False, True, False, False, True]))
    assert years.tolist() == [0, 1, 1, 2]
    assert draws[:, :2].tolist() == [[1, 1], [2, 2], [4, 4], [0, 3]]
    assert (lanes >= np.array([1, 1, 1, 2])).all()
    full = lane_groups(np.zeros(2 * rows.LANES + 1, dtype=int), np.zeros(2 * rows.LANES + 1, dtype=bool))
    assert full[0][:2].ravel().tolist() == list(range(2 * rows.LANES))
    assert (full[0][2] == 2 * rows.LANES).all()
    assert full[2].tolist() == [rows.LANES, rows.LANES, rows.VECTOR]


def test_the_sun_is_well_up_above_the_least_cosine_only() -> None:
    """Hours whose steps all stand at the least cosine, above it, or one at it; the third hour of a list follows no other."""
    steps = HOURS_IN_YEAR * STEPS
    cosine = np.full(steps, 0.5)
    cosine[10 * STEPS : 11 * STEPS] = LEAST_COSINE
    cosine[12 * STEPS] = LEAST_COSINE
    sun: Any = SimpleNamespace(
        lit_share=np.ones(steps), cos_zenith=cosine, altitude_m=0.0, zenith_deg=np.full(steps, 60.0),
        extraterrestrial_w=np.full(steps, 1361.0),
    )  # fmt: skip
    found = _MovingSun.of(sun, np.array([10, 11, 12, 20]))
    assert found.up.tolist() == [False, True, False, True]
    assert found.follows.tolist() == [False, True, True, False]


def test_what_is_always_on_is_scaled_however_little_it_is() -> None:
    """By hand: 0.1 W used and 0.05 W always on are 0.876 and 0.438 kWh; twice the base leaves half of the rest."""
    two = demand(
        run_w=np.tile(np.array([[0.1, 0.05]], np.float32), (8760, 1)), wired_w=np.zeros((1, 2, 8760), np.float32),
        basis=("use", "base"), rank_row=np.array([-1, -1]), rank_below=np.array([True, True]), scale_row=np.array([0, 2]),
    )  # fmt: skip
    household, base, _ = two.household_scales([1.314], 0.5, 0.5, [2.0])
    assert household == pytest.approx([0.5], rel=1e-6)
    assert base == pytest.approx([2.0], rel=1e-6)
