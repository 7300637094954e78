"""Pool years made of appliance events."""

import runpy
from pathlib import Path

import numpy as np
import pytest

from riskcalc.clock import DAYS, local_clock, wall_minute_of_step
from riskcalc.demand.appliances import CAR, appliance_table
from riskcalc.demand.chance import poisson, uniform
from riskcalc.demand.events import appliance_years
from riskcalc.demand.runs import ALIKE_SHARE, ALIKE_W
from riskcalc.errors import InputError

reachable_w = runpy.run_path(str(Path(__file__).with_name("pool_watts.py")))["reachable_w"]

UTC = local_clock("Etc/UTC")
LONDON = local_clock("Europe/London")
HOME = {
    "fridge_freezer": "unit", "television": "unit", "kettle": "unit", "lighting": "elsewhere", "oven": "elsewhere",
    "washing_machine": "unit", "tumble_dryer": "elsewhere", "heating_pump": "elsewhere", "router_standby": "unit",
}  # fmt: skip


def _stream(pool, name):
    return pool.basis.index(name)


@pytest.mark.parametrize("key", [key for key in appliance_table() if key != CAR])
def test_every_appliance_uses_its_published_energy(key: str):
    """Mean energy of 12 pool years is the table's (2.36 people, 40 % of weekdays at home) within 4 standard errors.

    The number of cycles is Poisson with varied lengths (variance 1 + 1/12 of the mean); thermostats hardly vary at all.
    """
    row = appliance_table()[key]
    pool = appliance_years({key: row.usually}, clock=UTC, years=12, seed=3, step_minutes=60, occupants=2.36)
    kwh = pool.mean_kwh([0.4], [0.0]).sum()
    cycles = max(12.0 * row.cycles_per_year, 1.0)
    varying = row.kwh_per_year - row.standby_w * 8.76
    tolerance = 4.0 * varying * np.sqrt((1.0 + 1.0 / 12.0) / cycles) + 0.002 * row.kwh_per_year
    assert kwh == pytest.approx(row.kwh_per_year, abs=tolerance)


def test_same_seed_same_demand_on_any_number_of_threads():
    """Two runs with one and three threads are equal to the bit; another seed is not."""
    one = appliance_years(HOME, clock=LONDON, years=3, seed=11, threads=1)
    three = appliance_years(HOME, clock=LONDON, years=3, seed=11, threads=3)
    other = appliance_years(HOME, clock=LONDON, years=3, seed=12)
    assert np.array_equal(reachable_w(one), reachable_w(three))
    assert np.array_equal(one.wired_w, three.wired_w)
    assert np.array_equal(one.day_rank, three.day_rank)
    assert not np.array_equal(reachable_w(one), reachable_w(other))


def test_a_longer_pool_starts_with_the_shorter_one():
    """Year k does not depend on how many years follow."""
    short = appliance_years(HOME, clock=UTC, years=1, seed=4, step_minutes=5)
    long = appliance_years(HOME, clock=UTC, years=3, seed=4, step_minutes=5)
    assert np.array_equal(reachable_w(short)[0], reachable_w(long)[0])
    assert np.array_equal(short.day_rank[0], long.day_rank[0])


def test_moving_an_appliance_out_of_reach_moves_nothing_else():
    """Kettle out of reach: its minutes leave the reachable part, every other minute stays, the total too."""
    near = appliance_years(HOME, clock=UTC, years=1, seed=5, step_minutes=1)
    far = appliance_years(HOME | {"kettle": "elsewhere"}, clock=UTC, years=1, seed=5, step_minutes=1)
    moved = reachable_w(near).astype(float) - reachable_w(far)
    standby = appliance_table()["kettle"].standby_w
    kettle = appliance_table()["kettle"].mean_cycle_power_w - standby
    always = _stream(near, "always")
    assert moved[0, always] == pytest.approx(standby, abs=1e-3)
    at_home = np.delete(moved[0], always, axis=0)
    assert np.isin(np.round(at_home), [0.0, kettle]).all()
    total_near = near.mean_kwh([0.3], [0.2]).sum()
    assert far.mean_kwh([0.3], [0.2]).sum() == pytest.approx(total_near, rel=1e-6)


