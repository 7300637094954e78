"""The search for targets, dates, hold-back and what is kept from export: a few runs of common draws, and the best of each.

Every target is run through the whole year once and its bill kept day by day. Days of a month (and of a forecast) then
choose their own target from those bills, and the season on solar only is the stretch of days that costs least without
charging. Then targets of each household's own are tried, from what its days need and what sun they bring. The choices
are made as if days did not touch each other, so what comes of them is run as a whole, and the best whole wins, the plain
rule among them: what is found is never worse than it on these draws.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import product
from typing import Any

import numpy as np
from numpy.typing import NDArray

from riskcalc.clock import DAYS, MONTH_OF_DAY
from riskcalc.dispatch import Billed, SlotPlan
from riskcalc.money.bill import Energy, bill, prices_of
from riskcalc.scenario import Scenario
from riskcalc.study.outlook import KINDS_OF_DAY, Outlook
from riskcalc.types import Flags, Floats, Values
from riskcalc.years.simulation import YearRequest, run_year

MONTHS = 12


@dataclass(frozen=True)
class ByNeed:
    """Charging for what a day is expected to need beyond its sun, of each household its own; see `ChargeByNeed`.

    `need_share` of the need, less `sun_share` of the sun, and `offset_share` (12,) of the capacity by month.
    """

    need_share: float
    sun_share: float
    offset_share: Floats


@dataclass(frozen=True)
class Running:
    """How the battery is run.

    `target_share` (12, kinds): share of the capacity that the supply fills it to, by the month and forecast of the coming
    day; one column without forecasts. `solar_days` (365,): days on solar only, without charging. `hold_back_share` (12,):
    share of the capacity that is kept for the dearest rate. `export_stored_above_share` (12,): share of the capacity down to
    which stored energy is exported where the scenario lets it. `by_need` takes the place of `target_share`.
    """

    target_share: Floats
    solar_days: Flags
    hold_back_share: Floats
    export_stored_above_share: Floats
    by_need: ByNeed | None = None


@dataclass(frozen=True)
class Frame:
    """What does not change in a search; flags and days are (slots,).

    `plan` is that of a year of charging without hold-back. `planned_day`: the day that a slot's charging is for.
    `charging`: where the supply charges. `held_back`: where energy is kept for the dearest rate. `serves_on_solar`: where
    the cells serve loads on days of solar only. `kinds` (K, 365): the forecast of each day, None without forecasts.
    `outlook`: what is to be expected of a day.
    """

    plan: SlotPlan
    planned_day: NDArray[np.int64]
    charging: Flags
    held_back: Flags
    serves_on_solar: Flags
    kinds: NDArray[np.int64] | None
    outlook: Outlook


def plain() -> Running:
    """Return the plain rule: charge to full in every window of the year, hold nothing back, export nothing stored."""
    return Running(np.ones((MONTHS, 1)), np.zeros(DAYS, dtype=bool), np.zeros(MONTHS), np.ones(MONTHS))


def plan_of(frame: Frame, running: Running) -> SlotPlan:
    """Return the plan of the year's slots for a way of running the battery."""
    plan, month, by_need = frame.plan, MONTH_OF_DAY[frame.planned_day], running.by_need
    solar = running.solar_days[frame.planned_day]
    held = np.where(frame.held_back, running.hold_back_share[plan.month], 0.0)
    if frame.kinds is None or running.target_share.shape[1] == 1:
        target = running.target_share[month, 0]
    else:
        target = running.target_share[month[None, :], frame.kinds[:, frame.planned_day]]
    return replace(
        plan,
        grid_charge_on=(frame.charging & ~solar).astype(np.int64),
        discharge_on=np.where(solar, frame.serves_on_solar, plan.discharge_on != 0).astype(np.int64),
        target_share=target,
        need=None if by_need is None else frame.outlook.rule(frame.planned_day, **vars(by_need)),
        reserve_share=np.maximum(plan.reserve_share, held),
        export_stored_above_share=running.export_stored_above_share[plan.month],
    )


#: Shares of the capacity that are tried.
TARGETS = tuple(np.linspace(0.0, 1.0, 11).tolist())
HOLD_BACKS = (0.25, 0.5, 0.75, 1.0)
KEPT_FROM_EXPORT = (0.75, 0.5, 0.25, 0.0)
#: Shares of a day's need that are charged for, of its expected sun that are counted on, and of the capacity beside.
NEED_SHARES = (0.4, 0.6, 0.8)
SUN_SHARES = (0.6, 0.8, 1.0)
OFFSETS = (0.0, 0.2, 0.4, 0.6, 0.8)
#: A season shorter than this is an accident of the draws [days].
SHORTEST_SEASON = 14


@dataclass(frozen=True)
class Wanted:
    """What is to be found; the rest stays as given."""

    targets: bool
    season: bool
    hold_back: bool
    export_stored: bool


