"""riskcalc from Python: a light import, answers that are those of the commands, a page that runs as it stands."""

import doctest
import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import riskcalc
from riskcalc.errors import InputError
from riskcalc.scenario.new.text import toml_value

ROOT = Path(__file__).parents[2]
CHANGES = {
    "study.draws": 32,
    "purchase.price": {"distribution": "uniform", "low": 100, "high": 400},
    "tariff.rates.day.import_price_per_kwh": {"distribution": "uniform", "low": 0.25, "high": 0.4},
}


@pytest.fixture
def answer(small_file):
    """Return an assessed small scenario."""
    return riskcalc.assess(riskcalc.load(small_file, CHANGES))


def test_the_import_is_light_and_offers_what_it_says() -> None:
    """`import riskcalc` loads none of the heavy libraries; what it offers is there; anything else is not."""
    code = (
        "import sys, riskcalc\n"
        "heavy = {'numpy', 'pandas', 'scipy', 'numba', 'pvlib', 'altair', 'SALib', 'pydantic'} & set(sys.modules)\n"
        "assert not heavy, heavy\n"
        "assert all(getattr(riskcalc, name) for name in dir(riskcalc))\n"
        "assert not {'numpy', 'pandas', 'altair'} & set(sys.modules)\n"
        "assert not hasattr(riskcalc, 'nonsense')\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_figures_are_those_of_the_command(here, answer, small_file, tmp_path) -> None:
    """The same scenario and changes give the result.json of `riskcalc assess`, the files' names apart."""
    words = ["assess", str(small_file), "--json"]
    for key, value in CHANGES.items():
        words += ["--set", f"{key}={toml_value(value)}"]
    other = json.loads(here(*words, cwd=tmp_path).stdout)
    for name in ("payback_years", "net_present_value", "first_year", "ranking"):
        assert json.loads(json.dumps(answer.figures[name])) == other[name]


def test_the_frame_holds_every_future(answer) -> None:
    """One row per draw; the mean worth of the frame is that of the figures; never is infinite."""
    assert answer.frame.shape[0] == 32
    assert answer.frame.index.name == "draw"
    mean = answer.figures["net_present_value"]["mean"]["value"]
    assert answer.frame["net_present_value"].mean() == pytest.approx(mean, rel=1e-12)
    never = answer.figures["payback_years"]["never_share"]["value"]
    assert np.isinf(answer.frame["payback_years"]).mean() == never


@pytest.mark.parametrize("name", ["futures", "odds", "cash", "worth", "shares", "swings", "demand", "solar"])
def test_charts_are_altair_charts(answer, name: str) -> None:
    """Each chart of the page can be had and is valid Vega-Lite."""
    import altair as alt

    chart = answer.chart(name, width=500)
    assert isinstance(chart, alt.TopLevelMixin)
    assert chart.to_dict()["$schema"].startswith("https://vega.github.io/schema/vega-lite/")


def test_an_unknown_chart_names_those_there_are(answer) -> None:
    """A wrong name is bad input."""
    with pytest.raises(InputError, match="futures, odds, cash"):
        answer.chart("pie")


def test_the_card_escapes_and_says_the_answer(answer) -> None:
    """The notebook's card has the opening sentence; markup in a title stays text."""
    from riskcalc.pages.document import card_html
    from riskcalc.pages.exhibits.answer import answer_words

    assert answer_words(answer.page) in answer._repr_html_().replace("&#39;", "'")
    assert "data:image/svg+xml" in answer._repr_html_(), "the card holds a chart"
    assert "<img" not in card_html("<img src=x>", "<img>", [("<img>", "<img>", "<img>")])


def test_changes_go_over_a_file_only(answer) -> None:
    """A scenario at hand is not silently changed."""
    with pytest.raises(TypeError, match="load"):
        riskcalc.assess(answer.assessment.scenario, study__draws=8)


def test_a_change_that_cannot_be_is_refused(small_file) -> None:
    """Changes are checked like the file."""
    with pytest.raises(InputError, match="idle_w"):
        riskcalc.load(small_file, kit__inverter__idel_w=3)


def test_compare_is_that_of_the_command(small_file) -> None:
    """Common futures, a frame with a column per choice, both charts."""
    cheap, dear = (
        riskcalc.load(small_file, CHANGES, name=name, purchase__price=price)
        for name, price in (("cheap", 150), ("dear", 3000))
    )
    found = riskcalc.compare(cheap, dear)
    means = {row["option"]: row["net_present_value"]["mean"]["value"] for row in found.figures["options"]}
    assert means["cheap"] > means["dear"]
    assert found.frame["cheap"].mean() == pytest.approx(means["cheap"], rel=1e-12)
    assert found.chart("best").to_dict()
    assert found.chart().to_dict()
    assert "cheap" in found._repr_html_()


def test_rank_says_what_decides(small_file) -> None:
    """The price of the kit decides when it varies most; total order is no less than first order within their errors."""
    found = riskcalc.rank(riskcalc.load(small_file, CHANGES), points=8)
    assert set(found.frame.index) == {"purchase.price", "tariff.rates.day.import_price_per_kwh"}
    assert found.frame.index[0] == "purchase.price"
    assert found.frame.loc["purchase.price", "label"] == "Price of the kit"
    assert (found.frame["total_high"] >= found.frame["first_low"]).all()
    assert found.chart().to_dict()
    assert "Price of the kit" in found._repr_html_()
    with pytest.raises(InputError, match="power of two"):
        riskcalc.rank(small_file, points=12)


def test_the_page_for_notebooks_runs_as_it_stands(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every example of scenarios/PYTHON.md gives what is printed below it."""
    monkeypatch.chdir(ROOT)
    flags = doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE
    done = doctest.testfile(str(ROOT / "scenarios/PYTHON.md"), module_relative=False, optionflags=flags)
    assert done.attempted > 10
    assert done.failed == 0
