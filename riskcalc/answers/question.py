"""What is asked: options made comparable, the households they belong to, and the tariff each household has today.

Nothing here depends on the order in which the options are given.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from riskcalc.errors import InputError, Problem, one_problem
from riskcalc.scenario import Scenario
from riskcalc.scenario.dispatch import Dispatch
from riskcalc.scenario.study import Study
from riskcalc.scenario.tariff import Tariff
from riskcalc.years.pools import reaches_all


@dataclass(frozen=True)
class Entry:
    """One scenario of a comparison under a name and a title of its own, with the tariff its household has today.

    `place` is that in the order in which the scenarios were given.
    """

    name: str
    title: str
    scenario: Scenario
    household: str
    today: Tariff
    place: int = 0

    @property
    def changes_tariff(self) -> bool:
        """Return whether choosing it means another tariff than today's."""
        return not same_tariff(self.scenario.tariff, self.today)

    def without_kit(self, tariff: Tariff) -> Scenario:
        """Return the same household with nothing bought, under a tariff."""
        bare = {"kit": None, "purchase": None, "tenure": None, "dispatch": Dispatch(), "tariff": tariff}
        return self.scenario.model_copy(update=bare)


def entries(scenarios: Sequence[Scenario], *, today: Scenario | None = None) -> tuple[Entry, ...]:
    """Return the options, all under one study, sorted by household and name.

    Parameters
    ----------
    scenarios
        At least one.
    today
        Its tariff is the one that every household has today; only that table is read. None: see `tariff_today`.

    Raises
    ------
    InputError
        If currencies or horizons differ, or the tariff of today is not known.
    """
    study = common_study(scenarios)
    _check_currencies([*scenarios, *([] if today is None else [today])])
    names = _own_names(scenarios)
    alike = [scenario.model_copy(update={"study": study}) for scenario in scenarios]
    found = []
    for place, (name, title, scenario) in enumerate(zip(names, own_titles(scenarios, names), alike, strict=True)):
        household = household_of(scenario)
        neighbours = [other for other in alike if household_of(other) == household]
        tariff = tariff_today(neighbours) if today is None else today.tariff
        found.append(Entry(name, title, scenario, household, tariff, place))
    # Weather and demand years are kept from one option to the next, so those who share them follow one another.
    return tuple(sorted(found, key=lambda entry: (entry.household, reaches_all(entry.scenario), entry.name)))


def common_study(scenarios: Sequence[Scenario]) -> Study:
    """Return the study that holds for all: the most thorough one, whichever option asks for it.

    That is the one with most draws, then most pool years, most scrambles, the finest step, the lowest seed.

    Raises
    ------
    InputError
        If the horizons differ: worths over different numbers of years cannot be compared.
    """
    horizons = sorted({scenario.study.horizon_years for scenario in scenarios})
    if len(horizons) > 1:
        accepted = f"the same horizon in every option ({' and '.join(map(str, horizons))} years are given)"
        hint = f"--set study.horizon_years={horizons[0]} holds for all of them"
        raise InputError(
            [Problem(s.file, "study.horizon_years", str(s.study.horizon_years), accepted, hint) for s in scenarios]
        )
    return max(
        (scenario.study for scenario in scenarios),
        key=lambda study: (study.draws, study.pool_years, study.scrambles, -study.step_minutes, -study.seed),
    )


def household_of(scenario: Scenario) -> str:
    """Return what tells one household from another: its site and home, whatever they are called."""
    site = scenario.site.model_copy(update={"place": ""})
    return repr((site, scenario.home.model_copy(update={"name": ""})))


def same_tariff(one: Tariff, other: Tariff) -> bool:
    """Return whether two tariffs charge the same, whatever they are called."""
    return one.model_copy(update={"name": ""}) == other.model_copy(update={"name": ""})


def tariff_today(scenarios: Sequence[Scenario]) -> Tariff:
    """Return the tariff that a household has today, from all options in that home.

    The tariff on which all of them agree; else that of the options without a kit, which describe the home as it is.

    Raises
    ------
    InputError
        If they differ and none of them, or more than one tariff, is without a kit.
    """
    bare = [scenario for scenario in scenarios if scenario.kit is None]
    for known in (scenarios, bare):
        if known and all(same_tariff(known[0].tariff, other.tariff) for other in known):
            return min((scenario.tariff for scenario in known), key=lambda tariff: tariff.name)
    names = ", ".join(sorted({scenario.name for scenario in scenarios}))
    accepted = f"which tariff the household has today: {names} differ in it"
    hint = "name a scenario that has it with --today, or add a scenario of this home without [kit]"
    raise one_problem(min(scenarios, key=lambda scenario: scenario.name).file, "tariff", "not said", accepted, hint)


def tariff_name(tariff: Tariff) -> str:
    """Return what a tariff is called, else the names of its rates."""
    return tariff.name or "the tariff with " + " and ".join(tariff.rates)


def _check_currencies(scenarios: Sequence[Scenario]) -> None:
    found = sorted({scenario.currency for scenario in scenarios})
    if len(found) > 1:
        accepted = f"the same currency in every option ({' and '.join(found)} are given)"
        raise InputError([Problem(s.file, "currency", s.currency, accepted) for s in scenarios])


def _own_names(scenarios: Sequence[Scenario]) -> list[str]:
    """Return the names of the scenarios, those that occur again with a number behind."""
    names: list[str] = []
    for scenario in scenarios:
        number = 1 + sum(before.name == scenario.name for before in scenarios[: len(names)])
        names.append(scenario.name if number == 1 else f"{scenario.name} ({number})")
    return names


def own_titles(scenarios: Sequence[Scenario], names: Sequence[str]) -> list[str]:
    """Return what a reader calls each option: its title, with its name behind where another one is called the same."""
    called = [scenario.called for scenario in scenarios]
    return [
        title if called.count(title) == 1 or title == name else f"{title} ({name})"
        for title, name in zip(called, names, strict=True)
    ]
