"""What a user types is what is computed: each of these was once taken without a word."""

import html
import re
from pathlib import Path

import pytest

from riskcalc.errors import InputError
from riskcalc.scenario import read_scenario
from riskcalc.study.model import assessment
from riskcalc.years.planes import scenario_fit
from riskcalc.years.pools import weather_years

FEW = ["study.draws=8", "study.scrambles=2", "study.pool_years=2", "study.horizon_years=2", "study.step_minutes=15"]


def test_a_unit_that_passes_the_mains_through_saves_nothing(small_file: Path) -> None:
    """Neither sun nor night charging: every kWh of the home comes from the mains, and the unit draws its standby."""
    changes = [*FEW, 'dispatch.charge_at=["night"]']
    first = {}
    for runs in ("true", "false"):
        found = assessment(read_scenario(small_file, [*changes, f"kit.runs_from_battery_on_mains={runs}"]))
        first[runs] = found.valuation.saving[0]
    assert (first["true"] > 0).all()
    assert (first["false"] <= 0).all()


def test_only_a_portable_unit_passes_the_mains_through(small_file: Path) -> None:
    """A wired system has no sockets of its own that the question could be about."""
    with pytest.raises(InputError, match="runs_from_battery_on_mains"):
        read_scenario(small_file, ['kit.coupling="whole_home"', "kit.runs_from_battery_on_mains=false"])


def test_a_record_low_above_the_weather_does_not_count(small_file: Path) -> None:
    """The colder of both: a mild record must not let a string pass that the weather itself would break."""
    warm, none = (
        read_scenario(small_file, ["study.pool_years=2", f"site.record_low_c={low}"]) for low in ("25", "-11.9")
    )
    weather = weather_years(warm)
    assert weather.lowest_temp_c < 25
    lines = {name: scenario_fit(scenario, weather) for name, scenario in (("warm", warm), ("none", none))}
    volts = {name: max(line.value for line in found if "open-circuit" in line.what) for name, found in lines.items()}
    at_low = 38.9 * (1 + 0.0025 * (25 - weather.lowest_temp_c))
    assert volts["warm"] >= at_low - 1e-6
    assert ["below the record low given" in line.method for line in lines["warm"]].count(True) == 1
    cold = -60.0
    colder = scenario_fit(read_scenario(small_file, ["study.pool_years=2", f"site.record_low_c={cold}"]), weather)
    assert max(line.value for line in colder if "open-circuit" in line.what) > volts["warm"]


def test_shared_prices_are_not_relabelled(tmp_path: Path) -> None:
    """A kit file in pounds brings no price to a scenario in kronor; its other keys may come."""
    shelf = tmp_path / "scenarios"
    shelf.mkdir()
    (shelf / "kit.toml").write_text(
        'currency = "GBP"\n[kit]\nname = "x"\n[purchase]\nprice = 900\nwarranty_years = 2\n'
    )
    text = (Path(__file__).parents[1] / "data" / "flat.toml").read_text(encoding="utf-8")
    start = text.index("[purchase]")
    end = text.index("[", start + 1)
    for own, fails in (("", True), ("price = 9000\n", False)):
        changed = text[:start] + '[purchase]\nfrom = "kit.toml"\n' + own + text[end:]
        (shelf / "flat.toml").write_text(changed.replace('"GBP"', '"SEK"'), encoding="utf-8")
        if fails:
            with pytest.raises(InputError) as caught:
                read_scenario(shelf / "flat.toml")
            assert [p.key for p in caught.value.problems if "GBP" in p.given] == ["purchase.price"]
        else:
            assert read_scenario(shelf / "flat.toml").purchase.warranty_years.value == 2


def test_a_trace_does_not_replace_what_it_reads(small_file: Path) -> None:
    """Neither the scenario, ever, nor a file of somebody else's, unless told."""
    from typer.testing import CliRunner

    from riskcalc.cli import app

    words = ["trace", str(small_file), "--draw", "0", "--year", "1", "--draws", "8", "--step", "30"]
    words += ["--set", "study.scrambles=2", "--set", "study.pool_years=2", "--set", "study.horizon_years=1"]
    before = small_file.read_text(encoding="utf-8")
    for more in ([], ["--overwrite"]):
        with pytest.raises(InputError, match="an input of this run"):
            CliRunner().invoke(app, [*words, "--out", str(small_file), *more], catch_exceptions=False)
    assert small_file.read_text(encoding="utf-8") == before
    mine = small_file.with_name("mine.csv")
    mine.write_text("a,b\n1,2\n", encoding="utf-8")
    with pytest.raises(InputError, match="--overwrite"):
        CliRunner().invoke(app, [*words, "--out", str(mine)], catch_exceptions=False)
    for _ in range(2):  # the second time it is ours
        assert (
            CliRunner().invoke(app, [*words, "--out", str(mine), "--overwrite"], catch_exceptions=False).exit_code == 0
        )
    assert CliRunner().invoke(app, [*words, "--out", str(mine)], catch_exceptions=False).exit_code == 0
    assert mine.read_text(encoding="utf-8").startswith("time,")


