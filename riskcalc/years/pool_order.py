"""In what order weather years stand, so that every scramble gets its fair share of sun, in the dark months too.

Each scramble of draws meets a stretch of pool years of its own (see `sampling.pool_year_of_draw`), and the spread between
scrambles is read as the error of the whole. But the light of a whole pool is held to the climate month by month, so what
one stretch has too much of, another has too little: left to chance, that would count as error though it cancels out.
Years are therefore dealt by their light, twice over: as it comes, which is what a large array lives on, and with every
month counted alike, since a kit that is full on summer days lives on the dark months. What lies between is then balanced
too. Of one household's saving over 100 seeds (32 years, 8 scrambles) the standard error was stated 2.8 times too large
undealt, 1.24 times dealt by the year alone, 1.05 times dealt by both.

Demand years stand as they come: their mean is not held to anything, so all of their spread is error.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from riskcalc.types import Floats


def light_of_years(monthly: Floats) -> Floats:
    """Return each year's light as it comes and with every month counted alike, (years, 2), from its months, (years, 12).

    The second is the sum over months of the month's light over its mean, in units of the mean month. Months without
    light count in neither.
    """
    means = monthly.mean(axis=0)
    alike = np.divide(monthly * means.mean(), means, out=np.zeros_like(monthly), where=means > 0.0)
    return np.stack([monthly.sum(axis=1), alike.sum(axis=1)], axis=1)


def fair_order(sums: Floats, *, scrambles: int, seed: int) -> NDArray[np.int64]:
    """Return the order in which years stand: scramble after scramble, what is left over at the end.

    Parameters
    ----------
    sums : (years, features)
        What every scramble is to have the same share of, in one unit.
    scrambles : int
        Hands that get years // scrambles years each. With fewer than two for each, years stay as they are.
    seed : int
        Of the deal to begin with.

    Notes
    -----
    From a deal by chance, two years of different hands change places as long as that lowers the sum over hands and
    features of (sum of the hand - its share of all)^2: of each year in turn, with the partner that lowers it most.
    """
    years = len(sums)
    each = years // scrambles
    if each < 2:
        return np.arange(years)
    sizes = [each] * scrambles + [years - each * scrambles]
    hand = np.random.default_rng(np.random.SeedSequence(seed)).permutation(np.repeat(np.arange(scrambles + 1), sizes))
    beyond = sums - sums.mean(axis=0)
    held = np.stack([beyond[hand == one].sum(axis=0) for one in range(scrambles + 1)])
    smallest = 1e-9 * float((beyond**2).sum())
    swapped = smallest > 0.0
    while swapped:
        swapped = False
        for year in range(years):
            brought = beyond - beyond[year]
            before = (held[hand[year]] ** 2).sum() + (held[hand] ** 2).sum(axis=1)
            after = ((held[hand[year]] + brought) ** 2).sum(axis=1) + ((held[hand] - brought) ** 2).sum(axis=1)
            gain = np.where(hand == hand[year], 0.0, before - after)
            partner = int(gain.argmax())
            if gain[partner] > smallest:
                held[hand[year]] += brought[partner]
                held[hand[partner]] -= brought[partner]
                hand[[year, partner]] = hand[[partner, year]]
                swapped = True
    return np.argsort(hand, kind="stable")
