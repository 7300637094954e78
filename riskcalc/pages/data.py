"""Everything the page shows, as plain numbers, text and numpy arrays; the page computes no result.

Money is in the scenario's currency; nominal unless the name says otherwise; cost negative, saving positive.
Shares and rates are decimals. `ReportData` is the whole; the other classes are its parts, each one section
of the page.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from riskcalc.pages.estimate import Estimate
from riskcalc.pages.insight_data import Insight
from riskcalc.pages.method import MethodPart
from riskcalc.uncertainty.distributions import SKETCH_LEVELS

__all__ = ["SKETCH_LEVELS"]

Floats = NDArray[np.float64]

#: Levels of the rows of `CashFan.cash`.
CASH_LEVELS = (0.05, 0.25, 0.5, 0.75, 0.95)
#: Weeks are shown in half hours.
WEEK_STEPS = 336


@dataclass(frozen=True)
class Figure:
    """One figure of the first year.

    key : as in `result.json`.
    label : short, in plain words.
    unit : "kWh", "money" or "share".
    mean : over the draws.
    p10, p90 : 10 % and 90 % points over the draws, None where nothing varies.
    """

    key: str
    label: str
    unit: str
    mean: Estimate
    p10: float | None = None
    p90: float | None = None


@dataclass(frozen=True)
class Payback:
    """When the purchase has paid for itself, never-share kept as its own outcome.

    years : shape (N,), whole years 1..N of the horizon.
    share_within, share_within_se : shape (N,), share of draws paid back at or before the end of that year
        (first crossing, nominal), cumulative, and its standard error. The last value is 1 - never_share.
    discounted_within : shape (N,), the same for the discounted payback.
    p5, p25, p50, p75, p95 : years; `value` None where that quantile is never reached.
    never_share, discounted_never_share : share of draws not paid back within the horizon.
    lasting_share : share of draws paid back *and* never again below zero within the horizon; None if the
        same as 1 - never_share.
    """

    years: NDArray[np.int64]
    share_within: Floats
    share_within_se: Floats
    discounted_within: Floats
    p5: Estimate
    p25: Estimate
    p50: Estimate
    p75: Estimate
    p95: Estimate
    never_share: Estimate
    discounted_never_share: Estimate
    lasting_share: Estimate | None = None


@dataclass(frozen=True)
class Worth:
    """Net present value: everything the purchase brings and costs, discounted to the day of purchase.

    bin_edges : shape (B + 1,) money.
    bin_share : shape (B,) share of draws in each bin (sums to 1). 20-60 bins, equal width, computed over
        all draws (put the extreme half per cent at each end into the outermost bins if tails are long, and
        set `ends_gathered`).
    """

    mean: Estimate
    sd: Estimate
    p5: Estimate
    p25: Estimate
    p50: Estimate
    p75: Estimate
    p95: Estimate
    loss_probability: Estimate
    mean_of_worst_5_percent: Estimate
    bin_edges: Floats
    bin_share: Floats
    ends_gathered: bool = False
    refused_share: float = 0.0


@dataclass(frozen=True)
class CashFan:
    """Cumulative cash, nominal: the purchase on day 0, then savings less costs.

    years : shape (N + 1,) 0..N.
    cash : shape (5, N + 1), rows at `CASH_LEVELS`.
    share_above_zero : shape (N + 1,), share of draws in which something was bought and the balance is at or above
        zero at the end of that year.
    refused_share : share of draws in which nothing was bought, whose balance stays at zero.
    """

    years: NDArray[np.int64]
    cash: Floats
    share_above_zero: Floats
    refused_share: float = 0.0


@dataclass(frozen=True)
class MonthlyEnergy:
    """Energy of the first year by calendar month, each shape (12,) in kWh, mean over the draws.

    Demand side, which stacks to the whole demand: `from_solar_kwh` (straight from the modules),
    `from_battery_kwh`, `from_grid_kwh` (grid to the loads the kit can reach), `out_of_reach_kwh` (loads the
    kit cannot reach, all from the grid), `unmet_kwh` (off grid or overloaded; zero elsewhere).

    Other: `solar_used_kwh` (solar that served a load, directly or through the battery, or was exported for
    money) with the 10 % and 90 % points over the draws; `export_kwh`, `curtailed_kwh` (solar nobody could
    use), `losses_kwh` (conversion and idle draw), `grid_to_battery_kwh`.
    """

    from_solar_kwh: Floats
    from_battery_kwh: Floats
    from_grid_kwh: Floats
    out_of_reach_kwh: Floats
    unmet_kwh: Floats
    solar_used_kwh: Floats
    solar_used_p10_kwh: Floats
    solar_used_p90_kwh: Floats
    export_kwh: Floats
    curtailed_kwh: Floats
    losses_kwh: Floats
    grid_to_battery_kwh: Floats


@dataclass(frozen=True)
class Week:
    """One week of one draw in half-hour means, on the local wall clock from midnight; arrays of shape (336,).

    season : "summer" | "winter" (of the site's hemisphere).
    first_day : for the axis and caption, "Monday 7 July".
    demand_w : all loads.
    out_of_reach_w : the part of them the kit cannot reach.
    solar_w : what the modules could deliver (pv_available).
    grid_import_w : everything drawn from the grid.
    export_w : sold or given to the grid.
    unmet_w : demand that nothing served.
    battery_wh : stored energy at the end of each half hour.
    capacity_wh : usable capacity of that draw, 0 without a battery.
    draw, year : which draw and horizon year (year 1 = first).
    """

    season: str
    first_day: str
    demand_w: Floats
    out_of_reach_w: Floats
    solar_w: Floats
    grid_import_w: Floats
    export_w: Floats
    unmet_w: Floats
    battery_wh: Floats
    capacity_wh: float
    draw: int
    year: int = 1


@dataclass(frozen=True)
class RankingRow:
    """How much one uncertain input (or the luck of weather and demand years) decides.

    key : dotted scenario key, or "luck" for what the pools bring.
    label : plain words.
    unit : from the key, "" if none.
    family : "weather" | "prices" | "ageing" | "habits" | "kit" | "tenure" | "other".
    share : first-order share of the variance of net present value.
    input_p10, input_p90 : the input's 10 % and 90 % points, None for luck.
    worth_at_p10, worth_at_p90 : mean net present value of the draws near those points, others drawn.
    """

    key: str
    label: str
    unit: str
    family: str
    share: Estimate
    input_p10: float | None = None
    input_p90: float | None = None
    worth_at_p10: Estimate | None = None
    worth_at_p90: Estimate | None = None


@dataclass(frozen=True)
class FitRow:
    """One line of the electrical fit.

    what : in plain words.
    value, limit : in `unit`.
    bound : "most" for an upper limit, "least" for a lower one.
    margin : decimal share of the limit, negative if passed.
    verdict : "ok" | "tight" | "refused" | "wasteful".
    advice : what would fit, "" if none needed.
    method : how it was worked out, with its source.
    """

    what: str
    value: float
    limit: float
    margin: float
    unit: str
    verdict: str
    advice: str
    method: str
    bound: str = "most"


@dataclass(frozen=True)
class Assumption:
    """One input of the scenario, uncertain or fixed, given or default.

    given : as text, "0.27" or "triangular 0.2 to 0.4, most likely 0.28".
    kind : "fixed" or the name of the distribution.
    source : where the figure comes from, or "common practice, no source"; "" is shown as "no source given".
    sketch : quantiles at `SKETCH_LEVELS`, shape (99,), or None if fixed.
    """

    key: str
    label: str
    family: str
    given: str
    kind: str
    unit: str
    source: str
    is_default: bool
    sketch: Floats | None = None


@dataclass(frozen=True)
class DrawTable:
    """The draws themselves, so that the reader can narrow an assumption on the page.

    inputs : for each uncertain input (key, label, unit).
    values : shape (inputs, draws).
    payback_years : shape (draws,), inf = never within the horizon.
    net_present_value : shape (draws,).
    """

    inputs: tuple[tuple[str, str, str], ...]
    values: Floats
    payback_years: Floats
    net_present_value: Floats


@dataclass(frozen=True)
class Provenance:
    """What it takes to get the same page again.

    command : the command line.
    versions : (library, version) pairs, riskcalc first.
    files : (name as in the scenario, sha256) pairs of every file read.
    made_on : ISO date or "" (left out so that reruns are identical).
    """

    command: str
    seed: int
    draws: int
    scrambles: int
    pool_years: int
    step_minutes: int
    versions: tuple[tuple[str, str], ...]
    files: tuple[tuple[str, str], ...]
    made_on: str = ""


@dataclass(frozen=True)
class DetailRow:
    """One row of a table of details: words, unit ("money", "share", "share/year", "kWh", "h", "m" or ""), a figure a column."""

    label: str
    unit: str
    figures: tuple[Estimate, ...]


@dataclass(frozen=True)
class Detail:
    """A table that only some readers or scenarios need.

    key : "worth" and "investment" stand with the money, all others with the energy.
    columns : heading of each figure.
    """

    key: str
    title: str
    note: str
    columns: tuple[str, ...]
    rows: tuple[DetailRow, ...]


@dataclass(frozen=True)
class ReportData:
    """The whole page.

    name, description, place : from the scenario; the name is its title, if it has one.
    kit, home, tariff : their names, "" if unnamed.
    currency : ISO 4217 code.
    coupling : "sockets" | "plug_in" | "whole_home" | "off_grid" | "none".
    headline_years : the N of "pays back within N years"; at most the horizon.
    first_year : figures in the order to show; must hold key "saving" (unit "money").
    weeks : none, one or two.
    ranking : strongest first, empty when nothing varies.
    ranking_method : one sentence on how.
    fit : empty without modules.
    cautions : from `riskcalc.pages.cautions.cautions`.
    notes : limits of this very run that belong in the answer ("weather from one typical year only").
    weather_source, demand_source : citations.
    draws_table : None leaves out the section in which the reader narrows an assumption.
    details : tables for those who want more.
    insight : odds, information, break-even and claims; None leaves their sections out.
    method : from `riskcalc.pages.method.method`; empty leaves the appendix out.
    """

    name: str
    description: str
    place: str
    kit: str
    home: str
    tariff: str
    currency: str
    coupling: str
    horizon_years: int
    headline_years: int
    payback: Payback
    worth: Worth
    cash: CashFan
    first_year: tuple[Figure, ...]
    months: MonthlyEnergy
    weeks: tuple[Week, ...]
    ranking: tuple[RankingRow, ...]
    ranking_method: str
    fit: tuple[FitRow, ...]
    cautions: tuple[str, ...]
    assumptions: tuple[Assumption, ...]
    notes: tuple[str, ...]
    weather_source: str
    demand_source: str
    provenance: Provenance
    draws_table: DrawTable | None = None
    details: tuple[Detail, ...] = ()
    insight: Insight | None = None
    method: tuple[MethodPart, ...] = ()
