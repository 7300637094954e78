"""When the electronics fail, what a warranty takes over, and what that leaves to pay."""

from __future__ import annotations

import numpy as np

from riskcalc.scenario import Scenario
from riskcalc.types import Flags, Floats, Values
from riskcalc.years.tenure import geometric_years

#: The chance behind the first random failure after the warranty; a replacement may fail again, up to FAILURES_FOLLOWED.
FAILURE_LUCK = "kit.ageing.luck_failure"
FAILURES_FOLLOWED = 3


def failure_keys(scenario: Scenario) -> tuple[str, ...]:
    """Return the names of the chances behind random failures, each a dimension of the scenario's design."""
    kit = scenario.kit
    if kit is None or kit.ageing.failure_chance_per_year.support[1] <= 0.0:
        return ()
    followed = FAILURES_FOLLOWED if when_worn(scenario) == "replace" else 1
    return tuple(_key(number) for number in range(1, followed + 1))


def is_later_failure(key: str) -> bool:
    """Return whether a key is the chance of a second failure or a later one."""
    return key.startswith(f"{FAILURE_LUCK}_")


def when_worn(scenario: Scenario) -> str:
    """Return what the household does with what has failed; without a purchase there is nothing to do."""
    return "keep" if scenario.purchase is None else scenario.purchase.when_worn


def warranty_years(scenario: Scenario, values: Values, *, draws: int) -> Floats:
    """Return the years in which a failure costs nothing, (draws,)."""
    return np.zeros(draws) if scenario.purchase is None else values["purchase.warranty_years"]


def electronics_course(scenario: Scenario, values: Values, *, years: int, draws: int) -> tuple[Flags, Flags]:
    """Return (electronics work in the year, a replacement is paid at its end), both (years, draws).

    Electronics that live L years fail in the year that holds L, 2 L, ...; besides, they may fail at the end of any
    year by `failure_chance_per_year`. What fails within the warranty is replaced free of charge and nothing is lost. After it
    a failure is paid for where the scenario says replace; elsewhere it ends the kit. Nothing is replaced in the last
    year: nobody pays for what no year will use. The two causes are independent: a replacement after a random failure
    does not restart the clock of wear. Limiting case: no chance and no warranty leave the multiples of L.
    """
    kit = scenario.kit
    working = np.ones((years, draws), dtype=bool)
    replaced = np.zeros((years, draws), dtype=bool)
    if kit is None:
        return working, replaced
    covered = warranty_years(scenario, values, draws=draws)
    replaces = when_worn(scenario) == "replace"
    if kit.ageing.electronics_life_years is not None:
        life = values["kit.ageing.electronics_life_years"]
        # Lives used up after the warranty: those that end within it are not paid for and end nothing.
        lives_used = np.floor(np.maximum(np.arange(years + 1)[:, None], covered) / life) - np.floor(covered / life)
        if replaces:
            replaced |= np.diff(lives_used, axis=0) > 0
        else:
            working &= lives_used[:-1] == 0
    year = np.arange(1, years + 1)[:, None]
    failed = np.floor(covered)
    for key in failure_keys(scenario):
        failed = failed + geometric_years(values[key], chance=values["kit.ageing.failure_chance_per_year"])
        if replaces:
            replaced |= year == failed
        else:
            working &= year <= failed
    replaced[-1:] = False
    return working, replaced


def _key(number: int) -> str:
    return FAILURE_LUCK if number == 1 else f"{FAILURE_LUCK}_{number}"
