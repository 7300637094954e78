"""One small assessment for the tests of the pages, played once."""

from __future__ import annotations

import copy
import runpy
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest

from riskcalc.answers.check import check_figures
from riskcalc.answers.page_dict import page_dict, whole_result
from riskcalc.answers.ranked import ranked
from riskcalc.answers.rows import ranked_figures
from riskcalc.answers.trace import trace_dict, traced_year
from riskcalc.pages.figures import estimate
from riskcalc.scenario import read_scenario
from riskcalc.study.model import Assessment, assessment

TESTS = Path(__file__).parents[1]
SMALL = runpy.run_path(str(TESTS / "conftest.py"))["SMALL"]
HEADLESS = runpy.run_path(str(TESTS / "headless.py"))
CHANGES = (
    "study.draws=512",
    "study.scrambles=8",
    "study.pool_years=8",
    "study.horizon_years=6",
    "study.step_minutes=30",
    'title="A flat in the south"',
    'description="A flat of our own invention."',
    'kit.name="Small unit (invented)"',
    'home.name="Two rooms (invented)"',
    'purchase.price={distribution="uniform", low=150, high=420}',
    'purchase.resale_share={distribution="uniform", low=0, high=0.2}',
    'tariff.rates.day.import_price_per_kwh={distribution="triangular", low=0.25, mode=0.31, high=0.4}',
    'kit.inverter.idle_w={distribution="uniform", low=8, high=20}',
    'home.surfaces.balcony.shading={distribution="uniform", low=0, high=0.3}',
    "prices.trend_per_year=0.02",
    "prices.spread=0.04",
    "prices.persistence=0.3",
    "kit.inputs.solar.tracker_min_v=12",
    "claims=[{ sentence = 'Pays back in two years.', measure = 'payback_years', at_most = 2 }]",
)


@pytest.fixture(scope="session")
def played(tmp_path_factory: pytest.TempPathFactory) -> Assessment:
    """Return a small assessment in which some futures pay back."""
    path = tmp_path_factory.mktemp("small") / "small.toml"
    path.write_text(SMALL, encoding="utf-8")
    return assessment(read_scenario(path, CHANGES))


@pytest.fixture(scope="session")
def only(played: Assessment) -> dict[str, Any]:
    """Return what its page is made of; not to be changed."""
    return page_dict(played, figures=whole_result(played), command="riskcalc assess small.toml")


@pytest.fixture(scope="session")
def small_dicts(
    played: Assessment, only: dict[str, Any], tmp_path_factory: pytest.TempPathFactory
) -> dict[str, dict[str, Any]]:
    """Return what the smaller pages are made of, those of rank, update, check and trace."""
    path = tmp_path_factory.mktemp("ranked") / "small.toml"
    path.write_text(SMALL, encoding="utf-8")
    study = ("draws=64", "pool_years=8", "scrambles=4", "step_minutes=30", "horizon_years=3")
    price = 'purchase.price={distribution="uniform", low=50, high=900}'
    scenario = read_scenario(path, (*(f"study.{change}" for change in study), price))
    ranking = ranked(scenario, points=8, most_points=8, until_settled=False, screen=False, level=0.5)
    columns = traced_year(played.scenario, draw=3, year=1, world=played.world)
    return {
        "rank": {**ranked_figures(ranking), "page": {"command": "riskcalc rank"}},
        "update": update_of(only),
        "check": {**check_figures(played.scenario), "title": only["title"], "page": {"command": "riskcalc check"}},
        "trace": trace_dict(played.scenario, played.world, columns, draw=3, year=1, command="riskcalc trace"),
    }


def update_of(only: Mapping[str, Any]) -> dict[str, Any]:
    """Return the figures of an update as its page reads them, its verdicts made up."""
    side = {
        "paid_back_within": {**only["paid_back_within_years"][2], "years": 3},
        **{name: only[name] for name in ("payback_years", "net_present_value")},
    }
    track = {"expected": {"p10": 90.0, "p50": 100.0, "p90": 110.0}}
    places = (
        ("import_kwh", 95.0, "within", "on track"),
        ("generation_kwh", 80.0, "below", "behind"),
        ("bill", 85.0, "below", "ahead"),
    )
    return {
        **{name: only[name] for name in ("provenance", "currency", "horizon_years", "title")},
        "verdict": "behind",
        "before": side,
        "revised": side,
        "odds_moved": {
            "change": 0.1,
            "rows": [{"key": "k", "label": "Price of the kit", "change": estimate(0.08, 0.01)}],
        },
        "bill_per_kwh": {"measured": 0.35, "expected": {"p10": 0.3, "p50": 0.32, "p90": 0.34}},
        "draws": 512,
        "effective_draws": 99.0,
        "measured": {"months": 3, "from": "2026-04", "to": "2026-06"},
        "tracks": [track | {"quantity": q, "measured": m, "place": p, "verdict": v} for q, m, p, v in places],
        "inputs": [
            {
                "key": "k",
                "label": "Price of the kit",
                "shift": 1.0,
                "before": {"p50": 1.5},
                "revised": track["expected"],
            }
        ],
        "limits": ["generation was not measured, so more sun and lower use are hard to tell apart"],
        "page": {"command": "riskcalc update"},
    }


@pytest.fixture
def example(only: dict[str, Any]) -> dict[str, Any]:
    """Return what its page is made of, to be changed at will."""
    return copy.deepcopy(only)


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """Return a headless Chromium; one at a time may run in a process, so it ends with the module."""
    with HEADLESS["chromium"]() as started:
        yield started


@pytest.fixture
def opened(browser: Any, tmp_path: Path) -> Callable[..., Any]:
    """Return a function that opens a page in a window of a width and scheme, with what it says and asks for."""

    def open_page(
        html: str, *, width: int = 900, scheme: str = "light", **settings: Any
    ) -> tuple[Any, list[str], list[str]]:
        path = tmp_path / "report.html"
        path.write_text(html, encoding="utf-8")
        context = browser.new_context(
            viewport={"width": width, "height": 800}, color_scheme=scheme, **{"bypass_csp": True, **settings}
        )
        page, said, asked = context.new_page(), [], []
        page.on("console", lambda message: said.append(message.text))
        page.on("pageerror", lambda error: said.append(str(error)))
        page.on("request", lambda request: asked.append(request.url))
        page.goto(path.as_uri())
        return page, said, asked

    return open_page