@dataclass
class Search:
    """The common draws, run under one plan after another; the energy bill of the first year counts, all draws alike."""

    scenario: Scenario
    request: YearRequest
    values: Values
    frame: Frame
    targets: tuple[float, ...] = TARGETS
    _tried: list[tuple[float, Running]] = field(default_factory=list)

    def best(self, given: Running, wanted: Wanted) -> Running:
        """Return the best way of running that was found, starting from what is given."""
        if wanted.targets:
            self.bill(replace(given, target_share=plain().target_share))
            self._targets_and_season(given, season=wanted.season)
        else:
            self.bill(given)
        before = self.found
        if wanted.hold_back and self.frame.held_back.any():
            self._level_by_month("hold_back_share", (0.0, *HOLD_BACKS))
        if wanted.export_stored and self.frame.plan.export_stored_on.any():
            self._level_by_month("export_stored_above_share", (1.0, *KEPT_FROM_EXPORT))
        if wanted.targets and self.found is not before:
            self._targets_and_season(self.found, season=wanted.season)
        return self.found

    @property
    def found(self) -> Running:
        """The best of all that were run; of equals the first."""
        return min(self._tried, key=lambda entry: entry[0])[1]

    def bill(self, running: Running) -> float:
        """Return the energy bill of the first year, mean over the draws, and keep it among what was tried."""
        bill = float(self.daily_bills(plan_of(self.frame, running)).sum(axis=0).mean())
        self._tried.append((bill, running))
        return bill

    def daily_bills(self, plan: SlotPlan) -> Floats:
        """Return import less export by the day that charging was for, (365, draws) in money of the first year."""
        names, request = list(self.scenario.tariff.rates), self.request
        by_day = replace(plan, rate=plan.rate * DAYS + self.frame.planned_day, rates=len(names) * DAYS)
        shape = len(Billed), len(names), DAYS, -1
        billed = run_year(replace(request, plan=by_day)).billed_kwh.reshape(shape)
        prices, exported = prices_of(self.scenario, self.values), billed[Billed.EXPORT]
        if prices.export.any() and not prices.export_follows:
            # What is exported has a price of its own and must not be weighed with that of the slot.
            even = replace(by_day, rate_weight=np.ones(plan.slots))
            exported = run_year(replace(request, plan=even)).billed_kwh.reshape(shape)[Billed.EXPORT]
        return bill(prices, Energy(billed, exported.sum(axis=0))).with_kit

    def _targets_and_season(self, start: Running, *, season: bool) -> None:
        """Try the best target of every month, of every month and forecast, these with the best season, and own targets."""
        start = replace(start, by_need=None)
        levels = [replace(start, target_share=np.full((MONTHS, 1), level)) for level in self.targets]
        bills = np.stack([self.daily_bills(plan_of(self.frame, level)) for level in levels])
        solar = None
        if season:
            solar = self.daily_bills(plan_of(self.frame, replace(start, solar_days=np.ones(DAYS, dtype=bool))))
        choices = [MONTH_OF_DAY[:, None] + np.zeros(bills.shape[2], dtype=np.int64)]
        if self.frame.kinds is not None:
            kinds = self.frame.kinds[self.request.pool_year].T
            choices.append(choices[0] * len(KINDS_OF_DAY) + kinds)
        for choice in choices:
            kinds_told = 1 if choice is choices[0] else len(KINDS_OF_DAY)
            cells = MONTHS * kinds_told
            sums = np.stack([np.bincount(choice.ravel(), level.ravel(), minlength=cells) for level in bills])
            best = sums.argmin(axis=0)
            chosen = replace(start, target_share=np.asarray(self.targets)[best].reshape(MONTHS, kinds_told))
            self.bill(chosen)
            if solar is not None:
                charged = np.take_along_axis(bills, best[choice][None], axis=0)[0]
                days = cheapest_season((solar - charged).sum(axis=1))
                if days.sum() >= SHORTEST_SEASON:
                    self.bill(replace(chosen, solar_days=days))
        self._by_need(self.found)

    def _by_need(self, start: Running) -> None:
        """Try what each household needs of a day beyond its sun, and beside it what is best in every month."""
        for need_share, sun_share in product(NEED_SHARES, SUN_SHARES):
            ways = [replace(start, by_need=ByNeed(need_share, sun_share, np.full(MONTHS, each))) for each in OFFSETS]
            best = self._best_by_month(OFFSETS, ways)
            self.bill(replace(start, by_need=ByNeed(need_share, sun_share, best)))

    def _level_by_month(self, name: str, levels: Sequence[float]) -> None:
        """Try what of one kind of level is best in every month."""
        start = self.found

        def with_levels(by_month: Floats) -> Running:
            made: dict[str, Any] = {name: by_month}
            return replace(start, **made)

        ways = [with_levels(np.full(MONTHS, level)) for level in levels]
        self.bill(with_levels(self._best_by_month(levels, ways)))

    def _best_by_month(self, levels: Sequence[float], ways: Sequence[Running]) -> Floats:
        """Return the level of every month, (12,), whose way of running costs least in it."""
        days = [self.daily_bills(plan_of(self.frame, way)).sum(axis=1) for way in ways]
        by_month = np.stack([np.bincount(MONTH_OF_DAY, bills, minlength=MONTHS) for bills in days])
        return np.asarray(levels)[by_month.argmin(axis=0)]


def cheapest_season(extra: Floats) -> NDArray[np.bool_]:
    """Return the stretch of days, over new year if need be, whose sum of `extra` (365,) is least; none if it is not below 0.

    The least sum over a stretch within the year, or the whole less the largest such sum; of equals the first.
    """

    def least(values: Floats) -> tuple[float, int, int]:
        sums = np.concatenate([[0.0], np.cumsum(values)])
        start = np.maximum.accumulate(np.where(sums == np.maximum.accumulate(sums), np.arange(len(sums)), 0))
        end = int(np.argmin(sums - sums[start]))
        return float(sums[end] - sums[start[end]]), int(start[end]), end

    within, start, end = least(extra)
    largest, gap_start, gap_end = least(-extra)
    days = np.zeros(len(extra), dtype=bool)
    if within < 0.0 and within <= extra.sum() + largest:
        days[start:end] = True
    elif extra.sum() + largest < 0.0:
        days[:] = True
        days[gap_start:gap_end] = False
    return days
