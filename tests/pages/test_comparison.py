"""The page of a comparison and the command that writes it."""

import json
import re
from html.parser import HTMLParser

import numpy as np
import pytest

from riskcalc.answers.compare import differing, letter, page_dict, result
from riskcalc.answers.options import comparison
from riskcalc.answers.stay import stay_curves
from riskcalc.pages.exhibits import options as words
from riskcalc.pages.exhibits.pairs import dominance_words
from riskcalc.pages.figures import PLAIN, listed
from riskcalc.pages.page import compare_page
from riskcalc.scenario import read_scenario

SMALL_STUDY = (
    'purchase.price={distribution="uniform", low=50, high=900}',
    "prices.savings_rate_per_year=0.03",
    "study.pool_years=4",
)
VOID = {"meta", "br", "input", "link", "img", "hr", "path", "rect", "line"}


class Balance(HTMLParser):
    """Refuses a closing tag that does not match."""

    def __init__(self):
        super().__init__()
        self.open = []

    def handle_starttag(self, tag, attrs):  # noqa: ARG002
        """Note an element."""
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        """Close an element."""
        if tag not in VOID:
            assert self.open.pop() == tag


@pytest.fixture
def page(small_file):
    """Return the data of a page over two options with a length of stay."""
    tenure = ("tenure.kind=rent", "tenure.at_move=sell")
    options = [
        read_scenario(small_file, (*SMALL_STUDY, 'name="a & b"', *tenure)),
        read_scenario(small_file, (*SMALL_STUDY, 'name="two"', "tenure.kind=own", "kit.battery.extra_batteries=1")),
    ]
    found = comparison(options)
    curves = stay_curves(found.entries)
    return page_dict(found, curves, figures=result(found, curves), command="riskcalc compare a two")


def test_the_page_is_one_safe_file(page):
    """Tags match, nothing is loaded from anywhere, and the name of a scenario cannot become markup."""
    html = compare_page(page)
    balance = Balance()
    balance.feed(html)
    assert balance.open == []
    assert "a &amp; b" in html
    assert "a & b" not in html
    assert not re.findall(r'(?:src|href)="(?!#|data:)', html)
    assert "default-src &#39;none&#39;; style-src" in html


def test_the_page_shows_every_choice_and_the_figures_of_result_json(page):
    """Each choice stands in the table of worth; the average is that of result.json, rounded to its error."""
    html = compare_page(page)
    for row in page["options"]:
        assert row["option"].replace("&", "&amp;") in html
    assert 'id="stay"' in html
    assert "pays back" not in words.opening(page)


def test_what_differs_is_listed_with_both_settings(page):
    """The extra battery and the tenure differ; the price does not and is not listed."""
    keys = {row["key"]: row["given"] for row in page["differing"]}
    assert keys["kit.battery.extra_batteries"] == ["0", "1"]
    assert keys["tenure.kind"] == ["rent", "own"]
    assert "purchase.price" not in keys
    assert differing([]) == []


def test_a_page_without_stay_or_differences_leaves_them_out(page):
    """No curves: no section and no empty chart."""
    only = {**page["page"], "stay": None}
    html = compare_page({**page, "page": only, "differing": [], "length_of_stay": []})
    assert 'id="stay"' not in html
    assert "The options agree in every setting." in html


def made_up(shares, means, difference, error):
    """Return the least result that the words need: two choices and their pair."""
    estimate = {"standard_error": error}
    return {
        "currency": "EUR",
        "horizon_years": 15,
        "provenance": {"draws": 64},
        "options": [
            {
                "option": name,
                "same_as": None,
                "best_share": {"value": share, "standard_error": 0.01},
                "net_present_value": {
                    "mean": {"value": mean, **estimate},
                    "gain_probability": {"value": 0.7, "standard_error": 0.01},
                },
            }
            for name, share, mean in zip(("a", "b"), shares, means, strict=True)
        ],
        "pairs": [{"first": "a", "second": "b", "difference": {"mean": {"value": difference, **estimate}}}],
    }


