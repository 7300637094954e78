"""Your figures: what the page makes of typed figures is what `assess --set` gives, for every scenario and every field."""

import json
import runpy
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from riskcalc.answers.claims import claim_statement, measure_of
from riskcalc.answers.compare import page_dict as compare_dict
from riskcalc.answers.compare import result as compare_result
from riskcalc.answers.match import matching
from riskcalc.answers.match import page_dict as match_dict
from riskcalc.answers.match import result as match_result
from riskcalc.answers.options import comparison, share_tariff
from riskcalc.answers.own_figures import follows, kept_draws, own_figures
from riskcalc.answers.page_dict import page_dict, whole_result
from riskcalc.answers.paid_back import headline
from riskcalc.answers.question import entries
from riskcalc.money.valuation import valuation
from riskcalc.pages.exhibits import answer, options
from riskcalc.pages.exhibits.findout import claim_words
from riskcalc.pages.exhibits.futures import dots_per_year, early_dots
from riskcalc.pages.exhibits.own_figures import HORIZON, fields
from riskcalc.pages.exhibits.payback import counts_later_homes, dot_shares, when_finding
from riskcalc.pages.exhibits.worth import money_finding
from riskcalc.pages.figures import money, whole_years
from riskcalc.pages.page import assess_page, compare_page, match_page
from riskcalc.scenario import read_scenario
from riskcalc.study.model import assessment, design_of, drawn_values

ROOT = Path(__file__).parents[2]
HEADLESS = runpy.run_path(str(ROOT / "tests" / "headless.py"))
MISSING = HEADLESS["missing"]()
SCENARIOS = sorted((ROOT / "scenarios").glob("*.toml"))
QUICK = ["study.draws=64", "study.pool_years=8", "study.step_minutes=30"]
LOAN = "purchase.loan={ financed_share = 0.8, rate_per_year = 0.06, term_years = 10 }"
CHANCE = {"tariff": (0.02, 0.6), "prices": (-0.01, 0.07), "purchase": (1.0, 3000.0)}
LEVELS = (0.05, 0.25, 0.5, 0.75, 0.95)
#: Puts each set of figures into the fields, all others empty, and tells the page once; the page draws nothing in between.
FIGURES_OF_EACH = """(cases) => cases.map((case_) => {
  const fields = [...document.querySelectorAll("#own input[data-key]")];
  for (const field of fields) field.value = case_[field.dataset.key] ?? "";
  (fields.find((field) => field.value !== "") ?? fields[0]).dispatchEvent(new Event("input", {bubbles: true}));
  return document.querySelector("#own").dataset.figures;
})"""


def figures_of(found):
    """The same figures from an assessment, by numpy alone."""
    money, bought, horizon = found.valuation, found.simulation.course.bought, found.scenario.study.horizon_years
    worth, payback = money.net_present_value, money.payback_years[bought]
    below = [np.quantile(payback, share, method="lower") for share in LEVELS]
    above = [np.quantile(payback, share, method="higher") for share in LEVELS]
    linear = np.quantile(np.where(np.isfinite(payback), payback, 1e9), LEVELS)
    return {
        "odds": float((payback <= horizon).mean()),
        "paid": headline(found)["paid_back"]["value"],
        "payback": [
            None if np.isinf(high) and not (np.isfinite(low) and middle == low) else float(middle)
            for low, high, middle in zip(below, above, linear, strict=True)
        ],
        "worth": [float(worth.mean()), *map(float, np.quantile(worth, LEVELS))],
        "loss": float((worth < 0).mean()),
        "saving": float(money.saving[0].mean()),
        "within": [float((payback <= year).mean()) for year in range(1, horizon + 1)],
        "bands": np.quantile(money.cash_balance, LEVELS, axis=1).T,
        "claims": [claim_figures(found, claim) for claim in found.scenario.claims if follows(found, claim)],
    }


def claim_figures(found, claim):
    """The share of futures in which a claim is true and three points of what it measures."""
    measure = measure_of(claim, found)
    statement = claim_statement(claim, measure)
    counted = ~np.isnan(statement.counted(found))
    points = np.quantile(measure(found)[counted], [0.1, 0.5, 0.9], method="inverted_cdf")
    return (statement.holds(found)[counted].mean(), *(float(at) if np.isfinite(at) else None for at in points))


