"""The compiled loops of demand stay inside their arrays. `.ci/run` runs this file once more with every index checked."""

import runpy
from functools import partial
from itertools import product
from pathlib import Path

import numba
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from riskcalc.clock import local_clock
from riskcalc.demand import spikes, synthesis
from riskcalc.demand.appliances import CAR, appliance_table
from riskcalc.demand.events import appliance_years
from riskcalc.demand.habits import BINS
from riskcalc.demand.runs import runs_of_year
from riskcalc.demand.spikes import metered_days, restored_minutes
from riskcalc.errors import InputError
from riskcalc.scenario import read_scenario
from riskcalc.scenario.schema import bounds_of

reachable_w = runpy.run_path(str(Path(__file__).with_name("pool_watts.py")))["reachable_w"]

UTC = local_clock("Etc/UTC")
DAY = synthesis.MINUTES
GUARD = 4096
#: Set in the run that checks every index.


@numba.njit
def _steady(buffer, start, length, power_w):
    synthesis._add_steady(buffer, start, length, power_w)


@numba.njit
def _shaped(buffer, start, shape):
    synthesis._add_shape(buffer, start, shape)


@numba.njit
def _varied(state, length):
    return synthesis._varied_length(state, length)


@numba.njit
def _start(state, cumulative):
    return synthesis._proposed_start(state, cumulative)


@numba.njit
def _charge(state, usual, moved, cumulative, length, window_start, window_length):
    synthesis._fill_charge(state, usual, moved, cumulative, 1.0, length, 1.0, window_start, window_length)


@numba.njit
def _timer(state, usual, moved, cumulative, session, mean, length, shape, window_start, window_length):
    synthesis._fill_timer_use(
        state, usual, moved, cumulative, session, mean, length, 1.0, shape, window_start, window_length
    )


@numba.njit
def _active(state, buffer, window, cumulative, session, mean, length):
    synthesis._fill_active_use(state, buffer, window, cumulative, session, mean, length, 1.0)


@numba.njit
def _lamps(state, buffer, window, cumulative, dark, mean, length):
    synthesis._fill_lamps(state, buffer, window, cumulative, dark, mean, length, 1.0)


@numba.njit
def _thermostat(state, buffer, day, start, length, mean_off):
    return synthesis._fill_thermostat(state, buffer, day, start, length, 1.0, mean_off)


class Guarded:
    """A day's minutes with memory on both sides that must stay as it is."""

    def __init__(self):
        self.memory = np.full(2 * GUARD + DAY, -1.0, np.float32)
        self.minutes = self.memory[GUARD : GUARD + DAY]
        self.minutes[:] = 0.0

    def total(self):
        """Return the sum over the day, once nothing beside it was touched."""
        assert (self.memory[:GUARD] == -1.0).all()
        assert (self.memory[GUARD + DAY :] == -1.0).all()
        return float(self.minutes.sum(dtype=float))


def _state(seed):
    return np.array([seed], dtype=np.uint64)


def _profile(seed):
    share = np.random.default_rng(seed).random(BINS) ** 8
    return np.cumsum(share / share.sum())


#: Half hours of all kinds: those in which nothing starts, those in which everything does.
SESSION = np.linspace(0.0, 1.0, 48).astype(np.float32)

seeds = st.integers(0, 2**32)
starts = st.integers(-DAY, 2 * DAY)
lengths = st.integers(0, 2 * DAY)
window_lengths = st.integers(0, DAY - 1)


@settings(deadline=None)
@given(start=starts, length=st.integers(0, GUARD))
def test_a_steady_cycle_of_any_length_stays_in_its_day(start, length):
    """Its energy is all there, spread evenly round the clock, however long it is."""
    day = Guarded()
    _steady(day.minutes, start, length, np.float32(1.0))
    assert day.total() == length
    assert day.minutes.max() - day.minutes.min() <= 1.0