def plain(text):
    """Return text with ordinary blanks."""
    return text.translate(PLAIN)


def test_the_opening_tells_the_best_on_average_from_the_best_most_often():
    """Where the two are not the same choice, both are named; a lead within two standard errors is not claimed."""
    agreed = made_up((0.8, 0.2), (100.0, 50.0), 50.0, 5.0)
    assert plain(words.opening(agreed)) == "A is best on average: after 15 years, €100 better than doing nothing."
    assert [plain(text) for text in words.reasons(agreed)] == ["B is €50 better than doing nothing, on average."]
    assert plain(words.often_words(agreed)) == "A is the best choice in 80 % of futures, more often than any other."
    error = "With 64 futures, the calculated lead of the best may be off by about €10."
    assert words.lead_error_words(agreed) == error
    led = made_up((0.4, 0.6), (100.0, 50.0), 50.0, 5.0)
    assert words.opening(led) == words.opening(agreed)
    led["options"][0]["net_present_value"]["loss_probability"] = {"value": 0.4, "standard_error": 0.01}
    for row, bad in zip(led["options"], (-40.0, -90.0), strict=True):
        row["net_present_value"]["p5"] = {"value": bad, "standard_error": 1.0}
    assert plain(words.often_words(led)) == "B comes first more often, but can lose more: €90 in a bad future."
    led["options"][1]["net_present_value"]["p5"]["value"] = -30.0
    assert words.often_words(led) == "B comes first more often, but a few very good futures lift the average of a."
    level = made_up((0.49, 0.51), (100.0, 50.0), 50.0, 5.0)
    assert (
        plain(words.often_words(level))
        == "Compared all at once, no choice is clearly more often the best: b 51 %, a 49 %."
    )
    parted = made_up((0.4, 0.6), (100.0, 50.0), 50.0, 40.0)
    assert plain(words.opening(parted)) == "Too close to call: on average, a and b differ by only €50 over 15 years."
    same = made_up((0.5, 0.5), (100.0, 100.0), 0.0, 0.0)
    assert words.opening(same) == "A and b come to exactly the same in every future."


def test_the_report_to_read_and_the_title_follow_what_is_compared():
    """The report of the best choice; those of all where doing nothing is best. Title and facts say that homes differ."""
    found = made_up((0.8, 0.2), (100.0, 0.0), 100.0, 5.0)
    found["compared"] = [{"letter": "A", "option": "a"}, {"letter": "B", "option": "c"}]
    assert words.check_words(found) == "Read the full report of A first. The report lists what to check."
    assert words.question_words(found) == "What is best: A, B, or doing nothing?"
    rented = found | {"differing": [{"key": "tenure.kind"}]}
    assert words.question_words(rented) == "Different households, different kits: which kit pays off best?"
    found["options"][0]["option"] = "do nothing"
    assert words.check_words(found) == "If you still want to buy, read the full report of A or B first."


def test_knowing_the_future_is_worth_what_it_would_change():
    """The amount as a limit to what to spend; where the choice would be the same in every future, that."""
    known = made_up((0.8, 0.2), (100.0, 50.0), 50.0, 5.0)
    known["value_of_knowing"] = {"value": 840.0, "standard_error": 4.0}
    assert words.regret_words(known).startswith("If you knew the future and chose by it, you would be €840 better off")
    known["value_of_knowing"]["value"] = 0.0
    assert words.regret_words(known) == "Even if you knew the future, you would choose the same."


def test_dominance_is_put_in_words():
    """Each order has its sentence, with the better one named first."""
    row = {"first": "a", "second": "b", "dominating": "b", "dominance_order": 0}
    assert dominance_words(row, {}) == "b is at least as good as a in every future, and better in some."
    assert (
        dominance_words({**row, "dominance_order": 2}, {})
        == "Anyone who dislikes risk (is risk-averse) would choose b over a."
    )
    assert dominance_words({**row, "dominating": None}, {}) == ""