def compare(shown, wanted, what):
    """Odds and shares are equal, figures agree to 1e-6 of themselves or, near zero, of the money that is moved."""
    moved = 1e-6 * np.abs(wanted["bands"]).max()
    assert shown["odds"] == pytest.approx(wanted["odds"], abs=1e-9), what
    assert shown["paid"] == pytest.approx(wanted["paid"], abs=1e-9), what
    assert shown["within"] == pytest.approx(wanted["within"], abs=1e-9), what
    assert shown["worth"]["loss"] == pytest.approx(wanted["loss"], abs=1e-9), what
    for got, expected in zip(shown["payback"], wanted["payback"], strict=True):
        assert got == (None if expected is None else pytest.approx(expected, rel=1e-6)), what
    worth = [shown["worth"]["mean"], *shown["worth"]["quantiles"]]
    assert worth == pytest.approx(wanted["worth"], rel=1e-6, abs=moved), what
    assert shown["saving"] == pytest.approx(wanted["saving"], rel=1e-6, abs=moved), what
    np.testing.assert_allclose(shown["bands"], wanted["bands"], rtol=1e-6, atol=moved, err_msg=str(what))
    said = [claim for claim in shown["claims"] if claim["share"] is not None]
    for claim, (share, *points) in zip(said, wanted["claims"], strict=True):
        assert claim["share"] == pytest.approx(share, abs=1e-9), what
        assert claim["points"] == [None if at is None else pytest.approx(at, rel=1e-6, abs=moved) for at in points], (
            what
        )


@pytest.mark.browser
@pytest.mark.slow
@pytest.mark.skipif(bool(MISSING), reason=MISSING)
@pytest.mark.parametrize("path", SCENARIOS, ids=lambda path: path.stem)
def test_typed_figures_give_what_assess_gives(path, tmp_path, browser):
    """Every field alone and twenty random sets of them, against the money chain on the same futures."""
    loan = [LOAN] if path.stem == "terrace-rooftop" else []
    base = [*QUICK, *loan]
    found = assessment(read_scenario(path, base))
    figures = page_dict(found, command="riskcalc assess", figures=whole_result(found))
    page_file = tmp_path / "report.html"
    page_file.write_text(assess_page(figures), encoding="utf-8")
    rows, horizon = fields(figures["page"]["own"]), found.scenario.study.horizon_years
    rng = np.random.default_rng(5)

    def value_for(key):
        if key == HORIZON:
            return int(rng.integers(2, horizon))
        low, high = CHANCE[key.split(".")[0]]
        return float(np.round(rng.uniform(low, high), 4))

    cases = [{row["key"]: value_for(row["key"])} for row in rows]
    for _ in range(20):
        chosen = [row["key"] for row in rows if row["key"] != HORIZON and rng.random() < 0.5]
        cases.append({key: value_for(key) for key in chosen})
    scale = {row["key"]: row["scale"] for row in rows}
    page = browser.new_page()
    faults = []
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.goto(page_file.as_uri())
    page.wait_for_selector("#own[data-ready]")
    typed = [{key: repr(value * scale[key]) for key, value in case.items()} for case in cases]
    for case, text in zip(cases, page.evaluate(FIGURES_OF_EACH, typed), strict=True):
        changes = [*base, *(f"{key}={value}" for key, value in case.items())]
        compare(json.loads(text), figures_of(valued_again(found, read_scenario(path, changes))), case)
    page.click("[data-own=reset]")
    for key, value in typed[-1].items():
        page.fill(f'#own input[data-key="{key}"]', value)
    shown = json.loads(page.get_attribute("#own", "data-figures"))
    again = assessment(read_scenario(path, changes))
    compare(shown, figures_of(again), changes)
    first_screen_as_published(page, again)
    assert not faults
    page.close()


def valued_again(found, scenario):
    """The same energy valued with other figures; another horizon is simulated again."""
    if scenario.study.horizon_years != found.scenario.study.horizon_years:
        return assessment(scenario)
    random = design_of(scenario)
    values = drawn_values(scenario, random)
    money = valuation(scenario, found.simulation, values, random.path)
    return replace(found, scenario=scenario, design=random, values=values, valuation=money)


