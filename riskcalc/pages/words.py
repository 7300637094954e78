"""The answer in plain words, made from the figures and saying no more than they do.

Odds are said as frequencies ("about 7 in 10 futures"), with the percentage and its standard error behind. A payback
that is not reached is always said beside the one that is.
"""

from __future__ import annotations

import math

from riskcalc.pages.data import Payback, ReportData, Worth
from riskcalc.pages.estimate import Estimate
from riskcalc.pages.rounding import NO_BREAK, money, money_estimate, percent_estimate, years
from riskcalc.uncertainty.quantity import counted

#: What N of "1 in N" may be, times a power of ten.
ROUND_STEPS = (1, 1.2, 1.5, 2, 2.5, 3, 4, 5, 6, 8, 10)
#: Keeps "7 in 10" on one line.
IN = f"{NO_BREAK}in{NO_BREAK}"
#: Frequencies people can picture; the nearest one is said. Each has its complement in the list.
FRACTIONS = (
    *((n, 10) for n in (1, 2, 3, 4, 6, 7, 8, 9)),
    *((1, 4), (3, 4), (1, 3), (2, 3), (1, 2)),
)


def frequency(share: Estimate, draws: int) -> str:
    """Return a share as a frequency of futures: "about 7 in 10 futures", "all but about 1 in 40 futures".

    Exactly none and exactly all name the number of draws, because neither is more than those draws can tell.
    """
    value = _value(share)
    if value <= 0:
        return f"none of the {draws:,} futures drawn"
    if value >= 1:
        return f"every one of the {draws:,} futures drawn"
    if value < 0.095:
        return f"about 1{IN}{_one_in(value)} futures"
    if value > 0.905:
        return f"all but about 1{IN}{_one_in(1 - value)} futures"
    above, below = min(FRACTIONS, key=lambda pair: abs(value - pair[0] / pair[1]))
    return "about half of all futures" if below == 2 else f"about {above}{IN}{below} futures"


def opening(report: ReportData) -> str:
    """Return the sentence that answers the question: in how many futures does it pay for itself, within how long."""
    draws, horizon = report.provenance.draws, report.horizon_years
    paid = paid_share(report)
    value = _value(paid)
    if report.coupling == "none":
        return "Nothing is bought in this scenario, so there is nothing to pay back."
    if certain(report) and report.payback.p50.value is not None:
        return f"With every input fixed, the kit pays for itself after {years(report.payback.p50)}."
    if certain(report):
        return f"With every input fixed, the kit does not pay for itself within {counted(horizon, 'year')}."
    if value in {0.0, 1.0}:
        return f"The kit pays for itself within {counted(horizon, 'year')} in {frequency(paid, draws)}."
    return f"In {frequency(paid, draws)} the kit pays for itself within {counted(horizon, 'year')}."


def worth_in_brief(report: ReportData) -> str:
    """Return the second sentence of the answer: what it brings over what it costs, in the money of today."""
    mean = report.worth.mean
    amount = money(abs(_value(mean)), report.currency, se=mean.se)
    on_average = "" if certain(report) else ", on average,"
    if report.coupling == "none" or _value(mean) == 0:
        return "Counted in the money of today, it brings as much as it costs."
    if _value(mean) < 0:
        return f"Counted in the money of today it costs{on_average} {amount} more than it brings."
    return f"Counted in the money of today it brings{on_average} {amount} more than it costs."


def answer(report: ReportData) -> tuple[str, ...]:
    """Return the sentences that follow the opening: never-share, when, worth, first year."""
    sentences = [_never(report), _when(report), _headline(report), _lasting(report), _worth(report), _saving(report)]
    return tuple(sentence for sentence in sentences if sentence)


def paid_share(report: ReportData) -> Estimate:
    """Return the share of draws paid back within the horizon (first crossing, nominal)."""
    never = report.payback.never_share
    return Estimate(1 - _value(never), never.se)


def certain(report: ReportData) -> bool:
    """Return True if every future is the same, so that there is no distribution to speak of."""
    return _value(report.worth.sd) == 0


