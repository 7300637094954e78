"""The pages of rank, update, check and trace: one offline file each, for every screen, on paper and for everybody."""

from __future__ import annotations

import copy
import runpy
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from riskcalc.commands.options import command_line
from riskcalc.pages import small_pages as pages
from riskcalc.pages.exhibits.again import again_blocks
from riskcalc.pages.exhibits.fit import fit_title, loads_finding
from riskcalc.pages.exhibits.fit import opening as opening_of_check
from riskcalc.pages.exhibits.fit import reasons as reasons_of_check
from riskcalc.pages.exhibits.matching import lead_words, opening
from riskcalc.pages.exhibits.order import family_blocks, order_block
from riskcalc.pages.exhibits.order import opening as opening_of_rank
from riskcalc.pages.exhibits.order import reasons as reasons_of_rank
from riskcalc.pages.exhibits.traced import balance_finding, grid_words
from riskcalc.pages.exhibits.tracked import basis_words, odds_words, track_cells, usual_words
from riskcalc.pages.exhibits.tracked import opening as opening_of_update
from riskcalc.pages.exhibits.week import week_title
from riskcalc.pages.figures import PLAIN

HEADLESS = runpy.run_path(str(Path(__file__).parents[1] / "headless.py"))
NAMES = ("rank", "update", "check", "trace")
REASON = HEADLESS["missing"]("axe_playwright_python")
in_browser = pytest.mark.skipif(bool(REASON), reason=REASON)


@pytest.fixture(scope="module")
def written(small_dicts: dict[str, dict[str, Any]]) -> dict[str, str]:
    """Return each page as HTML, made once for all widths."""
    return {name: getattr(pages, f"{name}_page")(small_dicts[name]) for name in NAMES}


@pytest.mark.browser
@in_browser
@pytest.mark.parametrize("name", NAMES)
def test_quiet_and_whole_at_every_width(written: dict[str, str], opened: Callable[..., Any], name: str) -> None:
    """Nothing is fetched or complained of, nothing scrolls sideways, axe-core finds nothing, light and dark."""
    for width, scheme in ((360, "light"), (900, "dark"), (1600, "light")):
        shown, said, asked = opened(written[name], width=width, scheme=scheme)
        shown.evaluate("for (const details of document.querySelectorAll('details')) details.open = true")
        assert shown.evaluate("document.documentElement.scrollWidth") <= width, width
        assert (said, len(asked)) == ([], 1), width
        assert HEADLESS["violations"](shown) == [], width
        shown.context.close()


@pytest.mark.browser
@in_browser
@pytest.mark.parametrize("name", NAMES)
def test_on_paper_it_is_whole(written: dict[str, str], opened: Callable[..., Any], name: str) -> None:
    """Printed there is no navigation and no link to save; a drawing is not cut in two."""
    shown, _, _ = opened(written[name])
    shown.emulate_media(media="print")
    assert not shown.locator("nav").is_visible()
    assert [link.is_visible() for link in shown.locator(".beside").all()].count(True) == 0
    kept = shown.evaluate("[...document.querySelectorAll('figure')].map(e => getComputedStyle(e).breakInside)")
    assert set(kept) <= {"avoid"}
    shown.context.close()


@pytest.mark.parametrize("name", NAMES)
def test_the_foot_says_how_to_get_it_again(written: dict[str, str], name: str) -> None:
    """Command, version and that nothing is loaded stand at the end of every page."""
    foot = written[name][written[name].index('<section id="again"') :]
    assert f'<pre tabindex="0">riskcalc {name}' in foot
    assert "Made with riskcalc 0.1.0. The command above makes it again." in foot


def test_the_balance_of_a_trace_closes(small_dicts: dict[str, dict[str, Any]]) -> None:
    """What comes in goes out, the months add up to the demand of the year, and a week is part of it."""
    found = small_dicts["trace"]
    came, went = (sum(found[side].values()) for side in ("came_kwh", "went_kwh"))
    assert came == pytest.approx(went, rel=1e-9)
    assert sum(float(np.sum(months)) for months in found["months"].values()) == pytest.approx(
        found["went_kwh"]["demand_w"], rel=1e-9
    )
    figures = balance_finding(found).replace("\u00a0", " ").split(" kWh")
    assert figures[0] == figures[1].removeprefix(" come in and ")
    week = found["page"]["weeks"][0]
    assert week["demand_w"].shape == (336,)
    assert 0.0 < float(week["demand_w"].sum()) / 2000.0 < found["went_kwh"]["demand_w"] / 26


@pytest.mark.parametrize("name", [name for name in NAMES if name != "check"])
def test_the_head_carries_a_picture_for_those_who_share_it(written: dict[str, str], name: str) -> None:
    """Title, description and the first chart as a data address; a check has no chart."""
    head = written[name][: written[name].index("</head>")]
    assert 'property="og:image" content="data:image/png;base64,iVBORw0KGgo' in head
    for said in ('property="og:title"', 'name="description"'):
        assert len(head.split(f'{said} content="')[1].split('"')[0]) > 15
    assert "og:image" not in written["check"]


