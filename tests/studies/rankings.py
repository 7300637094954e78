"""What decides the worth in each shipped scenario: the first three places, settled or ties, and what its draws alone say.

Run from the repository: python tests/studies/rankings.py [--most-points N] [--keep FOLDER] [SCENARIO ...]. Prints the table
of DEVELOPERS.md. Each row is what `riskcalc rank SCENARIO --screen --until settled --most-points N` finds about the worth,
without families, information and break-even, at its step of five minutes. `--keep` holds outcomes in a folder, so that a
run that was stopped goes on where it was; empty it when the model has changed.
"""

import argparse
import sys
import zlib
from pathlib import Path

import numpy as np

from riskcalc.answers.factors import factors_of, worth_fit
from riskcalc.answers.ranked import assessed_in, first_by_share, same_places
from riskcalc.answers.rows import factor_words, named
from riskcalc.answers.sobol import FIRST_YEAR_SAVING, WORTH, evaluated_rows, screening
from riskcalc.scenario import read_scenario
from riskcalc.study.model import world_of
from riskcalc.uncertainty.indices import sobol_indices, sobol_rows
from riskcalc.uncertainty.order import PLACES, Z95, ranking_order
from riskcalc.uncertainty.ranking import factor_shares

FIRST_POINTS, AT_ONCE, STEP_MINUTES = 256, 256, 5
HEADS = (
    "scenario",
    "first three: total order (95 %)",
    "places",
    "given data: share alone ± standard error",
    "points",
    "futures",
)


def outcomes_of(scenario, world, factors, cube, points, keep):
    """Return the outcomes of the first `points` base points and how many futures they took to simulate."""
    seed, per_point = scenario.study.seed, cube.rows_per_point
    name = f"{scenario.name}-{zlib.crc32(repr((cube.groups, seed)).encode()):08x}"
    parts, simulated, start = [], 0, 0
    while start < points:
        path = None if keep is None else keep / f"{name}-{start:05d}.npz"
        if path is not None and path.exists():
            with np.load(path) as held:
                part = dict(held)
        else:
            stop = min(points, (start // AT_ONCE + 1) * AT_ONCE)
            rows = sobol_rows(cube, points=points, seed=seed, start=start, stop=stop)
            found = evaluated_rows(scenario, world, factors, rows)
            part = {**found.outcomes, "simulated": np.array(found.simulated)}
            if path is not None:
                np.savez(path, **part)
        parts.append(part)
        simulated += int(part["simulated"])
        start += len(part[WORTH]) // per_point
    return {
        outcome: np.concatenate([part[outcome] for part in parts]) for outcome in (WORTH, FIRST_YEAR_SAVING)
    }, simulated


def sobol(scenario, world, most_points, keep):
    """Return indices and order of the worth, base points, and futures simulated with those of the screening."""
    factors = factors_of(scenario)
    screened = screening(scenario, world, factors)
    cube = factors.cube(rest=screened.left_out if len(screened.left_out) > 1 else ())
    points = FIRST_POINTS
    while True:
        outcomes, simulated = outcomes_of(scenario, world, factors, cube, points, keep)
        indices = sobol_indices(cube, outcomes[WORTH])
        order = ranking_order(indices, points=points, most_points=most_points)
        if points >= most_points or order.finished:
            return indices, order, points, simulated + screened.simulated
        points *= 2


def row(path, most_points, keep):
    """Return the cells of one scenario."""
    scenario = read_scenario(path, [f"study.step_minutes={STEP_MINUTES}"])
    world = world_of(scenario)
    found = assessed_in(scenario, world)
    data = factor_shares(*worth_fit(found))
    indices, order, points, simulated = sobol(scenario, world, most_points, keep)
    words = factor_words(scenario)

    def said(name):
        return named(name, words)["label"]

    def total(name):
        place = indices.names.index(name)
        half = Z95 * indices.total_error[place]
        low, middle, high = (100 * (indices.total[place] + part) for part in (-half, 0.0, half))
        return f"{said(name)} {middle:.0f} % ({low:.0f} to {high:.0f})"

    agrees = same_places(indices, order, first_by_share([(line.name, line.share, line.error) for line in data]))
    return (
        path.stem,
        "; ".join(total(place.name) for place in order.places),
        "; ".join(tier_words(tier, said) for tier in order.tiers),
        f"{'the same three' if agrees else 'others'}: "
        + "; ".join(f"{said(line.name)} {100 * line.share:.0f} ± {100 * line.error:.0f} %" for line in data[:PLACES]),
        f"{points:,}",
        f"{simulated:,}",
    )


def tier_words(tier, said):
    """Return the state of one place, or of several that cannot be told apart."""
    where = f"{tier.first}" if tier.first == tier.last else f"{tier.first} to {tier.last}"
    if tier.settled:
        return f"{where} settled"
    beside = f" with {', '.join(said(rival.name) for rival in tier.outside)}" if tier.outside else ""
    if tier.points_needed:
        return f"{where} open{beside}: {tier.points_needed:,} points would tell"
    needed = tier.hardest.points_needed
    return f"{where} a tie{beside}" + ("" if needed is None else f": some {needed:,} points to part them")


def main():
    """Print the table, row by row."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--most-points", type=int, default=2048, help="base points not to exceed, a power of two")
    parser.add_argument("--keep", type=Path, help="folder for outcomes")
    parser.add_argument("scenarios", nargs="*", help="names of shipped scenarios; all unless given")
    given = parser.parse_args()
    print(f"| {' | '.join(HEADS)} |\n|{'---|' * len(HEADS)}")
    for path in sorted((Path(__file__).parents[2] / "scenarios").glob("*.toml")):
        if not given.scenarios or path.stem in given.scenarios:
            print(f"| {' | '.join(row(path, given.most_points, given.keep))} |", flush=True)


if __name__ == "__main__":
    sys.exit(main())