def test_titles_take_the_place_of_file_names():
    """A title of several words stands between quotation marks; drawings put the letter in front, pairs use it alone."""
    titled = made_up((0.8, 0.2), (100.0, 0.0), 100.0, 5.0)
    titled["options"][0]["title"] = "A flat with a rail"
    titled["options"][1]["option"] = titled["pairs"][0]["second"] = "do nothing"
    titled["compared"] = [{"letter": "A", "option": "a"}]
    assert (
        plain(words.opening(titled)) == "Choice A is best on average: after 15 years, €100 better than doing nothing."
    )
    del titled["compared"]
    assert words.opening(titled).startswith("“A flat with a rail” is best on average")
    titled["compared"] = [{"letter": "A", "option": "a"}]
    assert words.labels(titled) == {"a": "A · A flat with a rail", "do nothing": "do nothing"}
    assert words.letters(titled) == {"a": "A", "do nothing": "doing nothing"}
    assert [letter(place) for place in (0, 25, 26)] == ["A", "Z", "A2"]


def test_options_called_the_same_are_told_apart_by_their_files(small_file):
    """Two scenarios under one title have their names behind it; a third keeps its own title alone."""
    called = [read_scenario(small_file, (*SMALL_STUDY, f'name="{name}"', 'title="A flat"')) for name in ("one", "two")]
    other = read_scenario(small_file, (*SMALL_STUDY, 'name="three"', 'title="A house"'))
    found = comparison([*called, other])
    assert {option.name: option.called for option in found.options if option.kind == "kit"} == {
        "one": "A flat (one)",
        "two": "A flat (two)",
        "three": "A house",
    }


def test_how_often_the_best_pays_and_loses_is_said():
    """Odds of payback and of a lead over doing nothing for a kit; nothing of the kind where nothing is bought."""
    said = made_up((0.8, 0.2), (100.0, 0.0), 100.0, 5.0)
    assert words.paid_words(said) == []
    share = {"value": 0.7, "standard_error": 0.02}
    said["options"][0]["paid_back_share"] = share
    said["options"][0]["net_present_value"]["gain_probability"] = {**share, "value": 0.75}
    assert words.paid_words(said) == [
        "A pays for itself within 15\u00a0years in 70\u202f% of futures, interest not counted."
    ]
    said["options"][0]["net_present_value"]["gain_probability"] = {**share, "value": 0.45}
    assert plain(words.reasons(said)[0]) == (
        "Yet a beats savings in only 45 % of futures. A few very good futures lift its average."
    )
    said["options"][1] |= {"option": "do nothing"}
    said["pairs"][0]["second"] = "do nothing"
    assert plain(words.opening(said)) == "A is worse than doing nothing in most futures."
    assert [plain(text) for text in words.reasons(said)] == ["A is better than doing nothing in 45 % of futures."]


def test_kits_in_different_homes_are_told_by_what_each_brings():
    """Nobody chooses between homes: the best kit is named with its gain, then the others; none where all lose."""
    found = made_up((0.5, 0.5), (100.0, -210.0), 310.0, 5.0)
    found |= {"differing": [{"key": "tenure.kind"}], "compared": [{"letter": x.upper(), "option": x} for x in "ab"]}
    for row in found["options"]:
        row["paid_back_share"] = row["net_present_value"]["gain_probability"] = {"value": 0.6, "standard_error": 0.01}
    assert plain(words.opening(found)) == (
        "Purchase A pays off best: after 15 years, on average €100 more than a savings account."
    )
    assert [plain(text) for text in words.reasons(found)] == [
        "Purchase B brings €210 less than a savings account, on average.",
    ]
    for row in found["options"]:
        row["net_present_value"]["gain_probability"] = {"value": 0.4, "standard_error": 0.01}
    assert plain(words.opening(found)) == "Usually neither: a savings account brings more."
    assert [plain(text) for text in words.reasons(found)] == [
        "Purchase A beats a savings account in 40 % of futures.",
        "Purchase B beats a savings account in 40 % of futures.",
    ]
    found["options"][1]["net_present_value"]["gain_probability"] = {"value": 0.6, "standard_error": 0.01}
    assert [plain(text) for text in words.reasons(found)] == [
        "Yet purchase A beats savings in only 40 % of futures. A few very good futures lift its average.",
        "Purchase B brings €210 less than a savings account, on average.",
    ]
    assert words.check_words(found).startswith(
        "If your home is like A or B, first read the full report on that purchase."
    )
    found["pairs"][0]["difference"]["mean"]["value"] = 9.0
    assert words.opening(found) == "It is too close to call which purchase pays off best on average."
    assert [plain(text) for text in words.reasons(found)] == [
        "Purchase A brings €100 more than a savings account, on average.",
        "Purchase B brings €210 less than a savings account, on average.",
    ]
    found["pairs"][0]["difference"]["mean"]["value"] = 110.0
    found["options"][0]["net_present_value"]["mean"]["value"] = -100.0
    assert plain(words.opening(found)) == (
        "No purchase beats a savings account on average. Purchase A comes closest: €100 less over 15 years."
    )


