"""Scenarios whose figures are sound one by one and out of all proportion together: a run of them ends in words or figures."""

from __future__ import annotations

import itertools
import tempfile
from functools import cache
from pathlib import Path

from hypothesis import strategies as st
from inputs import SMALL

from riskcalc.answers.page_dict import page_dict, whole_result
from riskcalc.errors import InputError
from riskcalc.output import json_text
from riskcalc.pages.page import assess_page
from riskcalc.scenario import read_scenario
from riskcalc.study.model import assessment

#: Changes that keep a case short, whatever else it says.
SHORT = ("study.draws=16", "study.scrambles=8", "study.pool_years=1", "study.step_minutes=30", "study.horizon_years=2")
#: The small scenario as it is, and on the wires of the home, selling what it has stored by day.
KITS = ((), ('kit.coupling="whole_home"', 'dispatch.export_stored_at=["day"]', "tariff.export_price_per_kwh=0.4"))
#: Every kind of figure: nothing, hardly anything, shares, sizes of homes and of towns, below nothing.
FIGURES = (
    0,
    1e-12,
    1e-6,
    0.001,
    0.01,
    0.05,
    0.5,
    0.99,
    1,
    1.5,
    2,
    10,
    60,
    100,
    1e3,
    1e4,
    1e6,
    1e9,
    1e12,
    -0.01,
    -1,
    -50,
)


@cache
def sound_figures() -> dict[str, list[float]]:
    """Return the figures that the small scenario takes at each key that takes any, by trying them all."""
    from riskcalc.scenario.fields import all_keys
    from riskcalc.scenario.schema import Scenario

    named = {"surfaces": "balcony", "rates": "day", "arrays": "one", "inputs": "solar"}
    keys = set()
    for key in all_keys(Scenario):
        parts = key.split(".")
        for before, part in itertools.pairwise(range(len(parts))):
            if parts[part] == "<name>":
                parts[part] = named.get(parts[before], "one")
        keys.add(".".join(parts))
    keys = {key for key in keys if not key.startswith("study.")}
    sound = {key: [figure for figure in FIGURES if taken(key, figure)] for key in sorted(keys)}
    return {key: figures for key, figures in sound.items() if figures}


def taken(key: str, figure: float) -> bool:
    """Return whether the small scenario takes this figure at this key."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "small.toml"
        path.write_text(SMALL, encoding="utf-8")
        try:
            read_scenario(path, [f"{key}={figure!r}"])
        except InputError:
            return False
    return True


def written(pair: tuple[float, float]) -> str:
    """Return one figure, or everything between two as one distribution."""
    low, high = sorted(pair)
    return repr(low) if low == high else f'{{ distribution = "uniform", low = {low!r}, high = {high!r} }}'


def changes() -> st.SearchStrategy[list[str]]:
    """Return one to four changes of keys of the small scenario, each sound by itself, on one of two kits."""
    sound = sound_figures()

    def one(key: str) -> st.SearchStrategy[str]:
        figure = st.sampled_from(sound[key])
        both = st.one_of(figure.map(lambda same: (same, same)), st.tuples(figure, figure))
        return both.map(lambda pair: f"{key}={written(pair)}")

    some = st.lists(st.sampled_from(sorted(sound)).flatmap(one), min_size=1, max_size=4)
    return st.builds(lambda kit, changed: [*kit, *changed], st.sampled_from(KITS), some)


def whole_run(folder: Path, overrides: list[str]) -> None:
    """Read, simulate and summarise, all in memory; write the page as well where a single key is changed."""
    path = folder / "small.toml"
    path.write_text(SMALL, encoding="utf-8")
    found = assessment(read_scenario(path, [*overrides, *SHORT]))
    figures = whole_result(found)
    json_text(figures)
    if len(overrides) in (1, 1 + len(KITS[1])):
        assess_page(page_dict(found, figures=figures, command="riskcalc assess small.toml"))
