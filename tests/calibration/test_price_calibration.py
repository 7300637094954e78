"""The price model is calibrated: paths told by a plain twin, and parameters found again from paths it made.

False alarms: each histogram is refused at a chance of 1 in 1000 under uniform ranks; eight histograms in all.
"""

import itertools
import math
import random

import numpy as np
import pytest
from ranks import chance_of_worse, place_among, rank_histogram

from riskcalc.money.prices import price_path
from riskcalc.uncertainty.sampling import design
from riskcalc.uncertainty.weights import likelihood_weights

FALSE_ALARM = 1e-3
MODEL = {
    "trend": 0.02,
    "persistence": 0.4,
    "spread": 0.05,
    "jump_chance": 0.1,
    "jump_mean": 0.2,
    "jump_spread": 0.1,
    "jump_fall_share": 0.3,
    "jump_fade_share": 0.5,
}


def plain_path(chance, years):
    """Return one path by the equation in the docstring of `price_path`, in plain Python with other random numbers."""
    departure, jumps, path = 0.0, [], [1.0]
    rise = math.log(1 + MODEL["jump_mean"])
    usual = MODEL["jump_chance"] * (1 - 2 * MODEL["jump_fall_share"]) * rise
    for _ in range(1, years):
        jump = 0.0
        if chance.random() < MODEL["jump_chance"]:
            jump = rise + MODEL["jump_spread"] * chance.gauss(0, 1)
            jump = -jump if chance.random() < MODEL["jump_fall_share"] else jump
        departure = MODEL["persistence"] * departure + MODEL["spread"] * chance.gauss(0, 1)
        growth = (
            math.log(1 + MODEL["trend"]) + departure + jump - usual - MODEL["jump_fade_share"] * sum(jumps[-3:]) / 3
        )
        jumps.append(jump - usual)
        path.append(path[-1] * math.exp(growth))
    return path


def ensemble(seed, *, years=16, draws=1024):
    """Return price paths from the random numbers of a run, (years, draws)."""
    noise = design(["a.key"], draws=draws, years=years, pool_years=8, seed=seed).path
    return price_path(
        years=years,
        **MODEL,
        normals=noise.growth_normals,
        jump_uniforms=noise.jump_uniforms,
        jump_normals=noise.jump_normals,
    )


def test_paths_of_a_plain_twin_lie_evenly_among_ours():
    """600 paths of the twin: price after 1, 5 and 15 years, mean over the horizon and steepest year, 12 bins each."""
    chance, ours = random.Random(11), ensemble(3)
    places = {name: [] for name in ("after 1", "after 5", "after 15", "mean", "steepest")}
    steepest = np.diff(np.log(ours), axis=0).max(axis=0)
    for _ in range(600):
        path = plain_path(chance, 16)
        for year in (1, 5, 15):
            places[f"after {year}"].append(place_among(path[year], ours[year]))
        places["mean"].append(place_among(sum(path) / 16, ours.mean(axis=0)))
        rise = max(math.log(after / before) for before, after in itertools.pairwise(path))
        places["steepest"].append(place_among(rise, steepest))
    for name, held in places.items():
        counts = rank_histogram(held, bins=12)
        assert chance_of_worse(counts) > FALSE_ALARM, (name, counts)


@pytest.mark.parametrize(("name", "wrong"), [("spread", 0.035), ("persistence", 0.0), ("jump_chance", 0.0)])
def test_a_wrong_model_would_be_noticed(monkeypatch, name, wrong):
    """Paths made with less spread, no persistence or no jumps are told apart by the same histograms."""
    ours, chance = ensemble(3), random.Random(11)
    monkeypatch.setitem(MODEL, name, wrong)
    truths = [plain_path(chance, 16) for _ in range(600)]
    steepest = np.diff(np.log(ours), axis=0).max(axis=0)
    rises = [float(np.diff(np.log(path)).max()) for path in truths]
    histograms = [
        rank_histogram([place_among(path[15], ours[15]) for path in truths], bins=12),
        rank_histogram([place_among(rise, steepest) for rise in rises], bins=12),
    ]
    assert min(chance_of_worse(counts) for counts in histograms) < FALSE_ALARM


def test_parameters_are_found_again_from_histories():
    """Simulation-based calibration: 240 histories of 30 years with parameters drawn from a prior, no jumps.

    The posterior is that of the equation's own likelihood, by importance weights over 4096 draws of the prior; the true
    trend, persistence and spread must lie at uniform ranks of it (12 bins each).
    """
    rng = np.random.default_rng(2)
    years, count, prior_draws = 30, 240, 4096

    def drawn(size):
        return rng.uniform(-0.02, 0.08, size), rng.uniform(-0.3, 0.8, size), rng.uniform(0.02, 0.08, size)

    trend, persistence, spread = drawn(count)
    history = price_path(
        years=years,
        trend=trend,
        persistence=persistence,
        spread=spread,
        jump_chance=0.0,
        jump_mean=0.0,
        jump_spread=0.0,
        normals=rng.normal(size=(years, count)),
        jump_uniforms=np.ones((years, count)),
        jump_normals=np.zeros((years, count)),
    )
    places = {"trend": [], "persistence": [], "spread": []}
    for truth in range(count):
        growth = np.diff(np.log(history[:, truth]))
        thought = drawn(prior_draws)
        middle = np.log1p(thought[0])
        before = np.concatenate([np.tile(middle, (1, 1)), np.tile(growth[:-1, None], (1, prior_draws))])
        error = (growth[:, None] - middle - thought[1] * (before - middle)) / thought[2]
        weights = likelihood_weights((error**2 + 2 * np.log(thought[2])).sum(axis=0))
        for name, true, column in zip(places, (trend, persistence, spread), thought, strict=True):
            places[name].append(place_among(true[truth], column, weights))
    for name, held in places.items():
        counts = rank_histogram(held, bins=12)
        assert chance_of_worse(counts) > FALSE_ALARM, (name, counts)