def test_adding_an_appliance_leaves_the_others():
    """A hi-fi more: the streams less the hi-fi are what they were."""
    without = appliance_years({"television": "unit"}, clock=UTC, years=1, seed=6)
    both = appliance_years({"television": "unit", "hi_fi": "unit"}, clock=UTC, years=1, seed=6)
    alone = appliance_years({"hi_fi": "unit"}, clock=UTC, years=1, seed=6)
    np.testing.assert_allclose(reachable_w(both), reachable_w(without) + reachable_w(alone), rtol=1e-6, atol=1e-3)


def test_a_kettle_is_on_or_off():
    """At one minute a kettle draws 2000 W or its standby, in whole cycles of 3 minutes: nothing is blended or cut."""
    pool = appliance_years({"kettle": "unit"}, clock=UTC, years=2, seed=7)
    home = reachable_w(pool)[:, _stream(pool, "home_day")]
    assert set(np.unique(home)) == {np.float32(0.0), np.float32(1999.0)}
    assert (home > 0).sum() % 3 == 0


def test_small_loads_used_at_home_have_streams_of_their_own():
    """A television of 121 W and lamps of 40 W are small, a kettle and an oven are not; standby and a freezer stay apart."""
    homes = {
        "television": {"home_small", "away_small"}, "lighting": {"home_small", "away_small"},
        "kettle": {"home_day", "away_day"}, "oven": {"home_day", "away_day"}, "chest_freezer": set(),
    }  # fmt: skip
    for key, streams in homes.items():
        pool = appliance_years({key: "unit"}, clock=UTC, years=1, seed=7, step_minutes=60)
        assert set(pool.basis) - {"always"} == streams
    both = appliance_years({"television": "unit", "kettle": "unit"}, clock=UTC, years=1, seed=7)
    watts = reachable_w(both)[0]
    assert set(np.unique(watts[_stream(both, "home_day")])) == {np.float32(0.0), np.float32(1999.0)}
    assert set(np.unique(watts[_stream(both, "home_small")])) == {np.float32(0.0), np.float32(121.0)}


def test_coarser_steps_keep_energy_and_peaks_in_fewer_runs():
    """Every step of 30 minutes has the mean of its 30 minutes and their highest power, to the fiftieth that counts as alike."""
    fine = appliance_years(HOME, clock=LONDON, years=1, seed=8)
    coarse = appliance_years(HOME, clock=LONDON, years=1, seed=8, step_minutes=30)
    means = reachable_w(fine).reshape(*reachable_w(coarse).shape, 30).mean(axis=3)
    np.testing.assert_allclose(reachable_w(coarse), means, rtol=1e-6, atol=0.02)
    peaks = [np.stack([pool.minutes_w(0)]).reshape(*means.shape, 30).max(axis=3) for pool in (fine, coarse)]
    assert np.all(np.abs(peaks[1] - peaks[0]) <= np.maximum(ALIKE_W, ALIKE_SHARE * peaks[0]))
    assert len(coarse.run_minutes) < len(fine.run_minutes)


def test_weekends_belong_to_the_home_stream():
    """The away stream is empty on weekends and the home rank is -1 there; weekdays have both patterns."""
    pool = appliance_years({"television": "unit"}, clock=UTC, years=1, seed=9, step_minutes=60)
    by_day = pool.reachable_day_kwh[0] + pool.wired_day_kwh[0]
    weekend = (np.arange(DAYS) + UTC.weekday[0]) % 7 >= 5
    assert (by_day[_stream(pool, "away_small"), weekend] == 0.0).all()
    assert (pool.day_rank[0, 0, weekend] == -1.0).all()
    assert (pool.day_rank[0, 0, ~weekend] >= 0.0).all()
    assert (pool.day_rank[0, 1] >= 0.0).all()