def test_a_check_says_modules_and_loads_at_once(
    written: dict[str, str], small_dicts: dict[str, dict[str, Any]]
) -> None:
    """The first part holds what the modules and what the appliances came to."""
    answer = written["check"].split('<section id="answer"')[1].split("</section>")[0]
    assert fit_title(small_dicts["check"]["fit"]) in answer
    assert loads_finding(small_dicts["check"]["loads"]) in answer


def test_shares_that_chance_puts_outside_are_shown_at_the_end() -> None:
    """A share of -3 % with an interval from -10 to 2 %, and one of 103 %, read 0 and 100 %."""
    index = {"value": -0.03, "interval_95": [-0.1, 0.02]}
    beyond = {"value": 1.03, "interval_95": [0.9, 1.2]}
    row = {"label": "kit", "first_order": index, "total_order": beyond}
    found = {"sobol": {"outcomes": {"net_present_value": {"families": [row]}}}, "agreement": None}
    block, _ = family_blocks(found)
    assert block.value["cells"] == [("Kit", "0 %", "0 to 2 %", "100 %", "90 to 100 %")]


def test_a_week_may_take_more_from_the_grid_than_the_home_uses() -> None:
    """61 kWh come for 57 kWh used: the kit takes the rest, and no "61 of 57" is said."""
    week = {"season": "winter", "demand_w": [114000.0], "grid_import_w": [122000.0], "unmet_w": [0.0]}
    said = week_title(week).replace("\u00a0", " ")
    assert said == "Winter week: 61 kWh come from the grid for 57 kWh used; the kit itself takes the rest"


def test_homes_are_counted_as_one_would_say_it() -> None:
    """All homes, some of them, none of them."""
    clear: dict[str, Any] = {"pick": "kit", "cells": [], "lead_over_next": {"value": 100.0, "standard_error": 1.0}}
    close = {"pick": "kit", "cells": [], "lead_over_next": {"value": 1.0, "standard_error": 9.0}}
    none = {"pick": "do nothing", "lead_over_next": None}
    other = clear | {"pick": "other"}
    assert opening([clear, clear]) == "In both homes kit is best on average."
    assert opening([clear, other]).startswith("In each of the 2 homes at least one kit is better")
    assert lead_words([clear, clear]) == ""
    assert opening([clear, none]) == ("For 1 of the 2 homes, buying a kit is better than not buying.")
    assert lead_words([clear, none]) == ""
    assert lead_words([clear, close]) == "In 1 of them the lead of the best kit is too close to call."
    assert lead_words([close, close, clear]) == "In 2 of them the leads of the best kits are too close to call."
    assert opening([none]) == "For this home, no kit is better than not buying."
    assert lead_words([none]) == ""


def test_the_command_repeats_what_it_was_asked() -> None:
    """Options of a command that are no keys of the scenario stand in the command to get the page again."""
    more = ["--measured", "my meter.csv", "--error", "0.3"]
    asked = command_line("update", [Path("flat.toml")], ["study.draws=512"], more)
    assert asked == "riskcalc update flat.toml --set study.draws=512 --measured 'my meter.csv' --error 0.3"


def test_a_ranking_that_is_not_settled_does_not_say_what_comes_first(small_dicts: dict[str, dict[str, Any]]) -> None:
    """The title of the chart agrees with the opening above it."""
    figures = copy.deepcopy(small_dicts["rank"])
    order = figures["sobol"]["outcomes"]["net_present_value"]["order"]
    first = {**order["tiers"][0], "places": [1, 1], "is_tie": False}
    later = {**first, "places": [2, 2], "settled": False}
    for settled, tie, after, title, said in (
        (True, False, [], "decides the gain or loss most", "What matters most: "),
        (True, False, [later], "which input comes next is not sure yet", "Second place is still open: “"),
        (
            True,
            False,
            [later | {"is_tie": True, "factors": order["tiers"][0]["factors"][:1] * 2, "outside": []}],
            "decides the gain or loss most",
            " things share second place: ",
        ),
        (False, False, [], "probably decides", "We are not sure of that yet."),
        (False, True, [], "is one of those that decide", "We cannot tell which input decides most"),
    ):
        order["tiers"] = [first | {"settled": settled, "is_tie": tie}, *after]
        assert title in order_block(figures, "net_present_value").value.title
        assert said in " ".join([opening_of_rank(figures), *reasons_of_rank(figures)])


def test_the_foot_of_a_ranking_says_how_many_futures_it_took(small_dicts: dict[str, dict[str, Any]]) -> None:
    """Those of its design, which are not those of an assessment."""
    figures = copy.deepcopy(small_dicts["rank"])
    figures["sobol"]["futures"] = 12345
    rows = next(block.value for block in again_blocks(figures) if block.kind == "sources")
    assert ("Futures of the ranking", "12,345", False) in rows