def _never(report: ReportData) -> str:
    never = report.payback.never_share
    if _value(never) in {0.0, 1.0}:
        return ""
    said = _frequency_and_odds(never, report.provenance.draws)
    return f"In {said} it has still not done so when those {counted(report.horizon_years, 'year')} are over."


def _when(report: ReportData) -> str:
    payback = report.payback
    if certain(report):
        return ""
    if payback.p50.value is not None:
        return f"Half of all futures have paid it back after {years(payback.p50, with_error=True)}{_around(payback)}."
    if payback.p25.value is not None:
        return f"A quarter of all futures have paid it back after {years(payback.p25, with_error=True)}; fewer than half ever do."
    if payback.p5.value is not None:
        return f"The luckiest twentieth have paid it back after {years(payback.p5, with_error=True)}."
    return ""


def _around(payback: Payback) -> str:
    """Return what goes behind the middle payback: the range of nine in ten where there is one, else the lower part."""
    if payback.p5.value is not None and payback.p95.value is not None:
        return f", nine in ten between {_bare(payback.p5)} and {years(payback.p95)}"
    return f", a quarter after {years(payback.p25)}"


def _headline(report: ReportData) -> str:
    payback, within = report.payback, report.headline_years
    if within >= report.horizon_years or certain(report) or _value(payback.never_share) == 1:
        return ""
    odds = Estimate(float(payback.share_within[within - 1]), float(payback.share_within_se[within - 1]))
    return f"Within {counted(within, 'year')} it has paid back in {_frequency_and_odds(odds, report.provenance.draws)}."


def _lasting(report: ReportData) -> str:
    lasting = report.payback.lasting_share
    if lasting is None:
        return ""
    return (
        "A later replacement can push the balance below zero again: in "
        f"{percent_estimate(lasting, with_error=True)} of futures it stays paid back to the end."
    )


def _worth(report: ReportData) -> str:
    worth, currency = report.worth, report.currency
    if certain(report):
        return f"Its net present value is {money_estimate(worth.mean, currency)}."
    text = (
        f"Its net present value (all it brings less all it costs, later money discounted) is "
        f"{money_estimate(worth.mean, currency, with_error=True)} on average; nine futures in ten lie between "
        f"{money_estimate(worth.p5, currency)} and {money_estimate(worth.p95, currency)}. "
    )
    return text + _loss(worth, currency, report.provenance.draws)


def _loss(worth: Worth, currency: str, draws: int) -> str:
    loss = worth.loss_probability
    worst = money_estimate(worth.mean_of_worst_5_percent, currency, with_error=True)
    tail = f"the worst twentieth average {worst}"
    return f"It loses money in {_frequency_and_odds(loss, draws)}; {tail}."


def _saving(report: ReportData) -> str:
    saving = next(figure for figure in report.first_year if figure.key == "saving")
    text = f"In its first year it saves {money_estimate(saving.mean, report.currency, with_error=True)}"
    if saving.p10 is None or saving.p90 is None:
        return f"{text}."
    low, high = (money(v, report.currency, se=float("nan")) for v in (saving.p10, saving.p90))
    return f"{text} on average, between {low} and {high} in eight futures of ten."


def _one_in(share: float) -> str:
    """Return the N of "1 in N" as a round number, the nearest by ratio: 10, 12, 15, 20, 25, 30, 40 ... 100, 120 ..."""
    whole = 1 / share
    decade = 10 ** math.floor(math.log10(whole))
    nearest = min((step * decade for step in ROUND_STEPS), key=lambda number: abs(math.log(number / whole)))
    return f"{round(nearest):,}"


def _frequency_and_odds(share: Estimate, draws: int) -> str:
    said = frequency(share, draws)
    return said if _value(share) in {0.0, 1.0} else f"{said} ({percent_estimate(share, with_error=True)})"


def _bare(estimate: Estimate) -> str:
    return years(estimate).removesuffix("years").removesuffix("year").strip()


def _value(estimate: Estimate) -> float:
    if estimate.value is None:
        raise ValueError("a figure that must have a value has none")
    return estimate.value