@settings(deadline=None)
@given(start=starts, length=st.integers(0, GUARD))
def test_a_shaped_cycle_of_any_length_stays_in_its_day(start, length):
    """As above, for a power by the minute."""
    day = Guarded()
    _shaped(day.minutes, start, np.ones(length, np.float32))
    assert day.total() == length


@settings(deadline=None)
@given(seed=seeds, length=st.integers(1, DAY))
def test_a_varied_length_is_no_longer_than_a_day(seed, length):
    """And its mean over an even spread of random numbers is the length."""
    state = _state(seed)
    found = [_varied(state, length) for _ in range(50)]
    assert min(found) >= length // 2
    assert max(found) <= min(DAY, -(-3 * length // 2) + 1)


def test_the_mean_of_varied_lengths_is_the_length():
    """At 20 h a day too, where half as much again would be more than a day: within four standard errors."""
    for length, half_width in ((600, 300), (960, 480), (1200, 240), (1440, 0)):
        state = _state(length)
        mean = np.mean([_varied(state, length) for _ in range(4000)])
        assert mean == pytest.approx(length, abs=4 * half_width / np.sqrt(3 * 4000) + 1e-9)


@settings(deadline=None)
@given(seed=seeds)
def test_a_proposed_start_is_a_minute_of_the_day(seed):
    """Whatever the profile, also where rounding keeps its sum a hair below 1."""
    cumulative = _profile(seed) * (1.0 - 1e-12)
    state = _state(seed)
    found = [_start(state, cumulative) for _ in range(50)]
    assert 0 <= min(found) <= max(found) < DAY


@settings(deadline=None)
@given(seed=seeds, length=lengths, window_start=st.integers(0, DAY - 1), window_length=window_lengths)
def test_a_charge_has_the_same_energy_at_both_times(seed, length, window_start, window_length):
    """On arrival and in the window, which may be shorter than the charge."""
    usual, moved = Guarded(), Guarded()
    _charge(_state(seed), usual.minutes, moved.minutes, _profile(seed), length, window_start, window_length)
    assert usual.total() == moved.total()
    assert abs(usual.total() - length) <= length / 2 + 1


@settings(deadline=None)
@given(
    seed=seeds,
    mean=st.floats(0.01, 200.0),
    length=st.integers(1, DAY),
    shaped=st.booleans(),
    window_start=st.integers(0, DAY - 1),
    window_length=window_lengths,
)
def test_machine_cycles_have_the_same_energy_at_both_times(seed, mean, length, shaped, window_start, window_length):
    """Also far more cycles than can be kept apart; none of them is lost."""
    usual, moved = Guarded(), Guarded()
    shape = np.ones(length if shaped else 0, np.float32)
    _timer(
        _state(seed), usual.minutes, moved.minutes, _profile(seed), SESSION, mean, length, shape, window_start, window_length
    )  # fmt: skip
    assert usual.total() == moved.total()
    assert usual.total() % length == 0


@settings(deadline=None)
@given(
    seed=seeds,
    mean=st.floats(0.01, 200.0),
    length=st.integers(1, DAY),
    marks=st.lists(st.floats(180.0, 1619.0), min_size=4, max_size=4),
)
def test_use_and_lamps_stay_in_their_day(seed, mean, length, marks):
    """Any hours at home, any number of uses; nothing runs on a day without an hour at home."""
    cumulative, dark = _profile(seed), np.ones(BINS, np.float32)
    up, out, back, bed = sorted(marks)
    for window in (np.array([up, out, back, bed]), np.array([bed, bed, bed, up])):
        use, lamps = Guarded(), Guarded()
        _active(_state(seed), use.minutes, window, cumulative, SESSION, mean, length)
        _lamps(_state(seed), lamps.minutes, window, cumulative, dark, mean, length)
        assert use.total() >= 0.0
        assert lamps.total() >= 0.0
    assert use.total() == (0.0 if up < bed else use.total())


def test_no_use_is_lost_on_a_day_with_more_uses_than_are_kept_apart():
    """Two hundred uses of ten minutes a day, somebody always at home: all but the few before the day's turn run."""
    window, even = np.array([180.0, 900.0, 900.0, 1619.0]), np.linspace(1.0 / BINS, 1.0, BINS)
    totals = []
    for seed in range(40):
        day = Guarded()
        _active(_state(seed), day.minutes, window, even, np.ones(48, np.float32), 200.0, 9)
        totals.append(day.total() / 9.0)
    assert np.mean(totals) == pytest.approx(200.0, rel=0.03)


@settings(deadline=None)
@given(seed=seeds, start=st.floats(-DAY, 2 * DAY), length=st.integers(1, 120), mean_off=st.floats(1.0, 2000.0))
def test_a_thermostat_stays_in_its_day_and_moves_on(seed, start, length, mean_off):
    """The next start never lies so far back that the cycle would have ended before this day did."""
    day = Guarded()
    following = _thermostat(_state(seed), day.minutes, 1, start, length, mean_off)
    assert 0.0 <= day.total() <= DAY
    assert following + length > 2 * DAY - 1


@pytest.fixture
def few_homes(monkeypatch):
    """Make few homes to draw donors from, and forget them afterwards."""
    monkeypatch.setattr(spikes, "HOMES_MADE", spikes.HOMES_TAKEN + 1)
    for kept in (spikes._made_homes, spikes._donors):
        kept.cache_clear()
    yield
    for kept in (spikes._made_homes, spikes._donors):
        kept.cache_clear()


@pytest.mark.usefixtures("few_homes")
@pytest.mark.parametrize("mean_w", [0.0, 300.0, 1e5])
def test_restored_minutes_stay_in_their_intervals(mean_w):
    """Any reading meets donors that exist. Homes are made anew for every use: few of them, for three uses."""
    for interval, seed in product((15, 30, 60), range(3)):
        metered = np.random.default_rng(seed).random((2, DAY // interval)) ** 6
        metered *= mean_w / metered.mean()
        minutes = restored_minutes(metered_days(metered), seed=seed)
        assert np.isfinite(minutes).all()


def corners():
    """Yield every appliance of the table at the corners of what a home may be, and cars at the corners of theirs."""
    everything = {key: row.usually for key, row in appliance_table().items() if key != CAR}
    use, people = bounds_of("home.annual_use_kwh"), bounds_of("home.occupants")
    window = ((0, 1439), (1439, 0), (1410, 330), (0, 0))
    for use_kwh, occupants, home_share, moved in product(use, people, (0.0, 1.0), window):
        yield everything, {
            "annual_use_kwh": use_kwh, "occupants": occupants, "home_share": home_share, "moved_window": moved,
        }  # fmt: skip
    for car_kwh, charger_w, moved in product(
        (*bounds_of("home.car_kwh_per_year"), 3500.0, 4000.0, 4380.0, 5000.0),
        (*bounds_of("home.car_charger_w"), 2300.0),
        window,
    ):
        yield {"kettle": "unit", CAR: "unit"}, {
            "car_kwh_per_year": car_kwh, "car_charger_w": charger_w, "moved_window": moved,
        }  # fmt: skip


def test_every_corner_of_the_keys_is_made_or_refused():
    """Each corner gives finite demand or an error that names the key; a car has the energy that was asked for."""
    refused = 0
    for number, (appliances, given_values) in enumerate(corners()):
        latitude = (-90.0, 90.0)[number % 2]
        make = partial(
            appliance_years, appliances, clock=UTC, years=1, seed=3, step_minutes=60, latitude_deg=latitude, threads=1,
            **given_values,
        )  # fmt: skip
        if given_values.get("car_kwh_per_year", 0.0) > given_values.get("car_charger_w", 0.0) * 8.76:
            refused += 1
            with pytest.raises(InputError, match=r"home\.car_kwh_per_year"):
                make()
            continue
        pool = make()
        watts = reachable_w(pool)
        assert np.isfinite(watts).all()
        assert watts.min() >= 0.0
        if "car" in pool.basis and given_values["car_kwh_per_year"] >= 3500.0:
            kwh = pool.mean_kwh([0.0], [0.0])[pool.basis.index("car"), 0]
            assert kwh == pytest.approx(given_values["car_kwh_per_year"], rel=0.1)
    assert refused > 0


FLAT = Path(__file__).parents[1] / "data" / "flat.toml"


def test_a_car_that_its_charger_cannot_fill_is_refused_when_the_scenario_is_read():
    """5,000 kWh at 500 W would take 27 hours a day; 4,380 kWh is what 500 W give day and night."""
    car = ("home.car_kwh_per_year=5000", "home.car_charger_w=500")
    with pytest.raises(InputError) as caught:
        read_scenario(FLAT, car)
    problem = caught.value.problems[0]
    assert problem.key == "home.car_kwh_per_year"
    assert problem.given == "5,000 kWh a year from a charger of 500 W"
    assert problem.accepted.startswith("at most 4,380 kWh")
    assert read_scenario(FLAT, ("home.car_kwh_per_year=4380", "home.car_charger_w=500")).home.car_charger_w == 500.0


@numba.njit
def _placed(start, length, starts, lengths, count):
    return synthesis._free_start(start, length, starts, lengths, count)


@numba.njit
def _at_home(minute, window):
    return synthesis._stretch(minute, window)


def test_a_cycle_may_end_as_the_next_begins():
    """A cycle of an hour at 10:00: another fits from 09:00 to 10:00 and from 11:00 on, not a minute nearer."""
    starts, lengths = np.array([600]), np.array([60])
    assert _placed(540, 60, starts, lengths, 1) == 540
    assert _placed(541, 60, starts, lengths, 1) == 660
    assert _placed(659, 60, starts, lengths, 1) == 660
    assert _placed(660, 60, starts, lengths, 1) == 660


def test_stretches_at_home_by_hand():
    """Up at 07:00, out from 08:00 to 17:00, to bed at 23:00: each stretch has its first minute and not its last."""
    window = np.array([420.0, 480.0, 1020.0, 1380.0])
    asked = {419: (0, 0), 420: (420, 480), 479: (420, 480), 480: (0, 0), 1019: (0, 0), 1020: (1020, 1380), 1380: (0, 0)}
    assert {minute: _at_home(minute, window) for minute in asked} == asked
    assert _at_home(1379, window) == (1020, 1380)
    assert _at_home(600, np.array([420.0, 480.0, 480.0, 1380.0])) == (420, 1380)


def test_a_steady_load_is_one_run_for_each_slot():
    """Two minutes of one power never make two runs; a change makes one."""
    minutes = np.full((1, 60), 100.0, np.float32)
    minutes[0, 40:] = 101.0
    found = runs_of_year(minutes, slot_minutes=30, step_minutes=1)
    assert found.minutes.tolist() == [30, 10, 20]
    assert found.watts[:, 0].tolist() == [100.0, 100.0, 101.0]


def test_a_spike_keeps_its_height_where_the_meter_saw_enough():
    """Three minutes of 2,000 W make 200 W: at 300 W all minutes rise by 100, at 100 W nothing but half the spike is left."""
    donor = np.zeros((1, 30), np.float32)
    donor[0, 4:7] = 2000.0
    mean_w = np.array([[300.0, 100.0] * 24])
    days = spikes.MeteredDays(
        mean_w, np.zeros((1, 48)), np.zeros((1, 48), bool), np.zeros((1, 48, spikes.NEIGHBOURS), int), donor
    )
    found = restored_minutes(days, seed=1).reshape(48, 30)
    assert found[0] == pytest.approx(np.where(donor[0] > 0.0, 2100.0, 100.0))
    assert found[1] == pytest.approx(np.where(donor[0] > 0.0, 1000.0, 0.0))
