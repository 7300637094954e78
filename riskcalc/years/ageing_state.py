"""What a battery remembers of its past, and how a loss grows from one period to the next."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class AgeingState:
    """Capacity lost so far as a share of the capacity when new, each (draws,)."""

    calendar_loss: Floats
    cycle_loss: Floats

    @property
    def capacity_share(self) -> Floats:
        """Capacity left as a share of new, (draws,), never below 0."""
        return np.maximum(0.0, 1.0 - self.calendar_loss - self.cycle_loss)


@dataclass(frozen=True)
class Range:
    """Where a law was fitted: lowest and highest value, with the unit for messages."""

    low: float
    high: float
    unit: str

    def held(self, values: ArrayLike) -> Floats:
        """Return the values, those outside moved to the nearest edge: no law is used beyond its fit."""
        return np.clip(np.asarray(values, dtype=np.float64), self.low, self.high)

    def outside_share(self, values: ArrayLike) -> float:
        """Return the share of values that lie outside."""
        values = np.asarray(values, dtype=np.float64)
        return float(np.mean((values < self.low) | (values > self.high)))


def new_battery(draws: int) -> AgeingState:
    """Return the state of batteries fresh from the factory."""
    return AgeingState(np.zeros(draws), np.zeros(draws))


def grown_loss(loss: ArrayLike, *, rate: ArrayLike, amount: ArrayLike, exponent: float) -> Floats:
    """Return a loss that follows rate x amount^exponent under constant conditions, after `amount` more.

    Notes
    -----
    Conditions change from year to year, so the loss so far is first turned into the virtual time (or virtual number of
    cycles) that would have caused it under today's conditions, (loss / rate)^(1/exponent); then the amount is added::

        loss' = rate (virtual + amount)^exponent = (loss^(1/e) + rate^(1/e) amount)^e

    The right-hand form holds without dividing, so a rate of zero simply adds nothing. Splitting a period into parts
    under the same conditions does not change the result.
    """
    power = 1.0 / exponent
    grown = (np.asarray(loss) ** power + np.asarray(rate) ** power * np.asarray(amount)) ** exponent
    return np.maximum(loss, grown)  # rounding must not heal a battery
