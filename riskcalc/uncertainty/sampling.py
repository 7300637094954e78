"""From one seed to named draws: scrambled Sobol' points, correlated inputs, years taken from the pools.

Everything random in an assessment comes from here (the pools themselves are seeded by `pools`). Draws are laid out
scramble after scramble: with R scrambles of n draws, scramble r owns the columns r*n .. (r+1)*n of every array.
Scrambles are independent repetitions of the same design, so the spread between them is an honest standard error where
the usual formula for independent draws is not (Owen, Monte Carlo theory, methods and examples, ch. 17).
"""

from __future__ import annotations

import zlib
from collections.abc import Callable, Collection, Mapping, Sequence
from copy import copy
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import special

from riskcalc.ordered import lower_factor
from riskcalc.types import Floats
from riskcalc.uncertainty.streams import Stream, generator

#: Columns of Sobol' points that are scrambled at once: the scrambling of a column depends on this number alone.
SCRAMBLED_TOGETHER = 512
SOBOL_BITS = 30
#: Where the points of the price path stand, sixty years of four columns; the inputs that every scenario has stand before.
PATH_COLUMN = 160
#: Tables that a scenario may leave out, sixteen columns each from the first on: without one the others stay in place.
OPTIONAL_COLUMN, OPTIONAL_WIDTH = 400, 16
OPTIONAL_TABLES = ("alternative.", "outages.", "purchase.loan.", "tariff.blocks.", "tenure.")

#: Draws of a scramble that meet the same pool year before another is met: two vectors of the loops of dispatch.
MEET_TOGETHER = 16

#: What the names of chances hold that no input describes: a move, a refusal, a failure. See `luck_points`.
LUCK_MARK = ".luck_"


@dataclass(frozen=True)
class PathNoise:
    """Standard normal and uniform numbers behind the price paths, each of shape (years, draws).

    Growth, export and jumps come from the unit cube; `rate_normals` (other import rates) and `inflation_normals` are
    drawn beside it like chances, so that a scenario that uses them meets the same numbers otherwise. Where they are None
    other rates and inflation are moved by the shocks of growth.
    """

    growth_normals: Floats
    export_normals: Floats
    jump_uniforms: Floats
    jump_normals: Floats
    rate_normals: Floats | None = None
    inflation_normals: Floats | None = None


@dataclass(frozen=True)
class Design:
    """The random part of a run, before any scenario gives it a meaning.

    `unit` maps the dotted key of each uncertain input and chance to its point in (0, 1), shape (draws,). `pool_year` says which
    pool year each draw meets in each year of the horizon, shape (years, draws).
    """

    unit: Mapping[str, Floats]
    path: PathNoise
    pool_year: NDArray[np.int64]
    scrambles: int

    @property
    def draws(self) -> int:
        """Number of draws."""
        return int(self.pool_year.shape[-1])


