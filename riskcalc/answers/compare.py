"""Options side by side on common draws: which is best, how sure that is, what a wrong choice would cost."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import combinations
from typing import Any

import numpy as np

from riskcalc.answers.assess import made_with
from riskcalc.answers.check import scenario_traits
from riskcalc.answers.options import Comparison, Option
from riskcalc.answers.own_figures import shared_panel
from riskcalc.answers.question import Entry, tariff_name
from riskcalc.answers.stay import StayCurve, StayPair, against_nothing, stay_pairs
from riskcalc.money.measures import dominance_order
from riskcalc.scenario import Scenario, assumptions
from riskcalc.types import Floats
from riskcalc.uncertainty import summary
from riskcalc.uncertainty.summary import QUANTILES, Estimate, estimate, mean, quantile_estimate


@dataclass(frozen=True)
class Pair:
    """Two choices: `first` less `second`, draw by draw.

    `difference` holds mean and quantiles, `first_better` the share of draws in which the first is worth more (ties
    count half). `independent_se` is the standard error that the mean difference would have if the two had been drawn
    apart, None where one of them is the same in every draw. `dominating` names the one that dominates, at `order` 0
    (in every draw), 1 or 2 (`money.dominance`).
    """

    first: str
    second: str
    difference: dict[str, Estimate]
    first_better: Estimate
    independent_se: float | None
    dominating: str | None
    order: int | None

    @property
    def gain_of_common_draws(self) -> float | None:
        """Standard error of the mean difference with draws apart over that with common draws; None where one is 0."""
        common = self.difference["mean"].standard_error
        return None if not common or not self.independent_se else self.independent_se / common


def best_shares(worth: Floats) -> Floats:
    """Return how far each choice is the best of its draw: 1, 0, or 1/n where n of them tie, (choices, draws)."""
    best = worth == worth.max(axis=0)
    return best / best.sum(axis=0)


def regrets(worth: Floats) -> Floats:
    """Return how much more the best choice of each draw is worth, never negative, (choices, draws)."""
    return worth.max(axis=0) - worth


def value_of_knowing(worth: Floats, *, scrambles: int) -> Estimate:
    """Return what it would be worth to know the draw before choosing (expected value of perfect information).

    Mean of the best worth in each draw less the best mean worth, which is the least expected regret. Limiting case: one
    choice is best in every draw and knowing changes nothing, 0.
    """
    return estimate(
        np.arange(worth.shape[1], dtype=np.float64),
        lambda part: float(regrets(worth[:, part.astype(int)]).mean(axis=1).min()),
        scrambles=scrambles,
    )


def pairs(names: Sequence[str], worth: Floats, *, scrambles: int) -> tuple[Pair, ...]:
    """Return every pair of choices, in the order of `names`."""
    return tuple(
        pair(names[one], names[other], worth[one], worth[other], scrambles=scrambles)
        for one, other in combinations(range(len(names)), 2)
    )


def pair(first: str, second: str, first_worth: Floats, second_worth: Floats, *, scrambles: int) -> Pair:
    """Return what separates two choices on common draws."""
    difference = first_worth - second_worth
    figures = {"mean": estimate(difference, mean, scrambles=scrambles)}
    for name, share in QUANTILES.items():
        figures[name] = replace(quantile_estimate(difference, share, scrambles=scrambles), interval_95=None)
    apart = [estimate(worth, mean, scrambles=scrambles).standard_error for worth in (first_worth, second_worth)]
    dominating, order = dominance(first, second, first_worth, second_worth)
    return Pair(
        first=first,
        second=second,
        difference=figures,
        first_better=estimate(np.where(difference == 0.0, 0.5, difference > 0.0), mean, scrambles=scrambles),
        independent_se=float(np.hypot(apart[0], apart[1])) if apart[0] and apart[1] else None,
        dominating=dominating,
        order=order,
    )


def dominance(first: str, second: str, first_worth: Floats, second_worth: Floats) -> tuple[str | None, int | None]:
    """Return which of two choices dominates the other, and at which order; (None, None) where neither does."""
    for name, better, worse in ((first, first_worth, second_worth), (second, second_worth, first_worth)):
        order = dominance_order(better, worse)
        if order is not None:
            return name, order
    return None, None


def result(found: Comparison, curves: Sequence[StayCurve] = ()) -> dict[str, Any]:
    """Return every figure under the names documented in reports/README.md, ready for JSON."""
    scrambles = found.design.scrambles
    names = [option.name for option in found.choices]
    study = found.first.study
    return {
        "currency": found.first.currency,
        "horizon_years": study.horizon_years,
        "today": today_rows(found),
        "options": option_rows(found),
        "value_of_knowing": value_of_knowing(found.worth, scrambles=scrambles).as_dict(),
        "pairs": [pair_row(pair) for pair in pairs(names, found.worth, scrambles=scrambles)],
        "length_of_stay": [stay_row(pair) for pair in all_stay_pairs(curves)],
        "limits": list(found.limits),
        "notes": list(found.notes),
        "questions": list(found.questions),
        "provenance": {
            **made_with(found.first, draws=found.design.draws),
            "scrambles": scrambles,
            "draws_for_length_of_stay": curves[0].worth.shape[1] if curves else None,
            "sources": [{"of": kind, "source": source} for kind, source in found.sources],
            "files": [{"path": path, "sha256": digest} for path, digest in files(found)],
        },
        "compared": compared_rows(found),
        "differing": differing([entry.scenario for entry in in_order(found)]),
    }


def page_dict(
    found: Comparison, curves: Sequence[StayCurve], *, figures: Mapping[str, Any], command: str
) -> dict[str, Any]:
    """Return everything the page shows: `figures` is `result`, and under `page` what only the page needs.

    `mean_worth` is (options, stays), rows as `letters`.
    """
    by_name = {row["option"]: row for row in figures["compared"]}
    shown = [by_name[curve.name] for curve in curves]
    stay = (
        {
            "letters": [row["letter"] for row in shown],
            "titles": [row["title"] for row in shown],
            "stays": list(curves[0].stays),
            "mean_worth": np.stack([curve.worth.mean(axis=1) for curve in curves]),
        }
        if curves
        else None
    )
    traits = [scenario_traits(entry.scenario) for entry in in_order(found)]
    own = panel_of(found, page_options=len(found.entries))
    return {**figures, "page": {"command": command, "stay": stay, "traits": traits, "own": own}}


def panel_of(found: Comparison, *, page_options: int, most: int | None = None) -> dict[str, Any] | None:
    """Return the panel in which a reader types own figures for the options, at the `most` best on average."""
    kits = [option for option in found.options if option.own is not None][:most]
    letters = {row["option"]: row["letter"] for row in compared_rows(found)}
    own = [
        (option.called if most else f"{letters[option.name]} · {option.called}", option.scenario, dict(option.own))
        for option in sorted(kits, key=lambda option: letters[option.name])
        if option.own is not None and option.scenario is not None
    ]
    panel = shared_panel(own, found.design, page_options=page_options)
    return panel and panel | {"targets_searched": any(option["targets_searched"] for option in panel["options"])}


def compared_rows(found: Comparison) -> list[dict[str, Any]]:
    """Return the options as they were given, under the letters of the page."""
    return [
        {
            "letter": letter(place),
            "option": entry.name,
            "title": entry.title,
            "description": entry.scenario.description,
            "file": entry.scenario.files[0].path if entry.scenario.files else None,
        }
        for place, entry in enumerate(in_order(found))
    ]


def in_order(found: Comparison) -> list[Entry]:
    """Return the options in the order in which they were given: the first is A."""
    return sorted(found.entries, key=lambda entry: entry.place)


def letter(place: int) -> str:
    """Return A, B, C ... Z, A2, B2 ..."""
    return "ABCDEFGHIJKLMNOPQRSTUVWXYZ"[place % 26] + (str(place // 26 + 1) if place >= 26 else "")


def differing(scenarios: Sequence[Scenario]) -> list[dict[str, Any]]:
    """Return key, words and what each scenario gives of every setting in which the scenarios differ."""
    given: dict[str, dict[int, str]] = {}
    labels: dict[str, str] = {}
    for index, scenario in enumerate(scenarios):
        for row in assumptions(scenario):
            given.setdefault(row.key, {})[index] = f"{row.given} {row.unit}".strip()
            labels.setdefault(row.key, row.label)
    cells = {key: [row.get(index, "–") for index in range(len(scenarios))] for key, row in given.items()}
    return [{"key": key, "label": labels[key], "given": row} for key, row in cells.items() if len(set(row)) > 1]


def option_rows(found: Comparison) -> list[dict[str, Any]]:
    """Return one row per option, best mean worth first."""
    scrambles = found.design.scrambles
    shares, regret = best_shares(found.worth), regrets(found.worth)
    place = {option.name: index for index, option in enumerate(found.choices)}
    rows = []
    for option in found.options:
        row: dict[str, Any] = {"option": option.name, "title": option.called, "kind": option.kind}
        row["same_as"] = option.same_as
        row["net_present_value"] = summary.as_dicts(summary.worth_figures(option.worth, scrambles=scrambles))
        if option.same_as is None:
            index = place[option.name]
            row["best_share"] = summary.estimate(shares[index], summary.mean, scrambles=scrambles).as_dict()
            row["expected_regret"] = summary.estimate(regret[index], summary.mean, scrambles=scrambles).as_dict()
        row |= _kit_figures(option, scrambles=scrambles)
        rows.append(row)
    return rows


def pair_row(pair: Pair) -> dict[str, Any]:
    """Return a pair of choices: all figures are of the first less the second."""
    return {
        "first": pair.first,
        "second": pair.second,
        "difference": summary.as_dicts(pair.difference),
        "first_better_share": pair.first_better.as_dict(),
        "standard_error_with_draws_apart": pair.independent_se,
        "gain_of_common_draws": pair.gain_of_common_draws,
        "dominating": pair.dominating,
        "dominance_order": pair.order,
    }


def all_stay_pairs(curves: Sequence[StayCurve]) -> list[StayPair]:
    """Return owning against renting, then each option against doing nothing."""
    return [*stay_pairs(curves), *(against_nothing(curve) for curve in curves)]


def stay_row(pair: StayPair) -> dict[str, Any]:
    """Return two curves over the length of stay: all figures are of the first less the second."""
    return {
        "first": pair.first,
        "second": pair.second,
        "break_even_years": pair.break_even_years.as_dict(),
        "better_after": pair.better_after,
        "at_move": {"first": pair.first_at_move, "second": pair.second_at_move},
        "stays": [
            {"years": years, "difference": difference.as_dict(), "first_better_share": better.as_dict()}
            for years, difference, better in zip(pair.stays, pair.difference, pair.first_better, strict=True)
        ],
    }


def today_rows(found: Comparison) -> list[dict[str, Any]]:
    """Return for each household the tariff it has today and the options that belong to it."""
    rows: dict[str, dict[str, Any]] = {}
    for entry in found.entries:
        scenario = entry.scenario
        row = rows.setdefault(
            entry.household,
            {
                "home": scenario.home.name,
                "place": scenario.site.place,
                "tariff": tariff_name(entry.today),
                "options": [],
            },
        )
        row["options"].append(entry.name)
    return list(rows.values())


def files(found: Comparison) -> list[tuple[str, str]]:
    """Return path and hash of every file behind the options, each once, sorted by path."""
    return sorted({(used.path, used.sha256) for entry in found.entries for used in entry.scenario.files})


def draw_table(found: Comparison) -> tuple[list[str], Iterable[list[object]]]:
    """Return columns and rows of draws.csv: one row per draw, one column of worth per option."""
    table = np.stack([option.worth for option in found.options], axis=1).tolist()
    return ["draw", *(option.name for option in found.options)], ([draw, *row] for draw, row in enumerate(table))


def _kit_figures(option: Option, *, scrambles: int) -> dict[str, Any]:
    if option.payback_years is None or option.outlay is None or option.first_year_saving is None:
        return {}
    # Where permission is refused nothing is paid or saved: like the odds, outlay and saving are those of the other futures.
    refused = np.isnan(option.payback_years)
    outlay = np.where(refused, np.nan, option.outlay)
    paid = summary.estimate(option.payback_years, summary.known(summary.share_paid_back), scrambles=scrambles)
    of_known = partial(summary.estimate, statistic=summary.known(summary.mean), scrambles=scrambles)
    in_stay = None
    if option.stay_years is not None:
        within = np.where(refused, np.nan, option.payback_years <= option.stay_years)
        in_stay = of_known(within).as_dict()
    return {
        "paid_back_share": paid.as_dict(),
        "payback_years": summary.as_dicts(summary.payback_figures(option.payback_years, scrambles=scrambles)),
        "paid_back_within_stay_share": in_stay,
        "first_year_saving": of_known(option.first_year_saving).as_dict(),
        "outlay": of_known(outlay).as_dict(),
        "refused_share": summary.estimate(refused * 1.0, summary.mean, scrambles=scrambles).as_dict(),
    }
