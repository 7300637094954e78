"""Every option followed through the same futures.

What bears the same key in two options is drawn at the same point of its distribution in both: the discount rate of
both, the price of each kit, the idle draw of each inverter. The weather and demand years met in each year are the same,
and so is the noise behind the price path. Differences between options are then free of all the luck they share.

Worth is counted against doing nothing in the same home under the tariff of today. An option that goes with another
tariff is credited with what the change alone would save or cost.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np

from riskcalc.answers.check import questions_of, questions_of_options
from riskcalc.answers.own_figures import kept_draws, own_option
from riskcalc.answers.paid_back import stay_asked
from riskcalc.answers.question import Entry, entries, same_tariff, tariff_name
from riskcalc.errors import one_problem
from riskcalc.money.measures import net_present_value
from riskcalc.money.valuation import Valuation
from riskcalc.scenario import Scenario
from riskcalc.scenario.tariff import Tariff
from riskcalc.study.model import World, drawn_values, evaluated, random_keys, world_of
from riskcalc.types import Floats
from riskcalc.uncertainty.draw_axis import of_draws
from riskcalc.uncertainty.sampling import Design, design, draws_run
from riskcalc.uncertainty.summary import enough_draws_for
from riskcalc.years.planes import check_fit, scenario_fit
from riskcalc.years.pools import YearsAtHand
from riskcalc.years.simulation import Simulation
from riskcalc.years.tenure import Course

Kind = Literal["kit", "nothing", "tariff", "savings"]

NOTHING, SAVINGS = "do nothing", "put the money in savings"


@dataclass(frozen=True)
class Option:
    """One thing the household can do, and its worth in every draw, (draws,).

    `title` is what a reader calls it, the name unless given. `same_as` names the option that it equals by definition;
    it is then not counted among the choices. `payback_years` and `first_year_saving` (NaN where it is not bought) and `outlay`
    (money spent on the day of purchase) are there for kits; so are `stay_years`, the stays that the headline of its
    assessment is about (None where that is about a number of years), and `own`, the futures for a reader's own figures, where
    a page has room for them.
    """

    name: str
    kind: Kind
    worth: Floats
    scenario: Scenario | None = None
    payback_years: Floats | None = None
    outlay: Floats | None = None
    first_year_saving: Floats | None = None
    stay_years: Floats | None = None
    same_as: str | None = None
    title: str = ""
    own: Mapping[str, Any] | None = None

    @property
    def called(self) -> str:
        """What a reader calls it."""
        return self.title or self.name


@dataclass(frozen=True)
class Comparison:
    """All options, best mean worth first, on common draws.

    `limits` are what this very run cannot say well, `notes` what the weather and demand years rest on, `questions` what is
    possible but unusual, with the options it is asked of.
    """

    options: tuple[Option, ...]
    entries: tuple[Entry, ...]
    design: Design
    limits: tuple[str, ...]
    notes: tuple[str, ...]
    questions: tuple[dict[str, Any], ...]
    sources: tuple[tuple[str, str], ...]

    @property
    def choices(self) -> tuple[Option, ...]:
        """The options that are not another one under a second name."""
        return tuple(option for option in self.options if option.same_as is None)

    @property
    def worth(self) -> Floats:
        """Worth of every choice in every draw, (choices, draws)."""
        return np.stack([option.worth for option in self.choices])

    @property
    def first(self) -> Scenario:
        """A scenario whose study and currency hold for all."""
        return self.entries[0].scenario


def comparison(
    scenarios: Sequence[Scenario],
    *,
    today: Scenario | None = None,
    on_option: Callable[[], None] | None = None,
    at_hand: YearsAtHand | None = None,
    page_options: int = 0,
) -> Comparison:
    """Follow every option, doing nothing, changing the tariff only and saving the money through the same draws.

    Parameters
    ----------
    scenarios
        The options; one without a kit is the home as it is.
    today
        A scenario whose tariff every household has today; see `question.tariff_today`.
    on_option
        Told of each option that is done.
    page_options
        How many options the page has on which a reader may type in own figures; 0: there is no such page.

    Raises
    ------
    InputError
        If the options cannot be compared, or one of them is wrong by itself.
    """
    asked = entries(scenarios, today=today)
    switches = tariff_switches(asked)
    random = common_design([entry.scenario for entry in asked] + [bare for _, bare, _ in switches])
    at_hand = at_hand or YearsAtHand()
    change = {}
    for key, before, after in switches:
        bills = [_followed(bare, random, at_hand)[0].bill_without for bare in (before, after)]
        change[key] = _worth_of(bills[0] - bills[1], before, random)
    kept = kept_draws(random, options=page_options) if page_options and share_tariff(asked) else None
    found: list[Option] = []
    limits = [*_study_limits(scenarios, asked), *_draw_limits(random)]
    notes: list[str] = []
    sources: list[tuple[str, str]] = []
    asked_of: list[tuple[str, list[dict[str, str]]]] = []
    for entry in asked:
        gained = change.get(_switch_key(entry))
        if entry.scenario.kit is None:
            if gained is not None:
                found.append(Option(entry.name, "tariff", gained, entry.scenario, title=entry.title))
            continue
        money, world, simulation = _followed(entry.scenario, random, at_hand)
        pools = world.pools
        notes += [f"{entry.name}: {note}" for note in (*pools.weather.notes, *pools.demand.notes)]
        sources += [("weather", pools.weather.source), ("demand", pools.demand.source)]
        asked_of.append((entry.name, questions_of(entry.scenario, pools)))
        option = _kit_option(entry, money, simulation.course, gained)
        if kept is not None:
            values = {key: drawn[kept] for key, drawn in drawn_values(entry.scenario, random).items()}
            own = own_option(entry.scenario, random, of_draws(simulation, kept), values, kept)
            option = replace(option, own=own | {"targets_searched": world.optimised is not None})
        found.append(option)
        if on_option is not None:
            on_option()
    bare_tariffs = [entry.scenario.tariff for entry in asked if entry.scenario.kit is None]
    for entry in _one_per_switch(asked):
        if not any(same_tariff(entry.scenario.tariff, tariff) for tariff in bare_tariffs):
            name = f"only change the tariff to {tariff_name(entry.scenario.tariff)}"
            found.append(Option(name, "tariff", change[_switch_key(entry)], entry.without_kit(entry.scenario.tariff)))
    found.append(Option(NOTHING, "nothing", np.zeros(random.draws)))
    found.append(_savings(asked, found, random))
    ranked = sorted(found, key=lambda option: (-float(option.worth.mean()), option.name))
    questions = tuple(questions_of_options(asked_of))
    return Comparison(
        tuple(ranked), asked, random, tuple(limits), tuple(notes), questions, tuple(dict.fromkeys(sources))
    )


def common_design(scenarios: Sequence[Scenario]) -> Design:
    """Return the random numbers for all scenarios: every key that is uncertain in one of them has a dimension.

    Raises
    ------
    InputError
        If two scenarios correlate the same pair differently, or all correlations together cannot hold.
    """
    study = scenarios[0].study
    correlations: dict[tuple[str, str], float] = {}
    for scenario in scenarios:
        for pair, value in scenario.correlation_of().items():
            key = (min(pair), max(pair))
            if correlations.setdefault(key, value) != value:
                accepted = f"the same correlation of {key[0]} and {key[1]} in every option"
                raise one_problem(scenario.file, "correlations", value, accepted)
    try:
        return design(
            sorted({key for scenario in scenarios for key in random_keys(scenario)}),
            draws=draws_run(study.draws, scrambles=study.scrambles),
            years=study.horizon_years,
            pool_years=study.pool_years,
            seed=study.seed,
            scrambles=study.scrambles,
            columns=sorted({key for scenario in scenarios for key in scenario.quantities()}),
            correlations=correlations,
        )
    except np.linalg.LinAlgError as error:
        accepted = "correlations that can hold together over all options"
        raise one_problem(scenarios[0].file, "correlations", "no positive definite matrix", accepted) from error


def tariff_switches(asked: Sequence[Entry]) -> list[tuple[str, Scenario, Scenario]]:
    """Return (key, home without a kit today, the same under the other tariff) of each change of tariff."""
    return [
        (_switch_key(entry), entry.without_kit(entry.today), entry.without_kit(entry.scenario.tariff))
        for entry in _one_per_switch(asked)
    ]


def _one_per_switch(asked: Sequence[Entry]) -> list[Entry]:
    changing = {_switch_key(entry): entry for entry in reversed(asked) if entry.changes_tariff}
    return [changing[key] for key in sorted(changing)]


def _switch_key(entry: Entry) -> str:
    """Return what a change of tariff depends on: home, tariff, and how prices move."""
    tariff: Tariff = entry.scenario.tariff.model_copy(update={"name": ""})
    return repr((entry.household, tariff, entry.scenario.prices))


def share_tariff(asked: Sequence[Entry]) -> bool:
    """Return whether all options have one tariff, today's, and prices that move alike: what a reader types holds for all."""
    first = asked[0].scenario
    return all(
        not entry.changes_tariff
        and same_tariff(entry.scenario.tariff, first.tariff)
        and entry.scenario.prices == first.prices
        for entry in asked
    )