def test_nobody_uses_the_house_while_all_are_out():
    """On a day out the noon use of television is under 5 % of a day at home's; the evening is busier than that noon."""
    pool = appliance_years({"television": "unit"}, clock=UTC, years=8, seed=10, step_minutes=60)
    hourly = reachable_w(pool).reshape(8, len(pool.basis), DAYS, 24)
    weekday = pool.day_rank[0, 0] >= 0.0
    home = hourly[:, _stream(pool, "home_small")][:, weekday].mean(axis=(0, 1))
    away = hourly[:, _stream(pool, "away_small")][:, weekday].mean(axis=(0, 1))
    assert away[12] < 0.05 * home[12]
    assert away[20] > 5.0 * away[12]


def test_movable_use_fills_the_window_when_moved():
    """Washing moved to 10:00-15:00 draws nothing before; what three cycles a day push past 17:30 is under 0.5 %."""
    pool = appliance_years({"washing_machine": "unit"}, clock=UTC, years=4, seed=12, step_minutes=30)
    moved = reachable_w(pool)[:, _stream(pool, "movable_moved")].reshape(4, DAYS, 48)
    usual = reachable_w(pool)[:, _stream(pool, "movable_usual")].reshape(4, DAYS, 48)
    assert moved[:, :, :20].max() == 0.0
    assert moved[:, :, 35:].sum() < 0.005 * moved.sum()
    assert usual[:, :, 36:42].sum() > 0.05 * usual.sum()
    assert moved.sum() == pytest.approx(usual.sum(), rel=1e-5)


def test_a_window_round_midnight_stays_in_its_day():
    """Moved to 23:30-05:30 the washing runs at night (99 %: some days have four loads); each day keeps its energy."""
    pool = appliance_years(
        {"washing_machine": "unit"}, clock=UTC, years=2, seed=13, step_minutes=30, moved_window=(1410, 330)
    )
    moved = reachable_w(pool)[:, _stream(pool, "movable_moved")].reshape(2, DAYS, 48)
    assert moved[:, :, 17:47].sum() < 0.01 * moved.sum()
    usual = reachable_w(pool)[:, _stream(pool, "movable_usual")].reshape(2, DAYS, 48)
    assert moved.sum(axis=2) == pytest.approx(usual.sum(axis=2), rel=1e-4, abs=1e-3)


def test_machines_run_one_cycle_at_a_time():
    """A dryer of 2500 W never draws 5000 W, moved or not, even in a home that dries four times as often."""
    pool = appliance_years({"tumble_dryer": "unit"}, clock=UTC, years=4, seed=14, annual_use_kwh=1200.0)
    assert reachable_w(pool).max() == pytest.approx(2499.0)


def test_events_follow_the_wall_clock_through_summer_time():
    """Breakfast toast keeps its mean hour on the wall clock within 15 minutes, summer time or not.

    On the standard-time axis it must then come an hour earlier in summer.
    """
    pool = appliance_years({"toaster": "unit"}, clock=LONDON, years=24, seed=15, step_minutes=30)
    watts = reachable_w(pool)[:, _stream(pool, "home_day")].astype(float).sum(axis=0)
    wall_hour = wall_minute_of_step(LONDON, step_minutes=30) % 1440 / 60.0
    standard_hour = np.arange(watts.size) % 48 / 2.0
    summer = np.repeat(LONDON.shift_minutes > 0, 2)
    mean = [np.average(hour[s], weights=watts[s]) for hour in (wall_hour, standard_hour) for s in (summer, ~summer)]
    assert mean[0] == pytest.approx(mean[1], abs=0.25)
    assert mean[2] - mean[3] == pytest.approx(-1.0, abs=0.25)


