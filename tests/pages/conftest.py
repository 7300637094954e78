"""One small assessment for the tests of the pages, played once."""

from __future__ import annotations

import copy
import runpy
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from riskcalc.answers.page_dict import page_dict, whole_result
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