def first_screen_as_published(page, again):
    """The first screen reads as that of a report made with the figures."""
    wanted = page_dict(again, command="", figures=whole_result(again))
    hero = page.locator(".hero")
    years = whole_years(wanted["horizon_years"])
    assert page.locator("header .facts span").last.inner_text() == f"worked out over {years}"
    assert page.locator("#when-title").inner_text() == when_finding(wanted)
    assert page.locator("#money-title").inner_text() == money_finding(wanted)
    assert hero.locator(".opening").inner_text() == answer.verdict_words(wanted)
    assert hero.locator("[data-brief]").inner_text() == " ".join(answer.reasons(wanted))
    # The dots keep what tells them apart.
    legend, own = hero.locator(".legend"), hero.locator(".own-dots")
    assert legend.is_visible() is counts_later_homes(wanted)
    dots = [own.locator(f"circle.{kind}").count() for kind in ("paid", "later", "never")]
    within, early = dot_shares(wanted)
    whole = dots_per_year(within)
    full = whole[:-1] if early is None else early_dots(early, whole)
    assert dots == [full.sum(), whole[:-1].sum() - full.sum(), whole[-1]]
    for block, claim, row in zip(page.locator(".claim").all(), again.scenario.claims, wanted["claims"], strict=True):
        if follows(again, claim):
            said = claim_words(row, wanted["currency"], wanted["horizon_years"])["verdict"]
            assert block.locator("[data-claim=verdict]").inner_text() == said
    for box, (_, figure, below) in zip(hero.locator(".figures > div").all(), answer.key_figures(wanted), strict=True):
        assert [box.locator("b").inner_text(), box.locator("span").inner_text()] == [figure, below]


OPTION_CHANGES = (
    *("study.draws=256", "study.pool_years=4", "study.horizon_years=6", "prices.trend_per_year=0.02"),
    *("prices.spread=0.05", "prices.savings_rate_per_year=0.03", "dispatch.off_hours=['01:00-02:00']"),
    'purchase.price={distribution="uniform", low=50, high=900}',
)


def two_options(small_file, *changes, price=None):
    """The small kit, and one with another battery that may have a price of its own."""
    own = [] if price is None else [f"purchase.price={price}"]
    return [
        read_scenario(small_file, (*OPTION_CHANGES, 'name="one"', *changes)),
        read_scenario(small_file, (*OPTION_CHANGES, 'name="two"', "kit.battery.extra_batteries=1", *changes, *own)),
    ]


@pytest.mark.browser
@pytest.mark.skipif(bool(MISSING), reason=MISSING)
def test_options_under_one_tariff_are_compared_with_typed_figures(small_file, opened):
    """Mean worth, nine in ten, odds and how often each is best are those of `compare --set`; savings are among them."""
    found = comparison(two_options(small_file), page_options=2)
    html = compare_page(compare_dict(found, (), figures=compare_result(found), command="riskcalc compare one two"))
    page, faults, _ = opened(html, width=360)
    page.wait_for_selector("#own[data-ready]")
    page.fill('#own [name="tariff.rates.day.import_price_per_kwh"]', "0.47")
    page.fill('#own [name="prices.discount_rate_per_year"]', "6")
    page.fill('#own [name="purchase.price/1"]', "620")
    changes = ("tariff.rates.day.import_price_per_kwh=0.47", "prices.discount_rate_per_year=0.06")
    again = comparison(two_options(small_file, *changes, price=620))
    rows = {row["option"]: row for row in compare_result(again)["options"]}
    shown = json.loads(page.get_attribute("#own", "data-figures"))
    names = ("one", "two", "do nothing", "put the money in savings")
    for name, got in zip(names, shown, strict=True):
        worth = rows[name]["net_present_value"]
        assert got["mean"] == pytest.approx(worth["mean"]["value"], rel=1e-6, abs=1e-4), name
        assert got["ends"] == pytest.approx([worth["p5"]["value"], worth["p95"]["value"]], rel=1e-6, abs=1e-4), name
        assert got["best"] == pytest.approx(rows[name]["best_share"]["value"], abs=1e-9), name
        if got["paid"] is not None:
            assert got["paid"] == pytest.approx(rows[name]["paid_back_share"]["value"], abs=1e-9), name
    assert page.locator("#answer .opening").inner_text() in page.locator("[data-own=sentence]").inner_text()
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    assert HEADLESS["violations"](page) == []
    assert faults == []