def _followed(scenario: Scenario, random: Design, at_hand: YearsAtHand) -> tuple[Valuation, World, Simulation]:
    """Return the money of one scenario, the world it lives in and its energy."""
    values = drawn_values(scenario, random)
    world = world_of(scenario, at_hand)
    check_fit(scenario, scenario_fit(scenario, world.pools.weather))
    simulation, money = evaluated(scenario, world, random, values)
    return money, world, simulation


def _kit_option(entry: Entry, money: Valuation, course: Course, gained: Floats | None) -> Option:
    worth = money.net_present_value if gained is None else money.net_present_value + gained
    return Option(
        entry.name,
        "kit",
        worth,
        entry.scenario,
        payback_years=np.where(course.bought, money.payback_years, np.nan),
        outlay=np.maximum(-money.flows.total[0], 0.0),
        first_year_saving=np.where(course.bought, money.saving[0], np.nan),
        stay_years=stay_asked(entry.scenario, course),
        title=entry.title,
    )


def _worth_of(saved: Floats, scenario: Scenario, random: Design) -> Floats:
    """Return the worth today of yearly amounts (years, draws), received at the end of each year."""
    values = drawn_values(scenario, random)
    flows = np.concatenate([np.zeros((1, saved.shape[1])), saved])
    return net_present_value(flows, discount_rate=values["prices.discount_rate_per_year"])