def test_different_homes_without_a_kit_are_told_like_other_choices():
    """Nothing is bought in either home: no purchase is named, and nothing breaks."""
    found = made_up((0.8, 0.2), (100.0, 50.0), 50.0, 5.0) | {"differing": [{"key": "tenure.kind"}]}
    assert plain(words.opening(found)) == "A is best on average: after 15 years, €100 better than doing nothing."
    assert [plain(text) for text in words.reasons(found)] == ["B is €50 better than doing nothing, on average."]


def test_what_is_always_there_reads_as_a_noun():
    """Doing nothing is a noun within a sentence, with a capital at its start; names of scenarios stay as written."""
    nothing = made_up((0.6, 0.4), (10.0, 0.0), 10.0, 1.0)
    nothing["options"][1]["option"] = nothing["pairs"][0]["second"] = "do nothing"
    assert plain(words.opening(nothing)) == "A is best on average: after 15 years, €10 better than doing nothing."
    change = words.in_sentence("only change the tariff to two rates")
    assert words.first_word(change) == "Only changing the tariff to two rates"
    assert words.first_word("kit (2 modules)") == "kit (2 modules)"


def test_names_read_as_a_choice():
    """One, two and three names."""
    assert [listed(["a"]), listed(["a", "b"]), listed(["a", "b", "c"])] == ["a", "a or b", "a, b or c"]


def test_compare_writes_its_three_files_in_any_order(here, small_file, tmp_path):
    """The command ends with the path of the report; another order of the options changes their letters alone."""
    other = tmp_path / "other.toml"
    other.write_text(small_file.read_text().replace("price = 600", "price = 300"))
    told = []
    for order in ((small_file, other), (other, small_file)):
        done = here("compare", *order, "--out", "out", "--no-stay", cwd=tmp_path)
        assert done.returncode == 0, done.stderr
        assert done.stdout.splitlines()[-1] == "out/report.html"
        assert sorted(path.name for path in (tmp_path / "out").iterdir()) == ["draws.csv", "report.html", "result.json"]
        told.append(json.loads((tmp_path / "out" / "result.json").read_text()))
    figures = told[0]
    letters = [[(row["letter"], row["option"]) for row in each.pop("compared")] for each in told]
    assert letters == [[("A", "small"), ("B", "other")], [("A", "other"), ("B", "small")]]
    assert [row.pop("given") for row in told[0]["differing"]] == [
        row.pop("given")[::-1] for row in told[1]["differing"]
    ]
    assert told[0] == told[1]
    draws = np.genfromtxt(tmp_path / "out" / "draws.csv", delimiter=",", names=True)
    assert draws["other"] - draws["small"] == pytest.approx(300.0)
    rows = {row["option"]: row for row in figures["options"]}
    assert rows["other"]["net_present_value"]["mean"]["value"] == pytest.approx(draws["other"].mean())
