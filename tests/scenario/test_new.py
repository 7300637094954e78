"""`riskcalc new`: every answer typed or given, every kit of the shelf, a file that runs, nothing overwritten."""

import json
import tomllib
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from typer.testing import CliRunner

import riskcalc
from riskcalc.cli import app
from riskcalc.errors import InputError
from riskcalc.scenario import json_schema, read_scenario
from riskcalc.scenario.new import QUESTIONS, shelf_kits
from riskcalc.scenario.new.questions import OFF_GRID, USUAL
from riskcalc.scenario.new.readers import read_place
from riskcalc.scenario.new.text import toml_lines
from riskcalc.weather.climates import climate, climate_names

SHELF = Path(__file__).parents[2] / "scenarios/kits"
KITS = sorted(path.stem for path in SHELF.glob("*.toml"))


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Work in an empty folder."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


def run(*words: str, typed: str | None = None):
    """Run the command; what it raises comes out."""
    return CliRunner().invoke(app, ["new", *words], input=typed, catch_exceptions=False)


def test_the_shelf_is_that_of_the_scenarios() -> None:
    """The kits that are offered are those of scenarios/kits, and the package holds no second copy of them."""
    assert set(shelf_kits()) == set(KITS)
    copies = {path.name for path in Path(riskcalc.__file__).parent.rglob("*.toml")}
    assert not copies, "the shelf lies in scenarios/, once"


@pytest.mark.parametrize("kit", KITS)
@pytest.mark.parametrize("tenure", ["rent", "own"])
@pytest.mark.parametrize("tariff", ["flat", "two-rate"])
def test_every_kit_gives_a_sound_scenario(folder: Path, kit: str, tenure: str, tariff: str) -> None:
    """Whatever the kit, tenure and tariff: a file without `from` that reads without a problem."""
    off_grid = kit.startswith("off-grid")
    words = [] if off_grid else ["--tariff", tariff]
    done = run("home.toml", "--yes", "--kit", kit, "--tenure", tenure, *words)
    assert done.exit_code == 0
    text = (folder / "home.toml").read_text(encoding="utf-8")
    assert "from =" not in text
    scenario = read_scenario("home.toml")
    assert scenario.tenure.kind == tenure
    assert scenario.name == "home"
    assert scenario.kit.name == shelf_kits()[kit].name
    assert len(scenario.tariff.rates) == (1 if off_grid or tariff == "flat" else 2)
    assert len(scenario.files) == 1


@pytest.mark.usefixtures("folder")
def test_answers_typed_at_the_prompt_arrive() -> None:
    """One answer a line, Enter for the default; a wrong one is asked again with what is accepted."""
    typed = ["thmes", "thames", "rent", "3", "portable-2kwh", "800", "0.5", "0.06", "4", "maybe", "no"]
    typed += ["2,400", "2400", "kettel", "kettle, fridge_freezer", "two-rate", "0.32", "0.12", "23:30-05:30"]
    typed += ["3", "2.5", "4", "yes"]
    done = run("flat.toml", typed="\n".join(typed) + "\n")
    assert done.exit_code == 0, done.output
    assert "nearest in name: thames" in done.output
    assert "write the decimal point as a point" in done.output
    assert "kettel is not known; appliances such as kettle" in done.output
    scenario = read_scenario("flat.toml")
    assert scenario.home.annual_use_kwh.mode == 2400
    assert scenario.purchase.price.value == 800
    assert scenario.tenure.stay_years.median == 3
    assert scenario.tariff.rates["night"].windows == ("23:30-05:30",)
    assert scenario.tariff.rates["night"].import_price_per_kwh.mode == 0.12
    loan, outages = scenario.purchase.loan, scenario.outages
    assert (loan.financed_share.value, loan.rate_per_year.value, loan.term_years) == (0.5, 0.06, 4)
    assert scenario.kit.runs_from_battery_on_mains is False
    assert (outages.per_year.value, outages.hours_each.value, outages.value_per_hour.value) == (3, 2.5, 4)
    assert outages.kit_bridges
    assert scenario.dispatch.charge_at == ("night",)
    assert scenario.dispatch.off_hours == ("23:30-05:30",)
    plugged = {name for name, where in scenario.home.appliances.items() if where == "unit"}
    assert plugged == {"kettle", "fridge_freezer"}


