"""Staying, moving and permission: what becomes of the kit in each draw.

Moves happen at the end of a year. Whole years are all that the yearly flows can see: a stay is rounded to the nearest
whole year, at least one. A move at or after the end of the horizon changes nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from riskcalc.scenario import Scenario
from riskcalc.scenario.tenure import Tenure, at_move_of
from riskcalc.types import Flags, Floats, Values

#: Names of the chances behind a draw, points in (0, 1) like those of the uncertain inputs; the first home's are ranked.
PERMISSION_LUCK, MOVE_LUCK, HOME_LUCK = "tenure.luck_permission", "tenure.luck_move", "tenure.luck_new_home"

#: Moves followed beyond those expected; after the last the household stays. At most MOST_MOVES in all.
MOVES_TO_SPARE, MOST_MOVES = 3, 12


@dataclass(frozen=True)
class Course:
    """What permission and moves do to the kit; years and draws are the axes.

    `bought` and `with_modules` (draws,): does the purchase happen, and with its modules. (years, draws): `held`, the
    kit is in the household's hands; `yield_share`, solar yield over that of the first home; `moved_along`, it goes
    along with a move at the year's end; `handed_over`, it is sold or left with the home then.
    """

    bought: Flags
    with_modules: Flags
    held: Flags
    yield_share: Floats
    moved_along: Flags
    handed_over: Flags


def tenure_keys(scenario: Scenario) -> tuple[str, ...]:
    """Return the names of the chances that the tenure of a scenario needs, each a dimension of its design."""
    tenure = scenario.tenure
    if tenure is None or scenario.kit is None:
        return ()
    keys = [PERMISSION_LUCK] if tenure.permission_refused_chance.support[1] > 0.0 else []
    if tenure.stay_years is None and tenure.moving_chance_per_year is None:
        return tuple(keys)
    if tenure.moving_chance_per_year is not None:
        keys.append(MOVE_LUCK)
    if at_move_of(tenure, scenario.kit.coupling) == "take":
        keys.append(HOME_LUCK)
        for home in range(2, moves_followed(tenure, years=scenario.study.horizon_years) + 1):
            keys += [_later(MOVE_LUCK, home), _later(HOME_LUCK, home)]
    return tuple(keys)


def is_later_home(key: str) -> bool:
    """Return whether a key is a chance of the second move or a later one, too far down the road to be ranked."""
    return key.startswith((f"{MOVE_LUCK}_", f"{HOME_LUCK}_"))


def moves_followed(tenure: Tenure, *, years: int) -> int:
    """Return how many moves of a household are followed: those expected within the horizon and some to spare."""
    if tenure.stay_years is not None:
        stay = max(1.0, tenure.stay_years.expected())
    else:
        chance = 0.0 if tenure.moving_chance_per_year is None else tenure.moving_chance_per_year.expected()
        stay = 1.0 / max(chance, 1e-9)
    return int(np.clip(np.ceil(years / stay) + MOVES_TO_SPARE, 1, min(MOST_MOVES, max(1, years - 1))))


def tenure_course(scenario: Scenario, values: Values, *, years: int, draws: int) -> Course:
    """Return what permission and moves do to the kit in each draw.

    Notes
    -----
    The first stay is the input `tenure.stay_years`, later ones are drawn from the same distribution; under a yearly
    chance p each stay is geometric, P(n years) = p (1 - p)^(n - 1). Each new home has sun with the chance given; its
    yield is `new_home_yield_share` of the first home's, none without sun. Under `if_no_sun = "sell"` a kit with modules
    is sold instead of going along to a home without sun, and no other is bought later. Limiting case: no stay, no chance and no
    refusal give a kit that is bought, held and sunlit throughout, no matter who owns the home.
    """
    tenure = scenario.tenure
    bought = with_modules = np.ones(draws, dtype=bool)
    share = np.ones((years, draws))
    held = np.ones((years, draws), dtype=bool)
    never = np.zeros((years, draws), dtype=bool)
    moved_along, handed_over = never, never
    if tenure is None or scenario.kit is None:
        return Course(bought, with_modules, held, share, moved_along, handed_over)
    if PERMISSION_LUCK in tenure_keys(scenario):
        granted = values[PERMISSION_LUCK] >= values["tenure.permission_refused_chance"]
        bought, with_modules = (granted, granted) if tenure.if_refused == "nothing" else (bought, granted)
    year = np.arange(years)[:, None]
    moves = tenure.stay_years is not None or tenure.moving_chance_per_year is not None
    if moves:
        leaving = first_stay(tenure, values)
        if at_move_of(tenure, scenario.kit.coupling) == "take":
            sells = tenure.if_no_sun == "sell" and bool(scenario.kit.arrays)
            sold = np.zeros(draws, dtype=bool)
            for home in range(1, moves_followed(tenure, years=scenario.study.horizon_years) + 1):
                new_share = new_home_yield(tenure, values, home=home)
                leaves = (year == leaving - 1) & (leaving < years) & ~sold
                sold = sold | (sells & (new_share == 0.0) & with_modules & (leaving < years))
                moved_along, handed_over = moved_along | (leaves & ~sold), handed_over | (leaves & sold)
                held = held & ~(sold & (year >= leaving))
                share = np.where(year >= leaving, new_share, share)
                if home < moves_followed(tenure, years=scenario.study.horizon_years):
                    leaving = leaving + later_stay(tenure, values, home=home + 1)
        else:
            held = year < leaving
            handed_over = (year == leaving - 1) & (leaving < years)
    return Course(bought, with_modules, held & bought, share * with_modules, moved_along & bought, handed_over & bought)


def first_stay(tenure: Tenure, values: Values) -> Floats:
    """Return the whole years until the first move, (draws,)."""
    if tenure.stay_years is not None:
        return whole_years(values["tenure.stay_years"])
    return geometric_years(values[MOVE_LUCK], chance=values["tenure.moving_chance_per_year"])


def later_stay(tenure: Tenure, values: Values, *, home: int) -> Floats:
    """Return the whole years in a later home, counted from 2 for the stay that ends with the second move, (draws,)."""
    luck = values[_later(MOVE_LUCK, home)]
    if tenure.stay_years is not None:
        return whole_years(tenure.stay_years.quantile(luck))
    return geometric_years(luck, chance=values["tenure.moving_chance_per_year"])


def new_home_yield(tenure: Tenure, values: Values, *, home: int) -> Floats:
    """Return the yield in the home after a move, counted from 1, over that in the first home, (draws,).

    Beyond the first new home one point decides both sun and yield: below the chance there is sun, and the place below
    it is again uniform.
    """
    chance = values["tenure.new_home_sun_chance"]
    if home == 1:
        return np.where(values[HOME_LUCK] < chance, values["tenure.new_home_yield_share"], 0.0)
    luck = values[_later(HOME_LUCK, home)]
    sunny = luck < chance
    place = np.where(sunny, luck / np.where(chance > 0.0, chance, 1.0), 0.5)
    return np.where(sunny, tenure.new_home_yield_share.quantile(place), 0.0)


def whole_years(stay_years: Floats) -> Floats:
    """Return stays rounded to whole years, at least one."""
    return np.maximum(1.0, np.floor(stay_years + 0.5))


def geometric_years(luck: Floats, *, chance: Floats) -> Floats:
    """Return the year at whose end something of a yearly chance first happens, counted from 1; infinite for chance 0.

    Inverse of P(N <= n) = 1 - (1 - p)^n: the smallest n with P(N <= n) >= luck.
    """
    possible = np.clip(chance, 1e-300, 1.0 - 1e-16)
    years = np.maximum(1.0, np.ceil(np.log1p(-luck) / np.log1p(-possible)))
    return np.where(chance > 0.0, years, np.inf)


def _later(luck: str, home: int) -> str:
    return f"{luck}_{home}"