def _savings(asked: Sequence[Entry], found: Sequence[Option], random: Design) -> Option:
    """Return the savings account: what the dearest kit costs on the day of purchase is put aside over the horizon.

    Worth = outlay ((1 + s) / (1 + r))^years - outlay, with the account's rate s and the discount rate r of the dearest
    kit's scenario. Limiting case: s = r, also when no rate is given, is worth exactly nothing.
    """
    kits = [option for option in found if option.outlay is not None and option.scenario is not None]
    if not any(option.scenario and option.scenario.prices.savings_rate_per_year for option in kits):
        return Option(SAVINGS, "savings", np.zeros(random.draws), same_as=NOTHING)
    years = asked[0].scenario.study.horizon_years
    outlays, worths = [], []
    for option in sorted(kits, key=lambda option: option.name):
        assert option.scenario is not None
        assert option.outlay is not None
        values = drawn_values(option.scenario, random)
        discount_rate = values["prices.discount_rate_per_year"]
        rate = values.get("prices.savings_rate_per_year", discount_rate)
        outlays.append(option.outlay)
        worths.append(option.outlay * (((1.0 + rate) / (1.0 + discount_rate)) ** years - 1.0))
    dearest = np.argmax(np.stack(outlays), axis=0)
    return Option(SAVINGS, "savings", np.take_along_axis(np.stack(worths), dearest[None], axis=0)[0])


def _study_limits(scenarios: Sequence[Scenario], asked: Sequence[Entry]) -> list[str]:
    study = asked[0].scenario.study
    same = {"odds_within_years": study.odds_within_years}
    others = sorted({s.name for s in scenarios if s.study.model_copy(update=same) != study})
    if not others:
        return []
    return [
        f"{', '.join(others)}: calculated with the settings of another option, {study.draws} futures, seed {study.seed}"
    ]


def _draw_limits(random: Design) -> list[str]:
    if enough_draws_for(0.05, draws=random.draws):
        return []
    return [f"{random.draws} futures are too few to tell the best and worst 5 %; run at least 128"]