def test_seasons():
    """Lamps and heating pump work harder in January than in July, the freezer less; in the south the reverse."""
    for latitude, winter, summer in ((52.0, slice(0, 31), slice(181, 212)), (-38.0, slice(181, 212), slice(0, 31))):
        for key in ("lighting", "heating_pump", "fridge_freezer"):
            pool = appliance_years({key: "unit"}, clock=UTC, years=2, seed=16, step_minutes=60, latitude_deg=latitude)
            kwh = pool.reachable_day_kwh.sum(axis=(0, 1))
            cold, warm = kwh[winter].sum(), kwh[summer].sum()
            assert cold < 0.95 * warm if key == "fridge_freezer" else cold > 1.2 * warm, (key, latitude)


def test_car_energy_and_scale_row():
    """2000 kWh a year from a 2.3 kW charger within 4 %, in streams of their own that the household scale leaves."""
    pool = appliance_years(
        {"kettle": "unit", "car": "unit"}, clock=UTC, years=16, seed=17, step_minutes=60, car_kwh_per_year=2000.0
    )
    kwh = pool.mean_kwh([0.4], [0.0])[:, 0]
    assert kwh[_stream(pool, "car")] == pytest.approx(2000.0, rel=0.04)
    assert pool.mean_kwh([0.4], [1.0])[_stream(pool, "car_moved"), 0] == pytest.approx(2000.0, rel=0.04)
    assert reachable_w(pool)[:, _stream(pool, "car")].max() == pytest.approx(2300.0)
    household = pool.scale_row != 1
    scale, _, _ = pool.household_scales([1000.0], [0.4], [0.0])
    assert scale[0] * kwh[household].sum() == pytest.approx(1000.0)


def test_car_is_out_of_reach_unless_listed():
    """A car that is not among the appliances charges from a socket of the house, not of the kit."""
    pool = appliance_years({"kettle": "unit"}, clock=UTC, years=1, seed=18, step_minutes=60, car_kwh_per_year=1500.0)
    assert reachable_w(pool)[0, _stream(pool, "car")].max() == 0.0
    assert pool.wired_w[0, _stream(pool, "car")].max() > 1000.0


@pytest.mark.parametrize("use", [2000.0, 3500.0, 5000.0])
def test_annual_use_changes_how_often_not_how_strong(use: float):
    """A home of 2000 or 5000 kWh is reached by frequency: scale within 3 % of 1, kettle minutes still of 2000 W."""
    pool = appliance_years(HOME, clock=UTC, years=8, seed=19, step_minutes=5, annual_use_kwh=use)
    assert pool.household_scales([use], [0.4], [0.0])[0][0] == pytest.approx(1.0, abs=0.03)
    kettle = appliance_years({"kettle": "unit"}, clock=UTC, years=1, seed=19, annual_use_kwh=150.0)
    assert reachable_w(kettle).max() == pytest.approx(1999.0)


def test_what_is_always_on_is_taken_off_before_use_is_stretched():
    """A kettle brought to 1.2 times its published energy beside a freezer that stays as it is."""
    table = appliance_table()
    home = {"kettle": "unit", "chest_freezer": "unit"}
    use = table["chest_freezer"].kwh_per_year + 1.2 * table["kettle"].kwh_per_year
    pool = appliance_years(home, clock=UTC, years=1, seed=1, step_minutes=60, occupants=2.36, annual_use_kwh=use)
    factor = float(pool.notes[0].removeprefix("frequency of use is ").partition(" ")[0])
    assert factor == pytest.approx(1.2, abs=0.02)


@pytest.mark.published
@pytest.mark.parametrize("use", [2000.0, 4000.0])
def test_a_fifth_of_the_year_has_no_name(use: float, record_property):
    """819 of some 4,000 kWh a year have no name in the survey; where a home lists them, steady watts carry them."""
    home = dict.fromkeys(HOME, "elsewhere") | {"other_always_on": "unit"}
    pool = appliance_years(home, clock=UTC, years=8, seed=21, step_minutes=60, annual_use_kwh=use)
    watts = reachable_w(pool)
    assert np.ptp(watts[:, _stream(pool, "always")]) == 0.0
    share = 8.76 * float(watts[0].sum(axis=0).mean()) / use
    record_property(
        "published", ("share of a year without a name", "Household Electricity Survey 2010-11", 819 / 4000, share)
    )
    assert share == pytest.approx(819 / 4000, abs=0.01)
    assert pool.mean_kwh([0.4], [0.0]).sum() == pytest.approx(use, rel=0.03)


