"""What is possible but unusual in the input, joined from the scenario and from the data it names."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict
from typing import Any

from riskcalc.errors import Question
from riskcalc.scenario import Scenario, assumptions
from riskcalc.scenario.plausible import questions as of_scenario
from riskcalc.weather.doubts import place_questions, weather_questions
from riskcalc.weather.pool import WeatherPool
from riskcalc.years.pools import Pools
from riskcalc.years.schedule import price_series


def understood_files(**read: Any) -> dict[str, dict[str, str]]:
    """Return how each file was understood, in words by subject, under the name that the keyword gives it."""
    words = {name.replace("_", " "): dict(getattr(item, "understood", {})) for name, item in read.items()}
    return {name: said for name, said in words.items() if said}


def question_rows(scenario: Scenario, weather: WeatherPool, *data: Any) -> list[dict[str, str]]:
    """Return every question as a plain row with the name of its key in words: of the scenario, its weather, other data.

    Parameters
    ----------
    data
        What else was read from files; each may carry a tuple `questions`.

    Raises
    ------
    InputError
        If the site lies too far from its weather.
    """
    site = scenario.site
    found: list[Question] = [
        *of_scenario(scenario),
        # Years made from a built-in climate are as it is: only what somebody brought is questioned.
        *(() if site.weather.source == "climate" else weather_questions(weather)),
        *place_questions(
            weather,
            latitude_deg=site.latitude_deg,
            longitude_deg=site.longitude_deg,
            altitude_m=site.altitude_m,
            file=scenario.file,
        ),
    ]
    for item in data:
        found += getattr(item, "questions", ())
    names = {row.key: row.label for row in assumptions(scenario)}
    return [{"label": names.get(asked.key, asked.key), **asdict(asked)} for asked in dict.fromkeys(found)]


def questions_of(scenario: Scenario, pools: Pools) -> list[dict[str, str]]:
    """Return `question_rows` of a scenario and of everything that its pools were made from."""
    return question_rows(scenario, pools.weather, pools.demand, pools.measured, price_series(scenario))


def questions_of_options(asked: Iterable[tuple[str, list[dict[str, str]]]]) -> list[dict[str, Any]]:
    """Return the questions of several options, (name, rows) each: every question once, with the `options` it is asked of."""
    found: dict[tuple[str, ...], dict[str, Any]] = {}
    for name, rows in asked:
        for row in rows:
            found.setdefault(tuple(row.values()), {"options": [], **row})["options"].append(name)
    return list(found.values())