@pytest.mark.parametrize(
    ("traits", "said", "unsaid"),
    [
        ({"coupling": "off_grid", "cold_store": True}, ("carbon monoxide", "fridge", "medical"), ("changeover",)),
        ({"coupling": "whole_home", "bridges": True}, ("changeover", "medical"), ("carbon monoxide",)),
        ({"coupling": "whole_home"}, (), ("changeover", "medical", "carbon monoxide")),
        ({"coupling": "sockets"}, ("fridge", "medical", "pass the mains through"), ("changeover",)),
        ({"coupling": "plug_in"}, (), ("medical", "carbon monoxide")),
    ],
)
def test_what_can_go_wrong_is_said_of_the_kit_it_goes_wrong_with(traits, said, unsaid) -> None:
    """Generators, backup, medical devices, a fridge behind a unit that switches itself off."""
    from riskcalc.pages.exhibits.cautions import cautions

    text = " ".join(cautions(has_modules=True, has_battery=True, modules_in_series=1, renting=False, **traits))
    assert all(words in text for words in said)
    assert not any(words in text for words in unsaid)


@pytest.mark.parametrize(
    ("body", "said"),
    [
        ("2020-01-01 00:00,1,2,3\n2020-01-01 01:00,1,2,3,4\n", "line 5: 5 cells in a table of 4 columns"),
        ('2020-01-01 00:00,"1,2,3\n', "a quotation mark that is never closed"),
    ],
)
def test_a_weather_table_that_is_none_is_told_in_plain_words(tmp_path: Path, body: str, said: str) -> None:
    """The line of the file and its cells, not the words of a tokenizer."""
    from riskcalc.weather.csv_years import read_csv_years

    path = tmp_path / "w.csv"
    path.write_text(f"# latitude_deg: 51\n# longitude_deg: 0\ntime,ghi,temp_air,wind_speed\n{body}", encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_csv_years(path, zone="UTC", label="start")
    assert said in str(caught.value)
    assert "okeniz" not in str(caught.value)


def test_texts_lose_what_turns_or_moves_the_reading(small_file: Path) -> None:
    """Escapes, NUL and marks of direction in a title, a name or a source never reach a terminal or page."""
    nasty = "a\\u001b[31mb\\u0000c\\u202ed\\u2066e"
    changes = [f'title="{nasty}"', f'kit.name="{nasty}"', f'purchase.price={{ value = 600, source = "{nasty}" }}']
    scenario = read_scenario(small_file, changes)
    for text in (scenario.title, scenario.kit.name, scenario.purchase.price.source):
        assert not set(text) & set("\x1b\x00\u202e\u2066")
        assert text.startswith("a")
        assert text.endswith("e")


def test_what_is_found_after_reading_names_the_file(small_file: Path) -> None:
    """A string too long for its input is told of the scenario file, not of its name."""
    from riskcalc.years.planes import check_fit

    scenario = read_scenario(small_file, ["kit.arrays.one.modules_in_series=9", "study.pool_years=2"])
    with pytest.raises(InputError) as caught:
        check_fit(scenario, scenario_fit(scenario, weather_years(scenario)))
    assert {problem.file for problem in caught.value.problems} == {small_file.as_posix()}


#: Ones of everything that is counted or has a unit in words.
ONES = (
    "study.horizon_years=1", "study.odds_within_years=1", "study.pool_years=1", "purchase.warranty_years=1",
    "purchase.loan={financed_share=1,rate_per_year=0.05,term_years=1}", 'tenure.kind="rent"', "tenure.stay_years=1",
    "outages={per_year=1,hours_each=1,value_per_hour=1}", "kit.ageing.electronics_life_years=1",
    "kit.battery.extra_batteries=1", "home.occupants=1",
)  # fmt: skip
#: A one, a word or two that do not end a sentence, and a plural.
PLURALS = {
    "en": r"(years|months|days|hours|minutes|modules|batteries|figures|inputs|appliances|rates|claims|moves|outages)",
    "de": r"(Jahren?|Monaten?|Tagen?|Stunden|Minuten|Modulen?|Batterien|Annahmen|Geräten?|Tarifstufen|\S+jahren?)",
}


@pytest.mark.parametrize("language", PLURALS)
def test_one_of_anything_is_said_in_the_singular(small_file: Path, language: str) -> None:
    """A year, a month, a module: on the screen and on the page, outside charts, no plural follows a 1."""
    from riskcalc.notebook import Assessed
    from riskcalc.pages.screen import summary_lines

    found = Assessed(assessment(read_scenario(small_file, [*FEW, *ONES, f'study.language="{language}"'])))
    screen = "\n".join(summary_lines(found.figures))
    assert "within 1 year " in screen
    page = html.unescape(re.sub(r"<(script|style|svg).*?</\1>|<[^>]+>", " ", found.html(), flags=re.DOTALL))
    assert ("1 year", "1 Jahr")[language == "de"] in page
    plural = re.compile(rf"(?<![\d.,–-])\b1\s(?:(?!of\b|in\b|von\b)[\w-]+\s){{0,3}}?{PLURALS[language]}\b")
    for text, said in ((page, "page"), (screen if language == "en" else "", "screen")):
        assert [text[max(0, one.start() - 30) : one.end() + 20] for one in plural.finditer(text)] == [], said


@pytest.mark.parametrize("given", ["hour", "x"])
def test_a_wrong_kind_of_meter_file_lists_the_kinds(small_file: Path, given: str) -> None:
    """The kinds that there are, not only that this one is wrong."""
    with pytest.raises(InputError) as caught:
        read_scenario(small_file, (f'home.demand.kind="{given}"',))
    (problem,) = [problem for problem in caught.value.problems if problem.key == "home.demand.kind"]
    assert problem.accepted == 'one of "minute" or "half_hour"'