def test_an_annual_use_out_of_proportion_is_noted():
    """9000 kWh from a kettle cannot come from habits: the note says that power is scaled."""
    pool = appliance_years({"kettle": "unit"}, clock=UTC, years=1, seed=20, step_minutes=60, annual_use_kwh=9000.0)
    assert "check the list of appliances" in pool.notes[0]


def test_streams_that_would_be_empty_are_dropped():
    """A freezer alone needs one stream; no movable appliance, no movable streams."""
    assert appliance_years({"chest_freezer": "unit"}, clock=UTC, years=1, seed=1, step_minutes=60).basis == ("always",)
    assert "movable_usual" not in appliance_years({"kettle": "unit"}, clock=UTC, years=1, seed=1, step_minutes=60).basis


def test_a_home_without_appliances_has_no_demand():
    """An empty list is a home that draws nothing, not an error of ours."""
    pool = appliance_years({}, clock=UTC, years=1, seed=1, step_minutes=60)
    assert reachable_w(pool).sum() == 0.0


def test_unknown_appliance_is_refused():
    """The error names the key and the nearest known appliance."""
    with pytest.raises(InputError, match="did you mean dishwasher"):
        appliance_years({"dish_washer": "unit"}, clock=UTC, years=1, seed=1)


def test_step_must_divide_the_slot():
    """60-minute slots cannot hold steps of 7 minutes."""
    with pytest.raises(ValueError, match="step_minutes: 7"):
        appliance_years({"kettle": "unit"}, clock=UTC, years=1, seed=1, step_minutes=7)


def test_random_numbers_are_splitmix64():
    """The first numbers of SplitMix64 from state 0 as in its authors' reference code (values from memory)."""
    state = np.zeros(1, np.uint64)
    first, second = (int(uniform(state) * 2.0**53) for _ in range(2))
    assert first == 0xE220A8397B1DCDAF >> 11
    assert second == 0x6E789E6AA1B965F4 >> 11


def test_event_counts_are_poisson():
    """Mean and variance of 20,000 counts of mean 4 agree with 4 within five standard errors (0.07 and 0.22)."""
    state = np.array([12345], dtype=np.uint64)
    counts = np.array([poisson(state, 4.0) for _ in range(20_000)])
    assert counts.mean() == pytest.approx(4.0, abs=0.07)
    assert counts.var() == pytest.approx(4.0, abs=0.22)


def test_a_thermostat_gives_like_days_like_heat():
    """A tank of 1,203 cycles a year heats three or four times a day, never once or seven times by chance."""
    pool = appliance_years({"tank_water_heater": "unit"}, clock=UTC, years=1, seed=5, occupants=2.36, step_minutes=1)
    watts = reachable_w(pool)[0, _stream(pool, "always")].reshape(DAYS, 1440)
    cycles = watts.sum(axis=1) / (4500.0 * 30.0)
    assert set(cycles.tolist()) == {3.0, 4.0}
    assert cycles.sum() == pytest.approx(1203, rel=0.03)


def test_a_thermostat_may_be_running_as_the_year_begins():
    """In the first five minutes of 64 years a freezer takes about its yearly mean: some of its cycles began the year before."""
    pool = appliance_years({"chest_freezer": "unit"}, clock=UTC, years=64, seed=7, step_minutes=5)
    watts = reachable_w(pool)[:, 0]
    assert watts[:, 0].mean() == pytest.approx(watts.mean(), rel=0.4)