@pytest.mark.browser
@pytest.mark.slow
@pytest.mark.skipif(bool(MISSING), reason=MISSING)
def test_purchases_of_different_homes_are_told_with_typed_figures(opened):
    """The answer and its reasons are those of `compare` at that price, for three kinds of answer."""
    quick = ("study.draws=512", "study.pool_years=32", "study.step_minutes=60")

    def compared(*changes):
        roof = read_scenario(ROOT / "scenarios" / "terrace-rooftop.toml", (*quick, *changes))
        tenant = read_scenario(ROOT / "scenarios" / "terrace-tenant.toml", quick)
        found = comparison([roof, tenant], page_options=2)
        return compare_dict(found, (), figures=compare_result(found), command="riskcalc compare")

    page, faults, _ = opened(compare_page(compared()))
    page.wait_for_selector("#own[data-ready]")
    for price, kind in (("5500", "pays off best"), ("7000", "Usually neither"), ("9000", "No purchase beats")):
        page.fill('#own [name="purchase.price/0"]', price)
        wanted = compared(f"purchase.price={price}")
        assert kind in options.opening(wanted), price
        assert page.locator("#answer .opening").inner_text() == options.opening(wanted), price
        assert page.locator("#answer [data-brief]").inner_text() == " ".join(options.reasons(wanted)), price
    assert faults == []


MATCH_CHANGES = (
    *("study.draws=64", "study.scrambles=4", "study.pool_years=4", "study.step_minutes=15"),
    *("study.horizon_years=4",),
)


@pytest.mark.browser
@pytest.mark.skipif(bool(MISSING), reason=MISSING)
def test_a_match_page_has_a_panel_for_its_home(opened, monkeypatch):
    """Two kits in one flat: mean worth, nine in ten, odds and how often each is best are those of `match --set`."""
    monkeypatch.chdir(ROOT)
    files = [Path("scenarios/homes/balcony-flat.toml")]
    kits = [Path(f"scenarios/kits/{name}.toml") for name in ("portable-1kwh", "portable-2kwh-two-modules")]
    found = matching(files, kits, changes=MATCH_CHANGES)
    page, faults, _ = opened(match_page(match_dict(found, figures=match_result(found), command="riskcalc match")))
    page.wait_for_selector("#own-0[data-ready]")
    names = [row["name"] for row in json.loads(page.get_attribute("#own-0", "data-figures"))]
    rate = "tariff.rates.day.import_price_per_kwh"
    page.fill(f'#own-0 [name="own-0/{rate}"]', "0.47")
    page.fill('#own-0 [name="own-0/prices.discount_rate_per_year"]', "6")
    shown = json.loads(page.get_attribute("#own-0", "data-figures"))
    assert [row["name"] for row in shown] == names
    typed = (f"{rate}=0.47", "prices.discount_rate_per_year=0.06")
    again = match_result(matching(files, kits, changes=(*MATCH_CHANGES, *typed)))["homes"][0]
    cells = sorted((cell for cell in again["cells"] if cell["is_run"]), key=lambda cell: cell["kit_file"])
    got = sorted((row for row in shown if row["paid"] is not None), key=lambda row: row["name"])
    wanted = sorted(cells, key=lambda cell: next(row["name"] for row in got if row["name"].startswith(cell["title"])))
    assert len(got) == len(wanted) >= 2
    for row, cell in zip(got, wanted, strict=True):
        worth = cell["net_present_value"]
        assert row["mean"] == pytest.approx(worth["mean"]["value"], rel=1e-6, abs=1e-4), row["name"]
        assert row["ends"] == pytest.approx([worth["p5"]["value"], worth["p95"]["value"]], rel=1e-6, abs=1e-4), row[
            "name"
        ]
        assert row["paid"] == pytest.approx(cell["paid_back_share"]["value"], abs=1e-9), row["name"]
        assert row["best"] == pytest.approx(cell["best_share"]["value"], abs=1e-9), row["name"]
    assert faults == []


