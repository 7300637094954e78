"""The answer while figures are turned: rough at once, sharper with every round, at last the one that `assess` gives.

Rounds double the draws; each keeps those at hand, so the last holds the bits of `riskcalc assess` with as many draws. The first
draws of a scramble meet the same years (`sampling.pool_year_of_draw`), so the first round takes a few tenths of a second.
A change stops what runs. One computation runs at a time.
"""

from __future__ import annotations

import threading
import traceback
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from riskcalc.answers.paid_back import headline, stay_figures
from riskcalc.errors import InputError
from riskcalc.pages.exhibits.answer import answer_words
from riskcalc.scenario import Scenario
from riskcalc.study.model import Assessment, assessment, doubled, world_of
from riskcalc.types import Floats
from riskcalc.uncertainty.sampling import draws_run
from riskcalc.uncertainty.summary import (
    as_dicts,
    estimate,
    known,
    mean,
    payback_figures,
    share_paid_back,
    worth_figures,
)
from riskcalc.years.pools import YearsAtHand

#: Draws of the first round at the most; all rounds up to the last double them.
FIRST_DRAWS = 128


class Outrun(Exception):  # noqa: N818 - not an error: a newer change waits
    """A newer change has come; what was being computed is no longer asked for."""


@dataclass(frozen=True)
class Pin:
    """An option kept for comparison: its name, its changes and its worth in each draw."""

    name: str
    changes: dict[str, str]
    net_present_value: Floats
    paid_back: Floats


def rounds(scenario: Scenario, *, stop: Callable[[], bool], at_hand: YearsAtHand | None = None) -> Iterator[Assessment]:
    """Yield a first assessment of few draws, then ever more, twice as many each time, to the study's.

    Raises
    ------
    Outrun
        As soon as `stop` says so, at the latest after a year of the horizon.
    InputError
        Whatever is wrong with the scenario.
    """

    def on_year(_year: int) -> None:
        if stop():
            raise Outrun

    every = draws_run(scenario.study.draws, scrambles=scenario.study.scrambles)
    draws = every
    while draws > FIRST_DRAWS and draws % (2 * scenario.study.scrambles) == 0:
        draws //= 2
    few = scenario.with_draws(draws) if draws < every else scenario
    world = world_of(few, at_hand)
    found = assessment(few, on_year=on_year, world=world)
    yield found
    while found.draws < every:
        on_year(0)
        found = doubled(found, on_year=on_year)
        yield found


def first_screen(found: Assessment, pins: list[Pin], *, all_draws: int) -> dict[str, Any]:
    """Return the figures that the workbench shows while the answer moves, each with its standard error."""
    money, scrambles, horizon = found.valuation, found.design.scrambles, found.scenario.study.horizon_years
    payback, worth = money.payback_years, money.net_present_value
    bought = found.simulation.course.bought
    outlay = -money.flows.by_kind["purchase"][0] if "purchase" in money.flows.by_kind else np.zeros(found.draws)
    saved = np.where(bought, money.saving[0], np.nan)
    within = [float((payback[bought] <= year).mean()) if bought.any() else 0.0 for year in range(1, horizon + 1)]
    said = as_dicts(worth_figures(worth, scrambles=scrambles))
    paid = payback_figures(np.where(bought, payback, np.nan), scrambles=scrambles)
    odds = estimate(np.where(bought, payback, np.nan), known(share_paid_back), scrambles=scrambles).as_dict()
    asked = min(found.scenario.study.odds_within_years or horizon, horizon)
    sentence = answer_words(
        {
            "provenance": {"draws": found.draws},
            "horizon_years": horizon,
            "headline": headline(found),
            "stay": stay_figures(found),
            "page": {"headline_years": asked, "coupling": "none" if found.scenario.kit is None else "some"},
            "paid_back_within_years": [{"value": share, "standard_error": odds["standard_error"]} for share in within],
            "payback_years": as_dicts(paid),
            "net_present_value": said,
        }
    )
    return {
        "sentence": sentence,
        "draws": found.draws,
        "all_draws": all_draws,
        "last": found.draws >= all_draws,
        "horizon_years": horizon,
        "currency": found.scenario.currency,
        "odds": odds,
        "bought_share": float(bought.mean()),
        "outlay": float(outlay[bought].mean()) if bought.any() else None,
        "payback_years": as_dicts(paid),
        "net_present_value": said,
        "first_year_saving": estimate(saved, known(mean), scrambles=scrambles).as_dict(),
        "paid_back_within_years": within,
        "pins": [_beside(pin, payback, worth, scrambles=scrambles) for pin in pins],
    }