@pytest.mark.usefixtures("folder")
def test_options_answer_everything_and_nothing_is_asked() -> None:
    """All answers given: no prompt, even without --yes."""
    words = "home.toml --place severn --tenure own --stay 9 --kit rooftop-4kwp-5kwh --cost 6500 --loan 0 --facing sw --use 3100"
    words += " --tariff flat --price 0.27 --export-price 0.1 --outages 0"
    done = run(*words.split(), typed="")
    assert done.exit_code == 0, done.output
    assert "[" not in done.output
    scenario = read_scenario("home.toml")
    assert scenario.site.weather.region == "severn"
    assert (scenario.home.surfaces["roof"].azimuth_deg.low, scenario.home.surfaces["roof"].azimuth_deg.high) == (
        215,
        235,
    )
    assert scenario.purchase.price.value == 6500
    assert scenario.purchase.installation.value == 0
    assert scenario.tariff.export_price_per_kwh.mode == 0.1


def test_no_answer_at_all_ends_without_a_file(folder: Path) -> None:
    """An input that ends before the questions do writes nothing."""
    done = run("home.toml", typed="thames\n")
    assert done.exit_code == 1
    assert list(folder.iterdir()) == []


def test_a_file_that_is_there_stays(folder: Path) -> None:
    """Nothing is overwritten unless told."""
    (folder / "home.toml").write_text("precious", encoding="utf-8")
    with pytest.raises(InputError, match="--overwrite"):
        run("home.toml", "--yes")
    assert (folder / "home.toml").read_text(encoding="utf-8") == "precious"
    assert run("home.toml", "--yes", "--overwrite").exit_code == 0
    assert read_scenario("home.toml").name == "home"


@pytest.mark.parametrize(
    ("words", "accepted"),
    [
        (("--use", "a lot"), "a number from 20 to 100000 kWh"),
        (("--use", "nan"), "a number from 20 to 100000 kWh"),
        (("--kit", "portable-2kw"), 'did you mean "portable-2kwh"'),
        (("--tenure", "lease"), "rent or own"),
        (("--zone", "London"), "a time zone of the IANA database"),
        (("--facing", "up"), "degrees from north"),
        (("--tariff", "flat", "--night-price", "0.1"), "an answer only with --tariff two-rate"),
        (("--place", "nowhere.epw"), "a weather file that can be opened"),
        (("--price", "-1"), "a number from 0"),
    ],
)
def test_a_wrong_option_is_refused_with_what_is_accepted(folder: Path, words: tuple[str, ...], accepted: str) -> None:
    """Bad input, said as elsewhere, and no file."""
    with pytest.raises(InputError) as caught:
        run("home.toml", "--yes", *words)
    assert accepted in str(caught.value)
    assert list(folder.iterdir()) == []


def test_what_the_schema_refuses_leaves_nothing_behind(folder: Path) -> None:
    """A price that only the scenario's own checks find suspicious is reported against the file to be written."""
    with pytest.raises(InputError, match=r"home\.toml: tariff"):
        run("home.toml", "--yes", "--price", "31")
    assert not (folder / "home.toml").exists()


