"""The one place that knows the order: scenario, draws, pools, years, money."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from functools import partial
from threading import Thread
from typing import Any

import numpy as np
from numpy.typing import NDArray

from riskcalc.clock import LocalClock
from riskcalc.dispatch import SlotPlan
from riskcalc.money.valuation import Valuation, valuation
from riskcalc.scenario import Scenario
from riskcalc.study.draw_blocks import Threads, Workers, divided, values_of, year_counter
from riskcalc.study.energy_kept import MOST_DRAWS, simulations_kept
from riskcalc.study.optimised import SEARCH_DRAWS, Optimised, optimised_plan, to_be_found
from riskcalc.types import Floats, Values
from riskcalc.uncertainty.draw_axis import Whole, of_draws
from riskcalc.uncertainty.sampling import Design, columns_together, design, draws_run, unit_cube
from riskcalc.years.bridging import SAMPLED_DRAWS
from riskcalc.years.failures import failure_keys
from riskcalc.years.planes import check_fit, scenario_fit
from riskcalc.years.pools import Pools, YearsAtHand, pools
from riskcalc.years.schedule import clock_of, slot_plan
from riskcalc.years.simulation import Plant, Simulation, outage_scale
from riskcalc.years.store import user_store
from riskcalc.years.tenure import tenure_keys
from riskcalc.years.warm_up import start_warm_up

#: Told of a block of draws: which they are, their values, energy and money.
OnBlock = Callable[[slice, Values, Simulation, Valuation], None]


@dataclass(frozen=True)
class World:
    """What a scenario fixes once: its clock, its plan of the year and its pools; `optimised` is what was found for the plan."""

    clock: LocalClock
    plan: SlotPlan
    pools: Pools
    optimised: Optimised | None = None


@dataclass(frozen=True)
class Assessment:
    """A scenario, the futures drawn for it and what became of each.

    `values` maps the dotted key of every quantity, uncertain or not, to its value in each draw, shape (draws,); the
    chances of `luck_keys` stand beside them as points in (0, 1). `kept` holds what has been worked out of it once; it starts
    empty in every copy with other arrays.
    """

    scenario: Scenario
    design: Design
    values: Values
    world: World
    simulation: Simulation
    valuation: Valuation
    kept: dict[str, Any] = field(default_factory=dict, init=False, repr=False, compare=False)

    @property
    def draws(self) -> int:
        """Number of draws."""
        return self.design.draws


def assessment(
    scenario: Scenario,
    *,
    on_year: Callable[[int], None] | None = None,
    workers: Workers | None = None,
    on_block: OnBlock | None = None,
    meanwhile: Callable[[], object] | None = None,
    world: World | None = None,
) -> Assessment:
    """Draw the scenario's futures and follow each through the horizon; `on_year` hears of each year that is done.

    `workers` do the simulating: the threads of this process unless others are given, with the same bits. `on_block` is
    handed each block of draws as it is done: which they are, their values, energy and money. `meanwhile` is called once
    beside the simulation, which leaves the interpreter's lock free most of the time. A `world` at hand is not built again.

    Raises
    ------
    InputError
        Whatever is wrong with the scenario or a file that it names, or modules that the kit's inputs cannot take.
    """
    start_warm_up(scenario)
    with ThreadPoolExecutor(1) as beside:
        building = beside.submit(lambda: world or world_of(scenario))
        random = design_of(scenario)
        values = drawn_values(scenario, random)
        world = building.result()
    check_fit(scenario, scenario_fit(scenario, world.pools.weather))
    if meanwhile is not None:
        Thread(target=meanwhile, name="riskcalc meanwhile").start()
    simulation, money = evaluated(
        scenario, world, random, values, on_year=on_year, workers=workers, on_block=on_block, keep=True
    )
    return Assessment(scenario, random, values, world, simulation, money)


def evaluated(
    scenario: Scenario,
    world: World,
    random: Design,
    values: Values,
    *,
    on_year: Callable[[int], None] | None = None,
    workers: Workers | None = None,
    on_block: OnBlock | None = None,
    keep: bool = False,
) -> tuple[Simulation, Valuation]:
    """Return what becomes of the draws of any design, not only the one of `design_of`, in a world at hand.

    With `keep` the energy is looked for in the user's store, and put there.
    """
    workers = workers or Threads()
    simulations, valuations = Whole(random.draws), Whole(random.draws)
    blocks = divided(values, random.pool_year, block_draws=workers.block_draws(random.draws))
    count = year_counter(on_year, draws=random.draws)
    simulated = workers.simulations
    if keep and random.draws <= MOST_DRAWS:
        simulated = partial(simulations_kept, user_store(), workers)
    for which, simulation in simulated(scenario, world.pools, world.plan, blocks, on_draw_years=count):
        part = values_of(values, which)
        money = valuation(scenario, simulation, part, of_draws(random.path, which))
        if on_block is not None:
            on_block(which, part, simulation, money)
        simulations.put(which, simulation)
        valuations.put(which, money)
    return simulations.all_draws(), valuations.all_draws()


def doubled(
    found: Assessment, *, on_year: Callable[[int], None] | None = None, workers: Workers | None = None
) -> Assessment:
    """Return the assessment of twice the draws; those at hand, the first half of each scramble, are not run again.

    The result is that of a run of as many draws from the start, to the last bit.
    """
    scenario = found.scenario.with_draws(2 * found.draws)
    random = design_of(scenario)
    values = drawn_values(scenario, random)
    of_scramble = np.arange(random.draws).reshape(random.scrambles, 2, -1)
    at_hand, new = of_scramble[:, 0].ravel(), of_scramble[:, 1].ravel()
    simulation, money = evaluated(
        scenario, found.world, part_of_design(random, new), values_of(values, new), on_year=on_year, workers=workers,
        keep=True,
    )  # fmt: skip
    simulations, valuations = Whole(random.draws), Whole(random.draws)
    for which, part, worth in ((at_hand, found.simulation, found.valuation), (new, simulation, money)):
        simulations.put(which, part)
        valuations.put(which, worth)
    return replace(
        found,
        scenario=scenario,
        design=random,
        values=values,
        simulation=simulations.all_draws(),
        valuation=valuations.all_draws(),
    )


def world_of(scenario: Scenario, at_hand: YearsAtHand | None = None) -> World:
    """Return clock, plan and pools: the same whatever is drawn.

    `at_hand` keeps the years of one scenario for the next that meets the same ones.
    """
    clock = clock_of(scenario)
    plan, built = slot_plan(scenario, clock), pools(scenario, clock, at_hand)
    # Sums that all draws share, worked out here, where this runs beside the drawing.
    built.demand.mean_kwh(0.5, 0.5)
    optimised = None
    if to_be_found(scenario) is not None:
        plant = _first_draws(scenario, built, plan, SEARCH_DRAWS)
        plan, optimised = optimised_plan(scenario, clock, built, plant)
    if scenario.outages is not None:
        built = built.with_outage_scale(outage_scale(_first_draws(scenario, built, plan, SAMPLED_DRAWS)))
    return World(clock, plan, built, optimised)


def _first_draws(scenario: Scenario, built: Pools, plan: SlotPlan, draws: int) -> Plant:
    """Return the plant of the first draws of each scramble: the same ones however many follow."""
    few = design_of(scenario.with_draws(draws))
    return Plant(scenario, built, plan, drawn_values(scenario, few), few.pool_year)


def design_of(scenario: Scenario) -> Design:
    """Return the random numbers of a scenario."""
    study = scenario.study
    return design(
        random_keys(scenario),
        draws=draws_run(study.draws, scrambles=study.scrambles),
        years=study.horizon_years,
        pool_years=study.pool_years,
        seed=study.seed,
        scrambles=study.scrambles,
        columns=tuple(scenario.quantities()),
        correlations=scenario.correlation_of(),
        cube=kept_cube,
    )


def kept_cube(columns: Sequence[int], *, draws: int, scrambles: int, seed: int) -> Floats:
    """Return the points of `unit_cube`, from disk if they are there: to make them scipy's statistics must be read, a second.

    All columns that are made together are kept, some 4 MB for 1,024 draws, so that fixing an input finds them too. Beyond
    `MOST_DRAWS` they are made anew.
    """
    if draws > MOST_DRAWS:
        return unit_cube(columns, draws=draws, scrambles=scrambles, seed=seed)
    together = columns_together(columns)

    def made() -> dict[str, Any]:
        return {"points": unit_cube(together, draws=draws, scrambles=scrambles, seed=seed)}

    kept = user_store().kept("points", repr((together, draws, scrambles, seed)), made)
    return np.array(kept["points"][list(columns)])


def random_keys(scenario: Scenario) -> tuple[str, ...]:
    """Return all that is drawn once per draw: the uncertain inputs and the chances of moves, refusals and failures."""
    return (*scenario.uncertain(), *luck_keys(scenario))


def luck_keys(scenario: Scenario) -> tuple[str, ...]:
    """Return the chances that no input of the scenario describes: a point in (0, 1) per draw each."""
    return (*tenure_keys(scenario), *failure_keys(scenario))


def drawn_values(scenario: Scenario, random: Design) -> dict[str, Floats]:
    """Return the value of every quantity in every draw and the point of every chance, shape (draws,) each."""
    values = {
        key: quantity.quantile(random.unit[key])
        if key in random.unit
        # One number for all draws, which takes the memory of one.
        else np.broadcast_to(quantity.quantile(0.5), (random.draws,))
        for key, quantity in scenario.quantities().items()
    }
    return values | {key: random.unit[key] for key in luck_keys(scenario)}


def part_of_design(random: Design, draws: NDArray[np.int64]) -> Design:
    """Return the random numbers of some draws only: what replays a single future."""
    return replace(
        random,
        unit={key: points[draws] for key, points in random.unit.items()},
        path=of_draws(random.path, draws),
        pool_year=random.pool_year[:, draws],
    )