def _beside(pin: Pin, payback: Floats, worth: Floats, *, scrambles: int) -> dict[str, Any]:
    """Return how the answer differs from a pinned one, future by future where both have the same futures."""
    few = of_first_draws(pin.net_present_value, len(worth), scrambles=scrambles)
    few_paid = of_first_draws(pin.paid_back, len(worth), scrambles=scrambles)
    better: dict[str, float | None] = {"value": None, "standard_error": None}
    odds = better
    if few is not None and few_paid is not None:
        better = estimate(worth - few, mean, scrambles=scrambles).as_dict()
        odds = estimate(np.isfinite(payback) - few_paid, mean, scrambles=scrambles).as_dict()
    return {
        "name": pin.name,
        "changes": pin.changes,
        "mean_worth": float(pin.net_present_value.mean()),
        "odds": float(pin.paid_back.mean()),
        "better_by": better,
        "odds_up_by": odds,
    }


def of_first_draws(values: Floats, draws: int, *, scrambles: int) -> Floats | None:
    """Return the values of the first `draws` draws, as a run of so few has them; None where there are not so many."""
    of_scramble = values.reshape(scrambles, -1)
    each = draws // scrambles
    return None if each > of_scramble.shape[1] else of_scramble[:, :each].ravel()


@dataclass
class Answering:
    """The one computation of a workbench: told of a scenario, it tells its listener of every round."""

    tell: Callable[[dict[str, Any]], None]
    pins: list[Pin] = field(default_factory=list)
    found: Assessment | None = None
    _asked: int = 0
    _years: YearsAtHand = field(default_factory=YearsAtHand)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def ask(self, scenario: Scenario) -> int:
        """Start on a scenario, call off what runs, and return the number of the question."""
        self._asked += 1
        number = self._asked
        threading.Thread(target=self._run, args=(number, scenario), name="riskcalc live", daemon=True).start()
        return number

    def stop(self) -> None:
        """Call off what runs."""
        self._asked += 1

    def _run(self, number: int, scenario: Scenario) -> None:
        with self._lock:
            if number != self._asked:
                return
            try:
                for found in rounds(scenario, stop=lambda: number != self._asked, at_hand=self._years):
                    every = draws_run(scenario.study.draws, scrambles=scenario.study.scrambles)
                    if number != self._asked:
                        return
                    if found.draws >= every:
                        self.found = found
                    self.tell({"question": number} | first_screen(found, self.pins, all_draws=every))
            except Outrun:
                return
            except InputError as error:
                if number == self._asked:
                    self.tell({"question": number, "problems": problems_of(error)})
            except Exception as error:  # noqa: BLE001 - a fault of ours must not leave the page waiting
                if number != self._asked:
                    return  # called off: the interpreter may be ending under it
                traceback.print_exc()
                fault = {
                    "key": "",
                    "given": f"a fault of riskcalc: {error!r}",
                    "accepted": "another change",
                    "hint": "",
                }
                self.tell({"question": number, "problems": [fault]})


def problems_of(error: InputError) -> list[dict[str, str]]:
    """Return every problem as the page shows it beside its field."""
    return [
        {"key": problem.key, "given": problem.given, "accepted": problem.accepted, "hint": problem.hint}
        for problem in error.problems
    ]