@pytest.mark.parametrize(
    ("name", "header", "zone"),
    [
        ("a.epw", "LOCATION,Town,-,XYZ,own,000000,52.0,5.0,1.0,2.0", "Etc/GMT-1"),
        ("b.csv", '000000,"TOWN",NC,-5.0,36.1,-79.95,273', "Etc/GMT+5"),
    ],
)
def test_a_weather_file_gives_its_zone(folder: Path, name: str, header: str, zone: str) -> None:
    """The offset in the first line becomes the clock, and the path is seen from the scenario."""
    (folder / "data").mkdir()
    (folder / "data" / name).write_text(header + "\n", encoding="utf-8")
    money = ("--cost", "700", "--price", "0.3")
    assert run("homes/home.toml", "--yes", "--place", f"data/{name}", *money).exit_code == 0
    written = tomllib.loads((folder / "homes/home.toml").read_text(encoding="utf-8"))
    assert written["site"]["zone"] == zone
    assert written["site"]["weather"] == {"source": "epw" if name == "a.epw" else "tmy3", "file": f"../data/{name}"}


def test_editors_find_the_schema(folder: Path) -> None:
    """The first line names the schema that lies beside the file and is the one of this version."""
    run("home.toml", "--yes")
    first = (folder / "home.toml").read_text(encoding="utf-8").splitlines()[0]
    assert first == "#:schema ./scenario.schema.json"
    assert json.loads((folder / "scenario.schema.json").read_text(encoding="utf-8")) == json_schema()


def test_the_clock_of_each_climate_is_that_of_its_place() -> None:
    """In January the zone of a built-in climate stands at the standard time of its table."""
    january = datetime(2025, 1, 15, 12, tzinfo=UTC)
    for name in climate_names():
        offset = january.astimezone(ZoneInfo(climate(name).zone)).utcoffset()
        assert offset == timedelta(hours=climate(name).utc_offset_hours), name


@pytest.mark.parametrize(("place", "currency"), [("thames", "GBP"), ("Essen, Germany", "EUR"), ("tucson", "USD")])
def test_the_money_of_each_climate_is_that_of_its_place(place: str, currency: str) -> None:
    """The currency offered goes with the place; it is a start to be changed."""
    assert read_place(place).currency == currency


@pytest.mark.parametrize(
    ("place", "kit", "history"),
    [
        ("thames", "rooftop-4kwp-5kwh", "ons_electricity"),
        ("tucson", "rooftop-4kwp-5kwh", None),
        ("thames", "off-grid-3kwh", None),
    ],
)
@pytest.mark.usefixtures("folder")
def test_prices_follow_the_history_of_the_place(place: str, kit: str, history: str | None) -> None:
    """British bills name the British history; the defaults are those of the United States; fuel follows neither."""
    words = ["--tariff", "flat", "--price", "0.3"] if history is None and "off" not in kit else []
    done = run("home.toml", "--yes", "--place", place, "--kit", kit, "--cost", "6500", *words)
    assert done.exit_code == 0, done.output
    prices = read_scenario("home.toml").prices
    assert prices.history == history
    assert prices.persistence.value == (0.529 if history else 0.3)
    assert prices.trend_per_year.mean == 0.025


def test_usual_appliances_are_in_the_table() -> None:
    """What is offered can be named."""
    from riskcalc.demand.appliances import appliance_keys

    assert set(USUAL) | set(OFF_GRID) <= set(appliance_keys())


def test_every_question_has_an_option() -> None:
    """What can be asked can be given; the help names it."""
    text = CliRunner().invoke(app, ["new", "--help"], env={"COLUMNS": "200"}).output
    assert all(question.option in text for question in QUESTIONS)


def test_what_is_written_reads_back() -> None:
    """Texts with quotes, odd names, numbers and nested lists come out of TOML as they went in."""
    tables = {
        "title": 'a "quoted" \\ text\twith ünïcode\u007f',
        "site": {"zone": "UTC", "horizon": [[0, 10.5], [90, 0]], "flag": True},
        "home": {"odd name": {"tilt_deg": {"distribution": "uniform", "low": 1e-07, "high": 123456.789}}},
    }
    assert tomllib.loads("\n".join(toml_lines(tables))) == tables


