"""Energy held back for the dearest rate: where it is held, and that it is free again afterwards."""

import numpy as np
import pytest

from riskcalc.answers.trace import traced_year
from riskcalc.study.model import assessment
from riskcalc.years import schedule
from riskcalc.years.schedule import clock_of, hold_back_slots, slot_plan

DEAR = "tariff.rates.evening={import_price_per_kwh=0.45, windows=['16:00-19:00']}".replace("'", '"')
THREE = (
    "tariff.rates.day.import_price_per_kwh=0.28",
    "tariff.rates.night.import_price_per_kwh=0.10",
    DEAR,
    "study.draws=8",
    "study.horizon_years=1",
)


def held_minutes(scenario):
    """Return the wall-clock minutes at which slots are held, of a day in the middle of January."""
    clock = clock_of(scenario)
    held = hold_back_slots(scenario, slot_plan(scenario, clock).rate)
    return np.sort(clock.minute[held & (clock.day == 16)]), held, clock


def test_it_is_held_from_charging_to_the_dear_window(read_small):
    """Charged until 07:30, dear from 16:00 to 19:00: held from 07:30 to 16:00 of every day and at no other time."""
    minutes, held, clock = held_minutes(read_small(*THREE))
    assert (minutes[0], minutes[-1] + clock.slot_minutes) == (7 * 60 + 30, 16 * 60)
    assert len(minutes) * clock.slot_minutes == 8.5 * 60
    assert np.array_equal(held, (clock.minute >= 450) & (clock.minute < 960))


def test_without_charging_it_is_free_until_midnight(read_small):
    """No charging from the supply: held from midnight to 16:00, free after 19:00."""
    minutes, _, clock = held_minutes(read_small(*THREE, "dispatch.charge_at=[]"))
    assert (minutes[0], minutes[-1] + clock.slot_minutes) == (0, 16 * 60)
    assert len(minutes) * clock.slot_minutes == 16 * 60


@pytest.mark.parametrize("share", [0.25, 0.5, 0.75])
def test_what_was_held_is_used_before_the_next_charging(read_small, share):
    """The bill is no higher than with nothing held: less bought at 0.45, and no more is left in the cells by night."""
    plain, holding = (
        assessment(read_small(*THREE, f"dispatch.hold_back_share={held}")).valuation.bill_with[0]
        for held in (0.0, share)
    )
    assert np.all(holding < plain)


def test_release_beats_nothing_held_beats_what_is_never_released(read_small, monkeypatch):
    """Half held back at 0.10/0.28/0.45 saves most with release, less with nothing held, least if held all the time.

    Without release the cells keep their half from the end of the dear window to the next charging, and buy at 0.28.
    """

    def saving(share):
        return assessment(read_small(*THREE, f"dispatch.hold_back_share={share}")).valuation.saving[0].mean()

    released, nothing_held = saving(0.5), saving(0.0)

    def held_at_all_cheaper_rates(scenario, rate):
        rates = list(scenario.tariff.rates)
        return (rate != rates.index("evening")) & ~np.isin(
            rate, [rates.index(name) for name in scenario.dispatch.charge_at]
        )

    monkeypatch.setattr(schedule, "hold_back_slots", held_at_all_cheaper_rates)
    never_released = saving(0.5)
    assert released > nothing_held > never_released > 0


@pytest.mark.parametrize("coupling", ["sockets", "plug_in"])
def test_nothing_is_given_before_the_reserve_is_reached(read_small, coupling):
    """A reserve of half of the cells, empty at first: what they hold rises to the reserve and never falls below it."""
    scenario = read_small(
        f'kit.coupling="{coupling}"', "dispatch.reserve_share=0.5", "dispatch.charge_at=[]", "study.draws=8"
    )
    year = traced_year(scenario, draw=0, year=1)
    stored, given = year["battery_stored_wh"], year["battery_discharge_w"]
    reserve = 500.0 * scenario.kit.battery.capacity_kwh.value
    reached = int(np.argmax(stored >= reserve * (1 - 1e-9)))
    assert reached > 24
    assert given[:reached].max() == 0.0
    assert stored[reached:].min() >= reserve * (1 - 1e-9)
    assert given[reached:].max() > 0.0
