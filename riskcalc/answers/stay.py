"""How long must one stay? Worth as a function of the length of stay, on common draws.

Every option is followed with the household moving once, after n whole years, for a range of n; what the move does to
the kit is what the scenario's [tenure] says. Where the curves of two options cross, the choice between them turns.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import product

import numpy as np

from riskcalc.answers.options import common_design
from riskcalc.answers.question import Entry
from riskcalc.dispatch import Billed, Flow
from riskcalc.money.valuation import valuation
from riskcalc.scenario import Scenario
from riskcalc.scenario.tenure import at_move_of
from riskcalc.study.model import drawn_values, world_of
from riskcalc.types import Floats
from riskcalc.uncertainty.quantity import Fixed
from riskcalc.uncertainty.sampling import Design
from riskcalc.uncertainty.summary import Estimate, estimate, mean
from riskcalc.years.pools import YearsAtHand
from riskcalc.years.simulation import Plant, Simulation, simulate
from riskcalc.years.tenure import Course

#: Lengths of stay that are followed, up to the horizon, which stands for a household that never moves.
STAYS = (1, 2, 3, 5, 7, 10, 15, 20, 25, 30, 40, 50)

#: Enough for a curve on common draws; every length costs as much as a whole assessment of these draws.
MOST_DRAWS = 128
#: A later home is not left again within any horizon.
FOR_GOOD = 100.0


@dataclass(frozen=True)
class StayCurve:
    """Worth of one option by length of stay: `worth` is (stays, draws) for the years in `stays`.

    `at_move`: what happens to the kit at a move, as in the key `tenure.at_move`; None without a kit.
    """

    name: str
    kind: str
    stays: tuple[int, ...]
    worth: Floats
    scrambles: int
    at_move: str | None = None


@dataclass(frozen=True)
class StayPair:
    """Two curves: mean of `first` less `second` by stay, the share of draws in which the first is worth more.

    `break_even_years` is the shortest stay from which on the mean difference keeps its sign, linear between the stays
    followed; None where it has the same sign at every stay.
    """

    first: str
    second: str
    stays: tuple[int, ...]
    difference: tuple[Estimate, ...]
    first_better: tuple[Estimate, ...]
    break_even_years: Estimate
    better_after: str | None
    first_at_move: str | None = None
    second_at_move: str | None = None


def stay_curves(asked: Sequence[Entry], *, on_stay: Callable[[], None] | None = None) -> tuple[StayCurve, ...]:
    """Return the curve of every option with a kit and a [tenure]; none when no option has both."""
    moving = [(entry, _moving(entry.scenario)) for entry in asked if _has_tenure(entry.scenario)]
    if not moving:
        return ()
    random = common_design([scenario for _, scenario in moving])
    at_hand = YearsAtHand()
    return tuple(_curve(entry, scenario, random, at_hand, on_stay) for entry, scenario in moving)


def stays_to_follow(asked: Sequence[Entry]) -> int:
    """Return how many lengths of stay `stay_curves` will follow, over all options."""
    moving = [entry.scenario for entry in asked if _has_tenure(entry.scenario)]
    return sum(len(stays_followed(scenario.study.horizon_years)) for scenario in moving)


def stay_pairs(curves: Sequence[StayCurve]) -> tuple[StayPair, ...]:
    """Return every owning option against every renting one; the owning one is the first."""
    owning, renting = ([curve for curve in curves if curve.kind == kind] for kind in ("own", "rent"))
    return tuple(stay_pair(own, rent) for own, rent in product(owning, renting))


def against_nothing(curve: StayCurve) -> StayPair:
    """Return a curve against doing nothing: the stay from which on it is worth buying."""
    return stay_pair(curve, StayCurve("do nothing", "", curve.stays, np.zeros_like(curve.worth), curve.scrambles))


def stay_pair(first: StayCurve, second: StayCurve) -> StayPair:
    """Return what separates two curves."""
    difference = first.worth - second.worth
    stays = np.array(first.stays, dtype=np.float64)

    def crossing(part: Floats) -> float:
        return break_even(stays, difference[:, part.astype(int)].mean(axis=1))

    draws = np.arange(difference.shape[1], dtype=np.float64)
    at = estimate(draws, crossing, scrambles=first.scrambles)
    last = float(difference[-1].mean())
    return StayPair(
        first.name,
        second.name,
        first.stays,
        tuple(estimate(row, mean, scrambles=first.scrambles) for row in difference),
        tuple(estimate(np.where(row == 0.0, 0.5, row > 0.0), mean, scrambles=first.scrambles) for row in difference),
        at,
        None if at.value is None or last == 0.0 else (first.name if last > 0.0 else second.name),
        first.at_move,
        second.at_move,
    )


def break_even(stays: Floats, difference: Floats) -> float:
    """Return the stay at which a difference (stays,) takes its last sign for good; infinite where it never changes.

    Linear between neighbouring stays. A difference that ends at exactly 0 has no side to come to.
    """
    last = np.sign(difference[-1])
    other = np.flatnonzero(np.sign(difference) != last)
    if last == 0.0 or other.size == 0:
        return float(np.inf)
    before = int(other[-1])
    low, high = difference[before], difference[before + 1]
    return float(stays[before] + (stays[before + 1] - stays[before]) * low / (low - high))


def stays_followed(horizon_years: int) -> tuple[int, ...]:
    """Return the lengths of stay looked at; the last is the horizon: the household does not move within it."""
    return (*(stay for stay in STAYS if stay < horizon_years), horizon_years)


def _curve(
    entry: Entry, scenario: Scenario, random: Design, at_hand: YearsAtHand, on_stay: Callable[[], None] | None
) -> StayCurve:
    assert scenario.tenure is not None
    assert scenario.kit is not None
    values = drawn_values(scenario, random)
    world = world_of(scenario, at_hand)
    years, stays = scenario.study.horizon_years, stays_followed(scenario.study.horizon_years)
    at_move = at_move_of(scenario.tenure, scenario.kit.coupling)
    whole: Simulation | None = None
    worth = []

    def moving_after(stay: float) -> Plant:
        moved = values | {"tenure.stay_years": np.full(random.draws, stay)}
        return Plant(scenario, world.pools, world.plan, moved, random.pool_year)

    for stay in stays:
        plant = moving_after(stay)
        if at_move == "take":
            followed = simulate(plant, years=years)
        else:
            # Until it is handed over the kit runs as if it stayed for good.
            whole = whole or simulate(moving_after(FOR_GOOD), years=years)
            followed = handed_over(whole, plant.course)
        worth.append(valuation(scenario, followed, plant.values, random.path).net_present_value)
        if on_stay is not None:
            on_stay()
    return StayCurve(entry.name, scenario.tenure.kind, stays, np.stack(worth), random.scrambles, at_move)


def handed_over(whole: Simulation, course: Course) -> Simulation:
    """Return a simulation of a kit that stays for good, cut where `course` hands it over at the end of a year.

    After that the home's demand is met as if there were no kit, and nothing that fails is paid for any more. Everything
    that is worth money is cut; flows of energy that are not stay those of the kit that stays.
    """
    held = course.held
    held_next = np.concatenate([held[1:], held[-1:]])
    billed = whole.billed_kwh.copy()
    billed[Billed.IMPORT] = np.where(held, billed[Billed.IMPORT], billed[Billed.DEMAND])
    billed[Billed.EXPORT] = np.where(held, billed[Billed.EXPORT], 0.0)
    yearly = whole.yearly_kwh.copy()
    yearly[Flow.GRID_EXPORT] = np.where(held, yearly[Flow.GRID_EXPORT], 0.0)
    monthly = whole.monthly_import_kwh
    if monthly is not None and whole.monthly_demand_kwh is not None:
        monthly = np.where(held, monthly, whole.monthly_demand_kwh)
    return replace(
        whole,
        billed_kwh=billed,
        yearly_kwh=yearly,
        monthly_import_kwh=monthly,
        hours_carried=np.where(held, whole.hours_carried, 0.0),
        load_carried_w=np.where(held, whole.load_carried_w, 0.0),
        battery_replaced=whole.battery_replaced & held_next,
        electronics_replaced=whole.electronics_replaced & held_next,
        working=whole.working & held,
        course=course,
    )


def _has_tenure(scenario: Scenario) -> bool:
    return scenario.kit is not None and scenario.tenure is not None


def _moving(scenario: Scenario) -> Scenario:
    """Return the scenario with one move at a time that is still open, on fewer draws."""
    assert scenario.tenure is not None
    tenure = scenario.tenure.model_copy(update={"stay_years": Fixed(value=FOR_GOOD), "moving_chance_per_year": None})
    study = scenario.study
    fewer = {"draws": min(study.draws, MOST_DRAWS)}
    return scenario.model_copy(update={"tenure": tenure, "study": study.model_copy(update=fewer)})