def draws_run(asked: int, *, scrambles: int) -> int:
    """Return the number of draws run when `asked` are wanted: the next `scrambles` x 2^m, which keeps Sobol' points balanced."""
    per_scramble = max(1, -(-asked // scrambles))
    return int(scrambles * 2 ** int(np.ceil(np.log2(per_scramble))))


def design(
    keys: Sequence[str],
    *,
    draws: int,
    years: int,
    pool_years: int,
    seed: int,
    scrambles: int = 8,
    columns: Sequence[str] = (),
    correlations: Mapping[tuple[str, str], float] | None = None,
    cube: Callable[..., Floats] | None = None,
) -> Design:
    """Return the random numbers of a run: the same for the same arguments, whatever the order of `keys`.

    Twice the draws hold the same numbers again: the first half of each scramble is the whole of that scramble before.

    Parameters
    ----------
    keys
        Dotted keys of the uncertain inputs and of chances (`LUCK_MARK`). Options that are compared pass the union of
        their keys, so that what they share is drawn in common.
    draws, scrambles
        `draws` = `scrambles` x a power of two (see `draws_run`).
    years, pool_years
        Horizon, and number of joint weather-and-demand years in the pools. The first years of a longer horizon are those
        of a shorter one.
    columns
        Names that own a column of the points beside `keys`, drawn or not: a scenario passes all its quantities, so that
        fixing one of them leaves the points of the others as they were.
    correlations
        Correlation of the normal scores of pairs of keys (Gaussian copula).
    cube
        Stands in for `unit_cube`: the same points from where they are kept.
    """
    luck = sorted({key for key in keys if LUCK_MARK in key})
    ordered = sorted(set(keys) - set(luck))
    place = columns_of({*ordered, *columns})
    # A key that moves with others is drawn even where it is fixed, so that the others stay as they were.
    linked = sorted({*ordered, *(key for pair in correlations or {} for key in pair if key in place)})
    wanted = (*(place[key] for key in linked), *range(PATH_COLUMN, PATH_COLUMN + 4 * years))
    points = (cube or unit_cube)(wanted, draws=draws, scrambles=scrambles, seed=seed)
    noise = points[len(linked) :].reshape(years, 4, draws)
    scalars = correlated(points[: len(linked)], correlation_matrix(linked, correlations or {}))
    normals = special.ndtri(noise[:, [0, 1, 3]])
    return Design(
        unit={key: row for key, row in zip(linked, scalars, strict=True) if key in ordered}
        | {key: luck_points(key, draws=draws, seed=seed, scrambles=scrambles) for key in luck},
        path=PathNoise(
            growth_normals=normals[:, 0],
            export_normals=normals[:, 1],
            jump_uniforms=noise[:, 2],
            jump_normals=normals[:, 2],
            rate_normals=yearly_normals("prices.luck_rates", years=years, draws=draws, seed=seed, scrambles=scrambles),
            inflation_normals=yearly_normals(
                "prices.luck_inflation", years=years, draws=draws, seed=seed, scrambles=scrambles
            ),
        ),
        pool_year=pool_year_of_draw(draws=draws, years=years, pool_years=pool_years, seed=seed, scrambles=scrambles),
        scrambles=scrambles,
    )


def columns_of(keys: Collection[str]) -> dict[str, int]:
    """Return the column of the points that each key owns; those of one table do not move when another is left out."""
    place = {}
    tables: dict[str, list[str]] = {}
    for key in sorted(keys):
        tables.setdefault(next((table for table in OPTIONAL_TABLES if key.startswith(table)), ""), []).append(key)
    spare = OPTIONAL_COLUMN + OPTIONAL_WIDTH * len(OPTIONAL_TABLES)
    for table, own in tables.items():
        first = OPTIONAL_COLUMN + OPTIONAL_WIDTH * OPTIONAL_TABLES.index(table) if table else 0
        room = OPTIONAL_WIDTH if table else PATH_COLUMN
        for rank, key in enumerate(own):
            place[key] = first + rank
            if rank >= room:
                place[key], spare = spare, spare + 1
    return place


def unit_cube(
    columns: int | Sequence[int], *, draws: int, scrambles: int, seed: int, stream: Stream = Stream.SOBOL
) -> Floats:
    """Return scrambled Sobol' points strictly inside (0, 1), shape (columns, draws), scramble after scramble.

    `columns` says which, or how many from the first. A column is the same whichever others are asked for.

    Raises
    ------
    ValueError
        If `draws` is not `scrambles` times a power of two: Sobol' points lose their balance otherwise.
    """
    per_scramble = draws // scrambles
    if per_scramble * scrambles != draws or per_scramble & (per_scramble - 1) or per_scramble == 0:
        raise ValueError(f"draws: {draws}; accepted: {scrambles} times a power of two")
    chosen = list(range(columns) if isinstance(columns, int) else columns)
    blocks = []
    together = columns_together(chosen)
    for scramble in range(scrambles):
        engine = copy(_scrambled(together, seed, stream, scramble))
        engine.reset()  # to the first point, with a state of its own
        blocks.append(np.array(engine.random_base2(per_scramble.bit_length() - 1)[:, chosen].T))
    # Points lie on a lattice that includes 0; half a cell up keeps every quantile function finite.
    return np.concatenate(blocks, axis=1) + 2.0 ** -(SOBOL_BITS + 1)


@lru_cache(maxsize=64)
def _scrambled(columns: int, seed: int, stream: Stream, scramble: int) -> Any:
    """Return a scrambled sequence at its first point: eight of them take a tenth of a second to scramble."""
    from scipy.stats import qmc

    return qmc.Sobol(columns, scramble=True, bits=SOBOL_BITS, rng=generator(seed, stream, scramble))


def columns_together(chosen: Sequence[int]) -> int:
    """Return how many columns of Sobol' points are made to have the chosen ones among them."""
    return -(-(max(chosen) + 1) // SCRAMBLED_TOGETHER) * SCRAMBLED_TOGETHER


def luck_points(key: str, *, draws: int, seed: int, scrambles: int) -> Floats:
    """Return the points of a chance in (0, 1), (draws,): one in each n-th part of (0, 1) per scramble, in random order.

    They depend on the name of the chance and the seed alone, so a scenario that adds one (the household may move) meets
    the same prices, habits and weather as without it. The price is that they are balanced one by one only, as in a
    Latin hypercube (McKay, Beckman and Conover, Technometrics 21 (1979) 239-245), not jointly like Sobol' points. Its
    levels are nested (Qian, Biometrika 96 (2009) 957-970): the first half of 2n points is the whole of n points.
    """
    name = zlib.crc32(key.encode())
    blocks = []
    for scramble in range(scrambles):
        rng = generator(seed, Stream.LUCK, name, scramble)
        blocks.append(_nested_strata(rng, points=draws // scrambles))
    return np.concatenate(blocks)


def _nested_strata(rng: np.random.Generator, *, points: int) -> Floats:
    """Return points whose first 1, 2, 4, 8, ... hold one in every equal part of (0, 1)."""
    found = _inside(rng.random(1))
    while len(found) < points:
        parts = 2 * len(found)
        is_empty = np.ones(parts, dtype=bool)
        is_empty[(found * parts).astype(np.int64)] = False
        empty = np.flatnonzero(is_empty)
        found = np.concatenate([found, (rng.permutation(empty) + _inside(rng.random(len(empty)))) / parts])
    return found[:points]


def _inside(places: Floats) -> Floats:
    return np.clip(places, 1e-9, 1.0 - 1e-9)


def yearly_normals(key: str, *, years: int, draws: int, seed: int, scrambles: int) -> Floats:
    """Return standard normals of each year, (years, draws), drawn like chances: one name for each year."""
    points = [luck_points(f"{key}_{year}", draws=draws, seed=seed, scrambles=scrambles) for year in range(years)]
    return special.ndtri(np.stack(points))


def correlation_matrix(keys: Sequence[str], correlations: Mapping[tuple[str, str], float]) -> Floats:
    """Return the correlation matrix of the normal scores, shape (keys, keys); identity where nothing is said."""
    matrix = np.eye(len(keys))
    place = {key: index for index, key in enumerate(keys)}
    for (one, other), value in correlations.items():
        if one in place and other in place:
            matrix[place[one], place[other]] = matrix[place[other], place[one]] = value
    return matrix


def correlated(unit: Floats, matrix: Floats) -> Floats:
    """Return uniform points whose normal scores have the given correlation, shape of `unit` (keys, draws).

    z = Phi^-1(u), z' = L z with L L' = `matrix`, u' = Phi(z') (Gaussian copula). The identity returns `unit` untouched.

    Raises
    ------
    numpy.linalg.LinAlgError
        If the matrix is not positive definite.
    """
    if np.array_equal(matrix, np.eye(len(matrix))):
        return unit
    factor = lower_factor(matrix)
    mixed = np.zeros_like(unit)
    scores = special.ndtri(unit)
    # Row by row in a fixed order: a matrix product may add in another order on another machine.
    for row in range(len(matrix)):
        for column in range(row + 1):
            if factor[row, column] != 0.0:
                mixed[row] += factor[row, column] * scores[column]
    tiny = np.finfo(float).tiny
    return np.clip(special.ndtr(mixed), tiny, 1.0 - np.finfo(float).epsneg)


def pool_year_of_draw(*, draws: int, years: int, pool_years: int, seed: int, scrambles: int) -> NDArray[np.int64]:
    """Return the pool year met by each draw in each year, shape (years, draws).

    Each scramble has its own part of the pool, so that the spread between scrambles holds the luck of the years that it
    meets, however few they are. A pool smaller than the number of scrambles is shared.
    """
    per_scramble = draws // scrambles
    part = pool_years // scrambles
    chosen = np.empty((years, draws), dtype=np.int64)
    for scramble in range(scrambles):
        first = scramble * pool_years // scrambles if part == 0 else scramble * part
        own = np.arange(first, first + max(part, 1))
        columns = slice(scramble * per_scramble, (scramble + 1) * per_scramble)
        for year in range(years):
            rng = generator(seed, Stream.POOL_YEARS, scramble, year)
            chosen[year, columns] = _dealt(rng, own, draws=per_scramble)
    return chosen


def _dealt(rng: np.random.Generator, own: NDArray[np.int64], *, draws: int) -> NDArray[np.int64]:
    """Return the year of each draw of a scramble: the first draws meet one, as many again the next, twice as many two more.

    So few draws share few years, which they can be run through side by side, and the first draws stay as they were when
    more follow. From `MEET_TOGETHER` times as many draws as years on, all years are met equally often.
    """
    years = np.repeat(np.resize(rng.permutation(own), -(-draws // MEET_TOGETHER)), MEET_TOGETHER)[:draws]
    start = 2 * MEET_TOGETHER
    while start < draws:
        rng.shuffle(years[start : 2 * start])
        start *= 2
    return years
