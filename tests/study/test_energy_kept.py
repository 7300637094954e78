"""The energy of futures is simulated once: what it is kept by, and that another price or a shorter horizon reuses it."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
import pytest

from riskcalc.study.draw_blocks import Threads
from riskcalc.study.energy_kept import MONEY, energy_values
from riskcalc.study.model import assessment, design_of, drawn_values, evaluated, world_of
from riskcalc.years.simulation import Plant, Simulation, simulate

SMALL = ("study.draws=32", "study.scrambles=4", "study.pool_years=4", "study.horizon_years=6")
#: Everything that a kit may do, so that every value a simulation may read is read.
RICH = (
    "outages={per_year=3, hours_each=4}", "kit.ageing.failure_chance_per_year=0.1",
    "kit.ageing.electronics_life_years=3",
)  # fmt: skip


class Recorder(dict):
    """Values that remember which of them were asked for."""

    def __init__(self, values):
        super().__init__(values)
        self.read = set()

    def __getitem__(self, key):
        self.read.add(key)
        return super().__getitem__(key)


class Refusing(Threads):
    """Workers that must not be asked for anything."""

    def simulations(self, *arguments, **named):  # noqa: ARG002
        """Refuse."""
        raise AssertionError("simulated again")


def assert_same(one: Simulation, other: Simulation) -> None:
    """Require the same bits in every array, those of the course too."""
    for entry in fields(Simulation):
        left, right = getattr(one, entry.name), getattr(other, entry.name)
        pairs = [(left, right)] if entry.name != "course" else [
            (getattr(left, part.name), getattr(right, part.name)) for part in fields(left)
        ]  # fmt: skip
        for a, b in pairs:
            np.testing.assert_array_equal(a, b, err_msg=entry.name)


#: What is at hand for the changes below, played once.
_AT_HAND = []


def test_every_value_that_a_simulation_reads_decides_its_key(read_small):
    """No value is read that the key leaves out, and money is left out."""
    scenario = read_small(*SMALL, *RICH)
    random, world = design_of(scenario), world_of(scenario)
    values = Recorder(drawn_values(scenario, random))
    simulate(Plant(scenario, world.pools, world.plan, values, random.pool_year), years=6)
    assert values.read
    assert values.read <= set(energy_values(values))
    assert any(key.startswith(MONEY) for key in values)


@pytest.mark.parametrize(
    "change",
    ["purchase.price=77", "tariff.export_price_per_kwh=0.02", "study.horizon_years=4", "prices.trend_per_year=0.01"],
)
def test_money_and_a_shorter_horizon_reuse_the_energy_at_hand(read_small, change):
    """Nothing is simulated again, and every bit is that of a run from the start."""
    if not _AT_HAND:
        _AT_HAND.append(assessment(read_small(*SMALL, *RICH)))
    scenario = read_small(*SMALL, *RICH, change)
    world, random = world_of(scenario), design_of(scenario)
    again = assessment(scenario, workers=Refusing(), world=world)
    assert_same(again.simulation, evaluated(scenario, world, random, drawn_values(scenario, random))[0])


@pytest.mark.parametrize(
    "change", ["kit.battery.capacity_kwh=1.3", "home.annual_use_kwh=2222", "study.seed=2", "study.horizon_years=7"]
)
def test_what_changes_the_energy_is_simulated(read_small, change):
    """Another kit, home, seed or a longer horizon is not taken for what is at hand."""
    assessment(read_small(*SMALL))
    with pytest.raises(AssertionError, match="simulated again"):
        assessment(read_small(*SMALL, change), workers=Refusing())