@pytest.mark.browser
@pytest.mark.skipif(bool(MISSING), reason=MISSING)
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_panel_is_sent_narrowed_reset_and_printed(only, opened, scheme):
    """The address carries the figures; narrowing goes on with them; reset brings the published page back."""
    html = assess_page(only)
    page, faults, _ = opened(html, width=360, scheme=scheme)
    page.wait_for_selector("#own[data-ready]")
    published, links = page.locator(".hero").inner_text(), page.locator(".hero a.term").count()
    assert links > 2
    page.evaluate(
        "document.addEventListener('own-figures', (e) => { window.lastOwn = e.detail && [...e.detail.worth]; })"
    )
    page.keyboard.press("Tab")
    field = page.locator('#own input[data-key="purchase.price"]')
    field.focus()
    page.keyboard.type("140")
    page.fill('#own input[data-key="prices.discount_rate_per_year"]', "6,5")
    page.fill('#own input[data-key="study.horizon_years"]', "2.5")
    wrong = page.locator('#own input[data-key="study.horizon_years"]')
    assert wrong.get_attribute("aria-invalid") == "true"
    assert page.locator(f"#{wrong.get_attribute('aria-describedby')}").inner_text() == "Accepted: 1 to 6"
    wrong.fill("")
    assert page.locator(".hero").inner_text() != published
    assert HEADLESS["violations"](page) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    typed = json.loads(page.get_attribute("#own", "data-figures"))
    mean = page.locator("[data-figure=mean] td").nth(0).inner_text()
    assert mean == money(typed["worth"]["mean"], "EUR", se=spread_error(page))
    sent = page.url
    assert sent.endswith("#own:prices.discount_rate_per_year=6%2C5&purchase.price=140")
    page.emulate_media(media="print")
    shown = page.locator("#own .typed p:visible label").all_inner_texts()
    assert [text.split(" EUR")[0].split(" %")[0] for text in shown] == [
        "Interest on savings (discount rate)",
        "Price of the kit",
    ]
    page.emulate_media(media="screen")
    page.click("[data-own=reset]")
    assert (page.locator(".hero").inner_text(), page.locator(".hero a.term").count()) == (published, links)
    assert "#own" not in page.url
    page.goto("about:blank")
    page.goto(sent)
    page.wait_for_selector("#own[data-ready]")
    assert json.loads(page.get_attribute("#own", "data-figures")) == typed
    assert faults == []


def spread_error(page):
    """The standard error that the narrowing shows the average with: the spread over the root of the futures."""
    return page.evaluate(
        "() => { const w = window.lastOwn, m = w.reduce((a, b) => a + b, 0) / w.length;"
        " return Math.sqrt(w.reduce((a, b) => a + (b - m) ** 2, 0) / (w.length - 1) / w.length); }"
    )


@pytest.mark.browser
@pytest.mark.skipif(bool(MISSING), reason=MISSING)
def test_without_scripts_the_page_is_as_published(only, opened):
    page, _, _ = opened(assess_page(only), java_script_enabled=False)
    assert not page.locator("#own").is_visible()
    assert page.locator(".published:visible").count() == 0
    assert page.locator(".hero .opening").inner_text() == answer.verdict_words(only)


def test_options_that_differ_in_tariff_or_prices_have_no_panel(small_file):
    """A typed price could not hold for all."""
    alike = two_options(small_file)
    other = read_scenario(small_file, (*OPTION_CHANGES, 'name="two"', "prices.trend_per_year=0.03"))
    assert share_tariff(entries(alike))
    assert not share_tariff(entries([alike[0], other]))


def test_the_panel_offers_prices_costs_and_rates_but_nothing_that_needs_a_simulation(played):
    panel = own_figures(played)
    keys = [row["key"] for row in panel["inputs"]]
    assert keys[:2] == ["tariff.rates.day.import_price_per_kwh", "tariff.rates.night.import_price_per_kwh"]
    assert {"purchase.price", "prices.trend_per_year", "tariff.export_price_per_kwh"} <= set(keys)
    assert not [key for key in keys if key.startswith(("kit.", "home.", "site."))]
    assert "tariff.standing_charge_per_day" not in keys


@pytest.mark.parametrize(
    ("draws", "options", "kept"), [(1024, 1, 1024), (4096, 1, 1024), (65_536, 1, 1024), (1024, 6, 640), (1024, 40, 64)]
)
def test_large_runs_travel_in_whole_scrambles(read_small, draws, options, kept):
    """Eight scrambles; where one alone has no room, the first power of two of its draws."""
    random = design_of(read_small(f"study.draws={draws}", "study.horizon_years=1"))
    assert kept_draws(random, options=options) == slice(0, kept)
