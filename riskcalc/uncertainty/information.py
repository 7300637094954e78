"""What it is worth to find out before buying: expected value of perfect information, in money.

The choice is to buy or not to buy, and what is not bought is worth nothing. With W the worth of buying,

    all known:     EVPI   = E[max(W, 0)] - max(E[W], 0)
    factor known:  EVPPI  = E[max(E[W | X], 0)] - max(E[W], 0)

E[W | X] comes from the sum of smooth functions that is fitted to the draws' worth (regression: Strong, Oakley & Brennan,
Medical Decision Making 34 (2014) 311-326; `smoothing`), so one set of draws serves every factor. The decision "buy where
E[W | X] is above 0" is then paid what the draws bring, less what other factors brought them, so a fit that blurs a jump
costs only where it decides wrongly. That errs upwards by following noise; `held_out` takes each scramble's decisions from
a fit to the others, and errs downwards. The stated error holds the scatter between scrambles, the gap between the two,
and what a fit loses that blurs a jump. Limiting case: a purchase that pays in every draw, or in none, leaves nothing to find
out.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from riskcalc.types import Floats
from riskcalc.uncertainty.factor_model import DrawnFactor, FactorModel
from riskcalc.uncertainty.smoothing import Additive
from riskcalc.uncertainty.summary import Estimate, estimate, jackknife


@dataclass(frozen=True)
class FactorInformation:
    """Worth of knowing one factor or family before the purchase, in money of the day of purchase."""

    name: str
    family: str
    value: Estimate
    held_out: float


@dataclass(frozen=True)
class Information:
    """Worth of knowing everything, each factor and each family; factors and families by falling value."""

    total: Estimate
    factors: tuple[FactorInformation, ...]
    families: tuple[FactorInformation, ...]


def information(worth: Floats, model: FactorModel, fit: Additive | None) -> Information:
    """Return what it is worth to know everything, and to know each factor and family alone.

    Parameters
    ----------
    worth
        Net present value of buying, shape (draws,).
    model, fit
        The factors and families, and the worth fitted by them; None where the draws are too few to fit all at once, and
        each is then fitted alone.
    """
    return Information(
        estimate(worth, perfect_information, scrambles=model.scrambles),
        _sorted(factor_information(worth, model, factor, fit) for factor in model.factors),
        _sorted(factor_information(worth, model, family, fit) for family in model.families),
    )


def perfect_information(worth: Floats) -> float:
    """Return the expected value of knowing the worth itself before deciding."""
    return float(np.maximum(worth, 0.0).mean() - max(worth.mean(), 0.0))


def factor_information(
    worth: Floats, model: FactorModel, factor: DrawnFactor, fit: Additive | None
) -> FactorInformation:
    """Return the expected value of knowing one factor before deciding, with its standard error."""
    if fit is None:
        model = model.alone(factor)
        fit = model.fit_anyway(worth)
    group = model.positions(factor.members)
    seen = fit.seen
    draws = seen.sum(axis=1)
    part = fit.parts[:, group].sum(axis=1)
    own = fit.mean[:, None] + part + fit.rest
    # A decision follows what is left of the fit once its share of noise is taken out (James & Stein 1961), so that a factor
    # without effect decides nothing.
    variance = (part**2 * seen).sum(axis=1) / draws
    noise = fit.noise * fit.noise_degrees[group].sum() / draws
    kept = np.where(variance > noise, 1.0 - noise / np.where(variance > 0.0, variance, 1.0), 0.0)
    expected = fit.mean[:, None] + kept[:, None] * part
    best_blind = np.maximum(fit.mean, 0.0)
    rounds = (own * (expected > 0.0) * seen).sum(axis=1) / draws - best_blind
    blur = _blur(own[0], expected[0] > 0.0, factor, model)
    value, held_out, error = max(float(rounds[0]), 0.0), float("nan"), None
    if len(rounds) > 1:
        unseen = fit.unseen(own)
        held_out = float((unseen * (fit.unseen(expected) > 0.0)).mean() - max(unseen.mean(), 0.0))
        error = float(np.sqrt(jackknife(rounds[1:]) ** 2 + (rounds[0] - held_out) ** 2 + blur**2))
    return FactorInformation(factor.name, factor.family, Estimate(value, error), held_out)


def _blur(own: Floats, bought: NDArray[np.bool_], factor: DrawnFactor, model: FactorModel) -> float:
    """Return what decisions lose if every change of mind comes a third of a spline's part too early or too late.

    Next to nothing where the worth passes through 0, as a smooth function does; much where it jumps over it.
    """
    if len(factor.members) > 1:
        return 0.0
    in_order = np.argsort(factor.places[0][model.used], kind="stable")
    own, bought = own[in_order], bought[in_order]
    parts = model.terms[model.positions(factor.members)[0]].parts
    late = np.arange(len(own)) + len(own) // (3 * parts) if parts else np.arange(len(own))
    shifted = [np.clip(places, 0, len(own) - 1) for places in (late, 2 * np.arange(len(own)) - late)]
    return float(np.max([abs((own * bought).mean() - (own * bought[places]).mean()) for places in shifted]))


def _sorted(rows: Iterable[FactorInformation]) -> tuple[FactorInformation, ...]:
    return tuple(sorted(rows, key=lambda row: (-(row.value.value or 0.0), row.name)))