@pytest.mark.parametrize("kit", KITS)
def test_the_cost_given_is_the_whole_cost(folder: Path, kit: str) -> None:
    """No price of a module, an extra battery or the installation comes on top of the answer."""
    from riskcalc.money.flows import kit_price

    assert run("home.toml", "--yes", "--kit", kit, "--cost", "350").exit_code == 0
    scenario = read_scenario("home.toml")
    values = {key: quantity.support[0] for key, quantity in scenario.quantities().items()}
    assert float(kit_price(scenario, values) + values["purchase.installation"]) == pytest.approx(350)


@pytest.mark.parametrize("kit", KITS)
def test_the_price_offered_is_that_of_the_shelf_all_told(folder: Path, kit: str) -> None:
    """What stands in brackets is what would be paid: modules and extra batteries are in it."""
    from riskcalc.money.flows import kit_price

    assert run("home.toml", "--yes", "--kit", kit).exit_code == 0
    scenario = read_scenario("home.toml")
    values = {
        key: getattr(quantity, "mode", quantity.practical_support[0]) for key, quantity in scenario.quantities().items()
    }
    assert float(kit_price(scenario, values) + values["purchase.installation"]) == pytest.approx(
        shelf_kits()[kit].usual_price
    )


def test_another_currency_needs_every_price(folder: Path) -> None:
    """The shelf's pounds are not relabelled: cost and price of a kWh are asked for, both at once."""
    with pytest.raises(InputError) as caught:
        run("home.toml", "--yes", "--currency", "SEK")
    assert [problem.key for problem in caught.value.problems] == ["--cost", "--price"]
    words = ["--yes", "--currency", "SEK", "--kit", "rooftop-4kwp-5kwh", "--cost", "120000", "--price", "2.1"]
    assert run("home.toml", *words).exit_code == 0
    scenario = read_scenario("home.toml")
    purchase, shelf = scenario.purchase, shelf_kits()["rooftop-4kwp-5kwh"]
    assert purchase.price.value == 120_000
    factor = 120_000 / shelf.usual_price
    assert purchase.battery_replacement_price.value == pytest.approx(1700 * factor, rel=1e-5)
    assert not scenario.is_given("tariff.standing_charge_per_day")


def test_legitimate_answers_are_taken(folder: Path) -> None:
    """A plug-in kit may be paid for export, and an owner may move."""
    words = ["--yes", "--tenure", "own", "--stay", "6", "--kit", "plug-in-800w", "--export-price", "0.08"]
    assert run("home.toml", *words).exit_code == 0
    scenario = read_scenario("home.toml")
    assert scenario.tenure.stay_years.median == 6
    assert scenario.tariff.export_price_per_kwh.mode == 0.08


@pytest.mark.parametrize(
    ("place", "said", "not_said"),
    [
        ("boston", "`riskcalc sites` lists them", "rostock"),
        ("42.36 -71.06", "riskcalc weather 42.36 -71.06", "rostock"),
        ("151, -33", "swapped", "Traceback"),
    ],
)
def test_a_place_far_from_all_climates_is_not_guessed(folder: Path, place: str, said: str, not_said: str) -> None:
    """No town far away is offered for one that is spelt alike; coordinates name the command that fetches years."""
    with pytest.raises(InputError) as caught:
        run("home.toml", "--yes", "--place", place)
    assert said in str(caught.value)
    assert not_said not in str(caught.value)


def test_coordinates_near_a_climate_take_it(folder: Path) -> None:
    """A place within reach of a built-in climate stands for it."""
    assert run("home.toml", "--yes", "--place", "51.5, -0.1").exit_code == 0
    assert read_scenario("home.toml").site.weather.region == "thames"