def test_a_check_says_first_whether_the_parts_fit() -> None:
    """The worst comes first: modules that are refused, then appliances that are too much for the inverter."""
    fine, refused = {"verdict": "ok"}, {"verdict": "refused"}
    small, large, starting = ({"verdict": word} for word in ("ok", "too_much", "start"))
    seven = {"fit": [fine, fine], "loads": {"appliances": [small] * 7}}
    assert opening_of_check(seven) == "The parts fit together."
    assert reasons_of_check(seven) == [
        "All 2 checks of the solar modules pass.",
        "The inverter can run each of the 7 appliances, one at a time.",
    ]
    assert opening_of_check({"fit": [fine, refused], "loads": {}}) == "Not all the parts fit together."
    assert opening_of_check({"fit": [fine], "loads": {"appliances": [small, large]}}) == (
        "The modules fit the kit, but not every appliance does."
    )
    assert reasons_of_check({"fit": [fine], "loads": {"appliances": [small, starting]}})[1] == (
        "Look up one appliance before you rely on the inverter."
    )
    assert opening_of_check({"fit": [], "loads": {}}) == "There are no modules to check electrically."


@pytest.mark.parametrize(("shares", "said"), [((0.7, 0.4), True), ((0.6, 0.4), False), ((0.5, 0.3), False)])
def test_shares_that_make_more_than_the_whole_say_why(
    small_dicts: dict[str, dict[str, Any]], shares: tuple[float, float], said: bool
) -> None:
    """Interactions count for each input in them; a sum of 100 % or less needs no word."""
    found = copy.deepcopy(small_dicts["rank"])
    for place, row in enumerate(found["sobol"]["outcomes"]["net_present_value"]["factors"]):
        row["total_order"]["value"] = shares[place] if place < len(shares) else 0.0
    reading = order_block(found, "net_present_value").value.reading
    assert ("add up to more than 100 %" in reading) is said


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (0.019, "is still about 40"),
        (-0.019, "is still about 40"),
        (0.059, "is still about 40"),
        (0.061, "has risen from "),
        (-0.3, "has fallen from "),
    ],
)
def test_an_update_says_how_the_odds_moved(small_dicts: dict[str, dict[str, Any]], change: float, said: str) -> None:
    """Below two points, or twice the error of 3, they are as before; the measured quantities are named."""
    found = copy.deepcopy(small_dicts["update"])
    found["odds_moved"]["change"] = change
    found["revised"]["paid_back_within"]["standard_error"] = 0.03 if abs(change) > 0.02 else 0.0
    assert said in odds_words(found)
    assert basis_words(found).startswith(
        "Measured: your bills, the electricity you generated and the electricity you took"
    )


def test_an_update_says_how_far_a_usual_figure_lies_from_the_forecast() -> None:
    """Above, below and at the middle future; what lies outside its range is named by the opening."""

    def track(quantity: str, measured: float, place: str = "within") -> dict[str, Any]:
        return {"quantity": quantity, "measured": measured, "expected": {"p50": 200.0}, "place": place}

    rows = [track("import_kwh", 222.0), track("generation_kwh", 190.0), track("bill", 200.0)]
    assert [text.translate(PLAIN) for text in usual_words({"tracks": rows})] == [
        "You bought 11 % more electricity from the grid than expected, but differences of that size are usual.",
        "You generated 5 % less electricity than expected, but differences of that size are usual.",
    ]
    assert usual_words({"tracks": [track("import_kwh", 400.0, "above")]}) == []


def test_an_update_names_what_lies_outside_its_range() -> None:
    """The quantity behind the verdict; where all lie within, that."""
    within = {"quantity": "bill", "place": "within", "verdict": "on track"}
    made = {"quantity": "generation_kwh", "place": "above", "verdict": "ahead"}
    found = {"verdict": "ahead", "tracks": [within, made]}
    assert opening_of_update(found) == "More electricity generated than expected so far."
    still = {"verdict": "on track", "tracks": [within]}
    assert opening_of_update(still) == "Yes, so far all is in the usual range."


def test_a_trace_says_where_the_energy_of_the_grid_went() -> None:
    """By hand: 1,000 kWh from the grid, 300 used at once and 400 out of reach; the other 300 went through the kit."""
    months = {"from_grid_kwh": np.full(12, 25.0), "out_of_reach_kwh": np.full(12, 400.0 / 12)}
    said = grid_words({"came_kwh": {"grid_import_w": 1000.0}, "months": months}).translate(PLAIN)
    assert said.startswith(
        "Of the 1,000 kWh from the grid, the home uses 700 kWh directly. The other 300 kWh go through"
    )
    assert grid_words({"came_kwh": {"grid_import_w": 700.0}, "months": months}) == ""


def test_an_update_calls_each_quantity_as_its_place_in_the_range(small_dicts: dict[str, dict[str, Any]]) -> None:
    """Within the range of eight futures in ten it is as expected, never behind."""
    words = [track_cells(row, "EUR")[-1] for row in small_dicts["update"]["tracks"]]
    assert words == ["as expected", "lower than expected", "lower than expected"]
