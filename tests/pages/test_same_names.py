"""The same thing has the same name on the page, on the screen, in the JSON and in the key of the scenario."""

import json
import re
from pathlib import Path
from typing import Any

import pytest

from riskcalc.pages.exhibits import energy, worth
from riskcalc.pages.exhibits.answer import reasons, verdict_words
from riskcalc.pages.figures import PLAIN
from riskcalc.pages.page import assess_page
from riskcalc.pages.screen import summary_lines
from riskcalc.scenario.fields import all_keys, declared_at
from riskcalc.scenario.schema import Scenario

ROOT = Path(__file__).parents[2]
TABLES = (energy.FIRST_YEAR, energy.OUTAGES, energy.WITHOUT_SUPPLY, energy.FORESIGHT, energy.CABLE, worth.MEASURES)
ROWS = [
    *((key, said) for rows in TABLES for key, said, _ in rows),
    *((key, said) for key, said, _ in energy.DEMAND),
    *energy.SOLAR.items(),
    *worth.KINDS.items(),
]


def stems(text: str) -> set[str]:
    """Return the stems of the words of a key or label: "replacements" and "replacement" have one."""
    return {re.sub(r"(ings|ing|ies|es|s|ed|e|y)$", "", word.lower())[:4] for word in re.findall(r"[A-Za-z]+", text)}


@pytest.mark.parametrize(("key", "said"), sorted(set(ROWS)), ids=str)
def test_a_figure_is_called_as_its_key(key: str, said: str) -> None:
    """The words of a row share more than a unit with the key that holds its figure in result.json."""
    words = stems(said.replace("not met", "unmet")) & stems(key.replace("_", " ").replace(".", " "))
    assert words - {"kwh", "year", "per", "hours", "hour", "of", "the"} or key.startswith("hours"), (key, said)


def test_an_input_has_one_name(only: dict[str, Any]) -> None:
    """The title of a key is its label in the result, in the list of keys and in the schema for editors."""
    listed = (ROOT / "scenarios/KEYS.md").read_text(encoding="utf-8")
    schema = json.dumps(json.loads((ROOT / "scenarios/scenario.schema.json").read_text(encoding="utf-8")))
    titles = {
        key: field.title
        for key in all_keys(Scenario)
        if (field := declared_at(Scenario, tuple(key.replace("<name>", "x").split(".")))[1]) is not None
    }
    rows = {row["key"]: row["label"] for row in only["assumptions"]}
    for key in ("purchase.price", "prices.trend_per_year", "kit.inverter.idle_w", "study.horizon_years"):
        assert rows[key] == titles[key], key
        assert f'"title": "{titles[key]}"' in schema, key
        assert f"`{key.rpartition('.')[2]}`" in listed, key


def test_page_and_screen_answer_in_the_same_words(only: dict[str, Any]) -> None:
    """The answer, the cost and what it brings stand on both, word for word."""
    page = re.sub(r"<[^>]*>", "", assess_page(only)).translate(PLAIN)
    screen = " ".join(summary_lines(only))
    for answer in (verdict_words(only), *reasons(only)):
        assert answer.translate(PLAIN) in page
        assert answer.translate(PLAIN) in screen
    for said in ("pays for itself within", "futures", "paid on the day of purchase"):
        assert said in page.lower(), said
        assert said in screen.lower(), said