def test_a_meter_file_is_used_at_once(folder: Path) -> None:
    """Use is the file's, no appliance is asked for, and the path is seen from the scenario."""
    start = datetime(2023, 1, 1, tzinfo=UTC)
    rows = [f"{(start + timedelta(minutes=30 * i)).isoformat()},{0.1 + 0.05 * (i % 48 > 34)}" for i in range(48 * 365)]
    (folder / "meter.csv").write_text("time,energy_kwh\n" + "\n".join(rows) + "\n", encoding="utf-8")
    assert run("homes/home.toml", "--yes", "--meter", "meter.csv", "--kit", "portable-2kwh").exit_code == 0
    written = tomllib.loads((folder / "homes/home.toml").read_text(encoding="utf-8"))
    assert written["home"]["demand"]["file"] == "../meter.csv"
    assert "annual_use_kwh" not in written["home"]
    used = sum(float(row.split(",")[1]) for row in rows)
    scenario = read_scenario("homes/home.toml")
    low, high = scenario.home.annual_use_kwh.practical_support
    assert low <= used <= high


def test_measured_power_is_used_at_once(folder: Path) -> None:
    """`--pv` and `--pv-peak` write the table, with the path seen from the scenario; one without the other is asked for."""
    (folder / "roof.csv").write_text("time,power_w\n2023-01-01 00:00,0\n2023-01-01 00:30,0\n", encoding="utf-8")
    words = ["homes/home.toml", "--yes", "--kit", "rooftop-4kwp-5kwh", "--tenure", "own", "--pv", "roof.csv"]
    assert run(*words, "--pv-peak", "4000").exit_code == 0
    measured = read_scenario("homes/home.toml").site.measured_pv
    assert (measured.file, measured.peak_w) == ("../roof.csv", 4000.0)
    with pytest.raises(InputError) as caught:
        run(*words, "--overwrite")
    (problem,) = caught.value.problems
    assert (problem.key, problem.given) == ("--pv-peak", "nothing")
    assert "stands on the modules" in problem.hint
    with pytest.raises(InputError, match="with --pv"):
        run("other.toml", "--yes", "--kit", "rooftop-4kwp-5kwh", "--pv-peak", "4000")
    with pytest.raises(InputError, match="with a kit that has modules"):
        run("other.toml", "--yes", "--kit", "portable-2kwh", "--pv", "roof.csv")


def test_a_schema_file_that_is_not_ours_stays(folder: Path) -> None:
    """A file of that name that somebody else made is not replaced; ours is, when it is older."""
    (folder / "scenario.schema.json").write_text('{"mine": true}', encoding="utf-8")
    with pytest.raises(InputError, match=r"scenario\.schema\.json"):
        run("home.toml", "--yes")
    assert json.loads((folder / "scenario.schema.json").read_text()) == {"mine": True}
    assert not (folder / "home.toml").exists()
    assert run("home.toml", "--yes", "--overwrite").exit_code == 0
    assert run("other.toml", "--yes").exit_code == 0


def test_a_fault_of_a_meter_file_is_told_of_that_file(folder: Path) -> None:
    """A quotation mark left open in the meter file: its own name and line, not those of the scenario to be."""
    (folder / "m.csv").write_text('time,power_w\n2023-01-01 00:00,"1\n', encoding="utf-8")
    with pytest.raises(InputError) as caught:
        run("home.toml", "--yes", "--meter", "m.csv")
    (problem,) = caught.value.problems
    assert Path(problem.file).name == "m.csv"
    assert problem.given == "line 2: a quotation mark that is never closed"
    assert not (folder / "home.toml").exists()


def test_a_section_that_a_message_names_is_there(folder: Path) -> None:
    """A weather file without a head is refused with the section of the guide that describes weather files."""
    (folder / "w.csv").write_text("time,ghi,temp_air,wind_speed\n2020-01-01 00:00,0,5,2\n", encoding="utf-8")
    with pytest.raises((InputError, ValueError)) as caught:
        read_place("w.csv")
    assert "Weather files" in str(caught.value)
    assert "\n## Weather files\n" in (SHELF.parent / "README.md").read_text(encoding="utf-8")
