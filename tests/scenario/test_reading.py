"""Reading scenarios: sharing, overrides, quantities, assumptions, the schema for editors."""

import hashlib
import subprocess
import sys
from pathlib import Path

import pytest

from riskcalc.errors import InputError
from riskcalc.scenario import (
    array_inputs,
    array_surfaces,
    assumptions,
    family_of,
    json_schema,
    read_scenario,
    unit_of,
)
from riskcalc.uncertainty.bounded import Triangular, Uniform
from riskcalc.uncertainty.endless import Normal
from riskcalc.uncertainty.observed import Empirical
from riskcalc.uncertainty.quantity import Fixed

FLAT = (Path(__file__).parents[1] / "data" / "flat.toml").read_text(encoding="utf-8")
SCENARIOS = Path(__file__).parents[2] / "scenarios"
SHIPPED = sorted(SCENARIOS.glob("*.toml"))


@pytest.fixture(autouse=True)
def folder(tmp_path, monkeypatch):
    """Work in an empty folder `scenarios` that holds flat.toml."""
    place = tmp_path / "scenarios"
    place.mkdir()
    monkeypatch.chdir(place)
    Path("flat.toml").write_text(FLAT, encoding="utf-8")
    return place


def write(name, text):
    """Write a file below the working folder."""
    Path(name).parent.mkdir(parents=True, exist_ok=True)
    Path(name).write_text(text, encoding="utf-8")


def settings_of(path, overrides=()):
    """Return every setting of a scenario under its dotted key."""
    return {key: value for key, value, _ in read_scenario(path, overrides).leaves()}


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_shipped_scenarios_load(path):
    """Every shipped scenario is sound, named like its file, says it is invented, is unsure of eight things or more."""
    scenario = read_scenario(path)
    assert scenario.name == path.stem
    assert "invented" in scenario.description.lower()
    assert len(scenario.uncertain()) >= 8
    for key, quantity in scenario.uncertain().items():
        assert quantity.source, f"{key} has no source"


def test_shelves_say_that_they_are_invented():
    """Every home, kit and tariff on the shelves says in its first line that it is our own invention."""
    shelf = [path for path in SCENARIOS.rglob("*.toml") if path not in SHIPPED]
    assert len(shelf) >= 8
    for path in shelf:
        assert "our own invention" in path.read_text(encoding="utf-8").splitlines()[0], path


def test_shipped_scenarios_cover_the_couplings_and_two_climates():
    """The shipped scenarios show sockets, whole home and off grid; one runs from a weather file."""
    scenarios = [read_scenario(path) for path in SHIPPED]
    assert {scenario.kit.coupling for scenario in scenarios} >= {"sockets", "whole_home", "off_grid"}
    assert {scenario.site.weather.source for scenario in scenarios} == {"climate", "tmy3"}


def test_reading_loads_no_heavy_library():
    """Importing the scenario package loads neither numpy nor anything built on it."""
    code = (
        "import sys, riskcalc.scenario; print([m for m in ('numpy', 'pandas', 'scipy', 'numba') if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=SCENARIOS.parent
    )
    assert done.stdout.strip() == "[]"


def test_quantities_are_named_by_their_place():
    """Every number that may be uncertain is found under its dotted key, defaults included."""
    scenario = read_scenario("flat.toml")
    quantities = scenario.quantities()
    assert quantities["kit.battery.capacity_kwh"] == Triangular(low=1.7, mode=1.9, high=2.0)
    assert quantities["tariff.rates.night.import_price_per_kwh"] == Fixed(value=0.16)
    assert quantities["home.surfaces.balcony.azimuth_deg"] == Fixed(value=220)
    assert quantities["prices.trend_per_year"].support == (0.02, 0.02)
    assert "kit.inverter.rating_w" not in quantities
    given = [key for key in scenario.uncertain() if scenario.is_given(key)]
    assert given == ["tariff.rates.day.import_price_per_kwh", "kit.battery.capacity_kwh"]


def test_scenario_cannot_be_changed():
    """A scenario is frozen once read."""
    scenario = read_scenario("flat.toml")
    with pytest.raises(ValueError, match="frozen"):
        scenario.study.draws = 5


def test_name_is_the_file_stem_unless_given():
    """The name comes from the file, or from its `name`."""
    assert read_scenario("flat.toml").name == "flat"
    assert read_scenario("flat.toml", ['name="south flat"']).name == "south flat"


def test_without_kit_nothing_is_bought():
    """A scenario without [kit] and [purchase] is the one in which nothing is bought."""
    start, end = FLAT.index("[kit]"), FLAT.index("[dispatch]")
    write("nothing.toml", FLAT[:start] + FLAT[end:].replace('charge_at = ["night"]', ""))
    scenario = read_scenario("nothing.toml")
    assert scenario.kit is None
    assert scenario.purchase is None


def shared_flat():
    """Lay the kit and its price on a shelf and write a scenario that takes both from there."""
    start, end = FLAT.index("[kit]"), FLAT.index("[dispatch]")
    write("kits/unit.toml", 'name = "unit"\n' + FLAT[start:end])
    write(
        "shared.toml",
        FLAT[:start] + '[kit]\nfrom = "kits/unit.toml"\n[purchase]\nfrom = "kits/unit.toml"\n' + FLAT[end:],
    )


def test_shared_tables_give_the_same_scenario():
    """A kit taken from a shelf gives the scenario that has it written out."""
    shared_flat()
    assert settings_of("shared.toml", ['name="flat"']) == settings_of("flat.toml")


def test_single_keys_override_the_shared_file():
    """A key written beside `from` wins; its neighbours stay."""
    shared_flat()
    text = Path("shared.toml").read_text(encoding="utf-8")
    write("shared.toml", text + "\n[kit.battery]\ncharge_w = 800\n")
    battery = read_scenario("shared.toml").kit.battery
    assert battery.charge_w == Fixed(value=800)
    assert battery.discharge_w == Fixed(value=2000)


def test_distribution_replaces_a_distribution_whole():
    """A distribution written over another keeps none of its parameters."""
    shared_flat()
    text = Path("shared.toml").read_text(encoding="utf-8")
    table = '{ distribution = "normal", mean = 1.9, sd = 0.05, minimum = 1.5 }'
    write("shared.toml", f"{text}\n[kit.battery]\ncapacity_kwh = {table}\n")
    assert read_scenario("shared.toml").kit.battery.capacity_kwh == Normal(mean=1.9, sd=0.05, minimum=1.5)


def test_chain_of_shared_files():
    """A shared file may itself take its table from another one, relative to its own folder; bare keys will do."""
    shared_flat()
    write("kits/cheap/unit.toml", 'from = "../unit.toml"\nname = "the cheap one"\n')
    text = Path("shared.toml").read_text(encoding="utf-8")
    write("shared.toml", text.replace('[kit]\nfrom = "kits/unit.toml"', '[kit]\nfrom = "kits/cheap/unit.toml"'))
    scenario = read_scenario("shared.toml")
    assert scenario.kit.name == "the cheap one"
    assert scenario.kit.inverter.rating_w == 1800
    assert [used.path for used in scenario.files] == ["shared.toml", "kits/cheap/unit.toml", "kits/unit.toml"]


def test_files_carry_their_hash():
    """Every file that was read is listed with the SHA-256 of its bytes, data files too."""
    write("weather.csv", "any bytes")
    weather = '{ source = "csv", file = "weather.csv", zone = "UTC", label = "start" }'
    text = FLAT.replace('{ source = "climate", region = "thames" }', weather)
    write("flat.toml", text.replace("[site]\n", "[site]\nlatitude_deg = 51\nlongitude_deg = 0\n"))
    scenario = read_scenario("flat.toml")
    hashes = {used.path: used.sha256 for used in scenario.files}
    assert hashes["weather.csv"] == hashlib.sha256(b"any bytes").hexdigest()
    assert hashes["flat.toml"] == hashlib.sha256(Path("flat.toml").read_bytes()).hexdigest()
    assert scenario.data_path("site.weather.file") == Path("weather.csv")


def test_data_file_is_relative_to_the_file_that_names_it():
    """A data file named in a shared file lies beside that file."""
    write("homes/weather.epw", "any bytes")
    write("homes/home.toml", '[site]\nzone = "Europe/London"\nweather = { source = "epw", file = "weather.epw" }\n')
    start, end = FLAT.index("[site]"), FLAT.index("[home]")
    write("flat.toml", FLAT[:start] + '[site]\nfrom = "homes/home.toml"\n' + FLAT[end:])
    assert read_scenario("flat.toml").data_path("site.weather.file") == Path("homes/weather.epw")


def test_empirical_distribution_reads_its_column():
    """Observed values come from the named column, and draws come from them alone."""
    write("use.csv", "\ufeffyear,kwh\n2020,2100\n2021, 2300\n\n2022,2600\n")
    override = 'home.annual_use_kwh={distribution="empirical", file="use.csv", column="kwh"}'
    quantity = read_scenario("flat.toml", [override]).home.annual_use_kwh
    assert isinstance(quantity, Empirical)
    assert quantity.values == (2100, 2300, 2600)
    assert quantity.quantile([0.1, 0.5, 0.9]).tolist() == [2100, 2300, 2600]
    assert quantity.words() == "one of 3 observations from use.csv, column kwh, 2100 to 2600"


def test_overrides_win_in_their_order():
    """Overrides win over the file, later ones over earlier ones; part of a distribution will do."""
    overrides = ["home.occupants=3", "home.occupants = 4", "home.kind=flat", "kit.battery.capacity_kwh.high=2.2"]
    scenario = read_scenario("flat.toml", overrides)
    assert scenario.home.occupants == 4
    assert scenario.home.kind == "flat"
    assert scenario.kit.battery.capacity_kwh == Triangular(low=1.7, mode=1.9, high=2.2)


def test_override_can_swap_a_shared_file():
    """`--set kit.from=...` takes another kit from the shelf; the scenario's own keys still win."""
    shared_flat()
    other = Path("kits/unit.toml").read_text(encoding="utf-8").replace("rating_w = 1800", "rating_w = 2400")
    write("kits/other.toml", other)
    assert read_scenario("shared.toml", ['kit.from="kits/other.toml"']).kit.inverter.rating_w == 2400


def test_override_replaces_a_number_by_a_distribution():
    """A value is TOML: a distribution can be given on the command line."""
    override = 'purchase.price={ distribution = "uniform", low = 900, high = 1100 }'
    assert read_scenario("flat.toml", [override]).purchase.price == Uniform(low=900, high=1100)


def test_equals_scenarios_whatever_the_order_of_keys():
    """Tables in another order give the same scenario."""
    start, end = FLAT.index("[kit.battery]"), FLAT.index("[kit.inverter]")
    write("turned.toml", FLAT[:start] + FLAT[end:] + "\n" + FLAT[start:end] + "extra_batteries = 0\n")
    assert settings_of("turned.toml", ['name="flat"']) == settings_of("flat.toml")


def test_arrays_find_their_surface_and_input():
    """An array without a named surface takes the one in its position; without an input, the only one."""
    scenario = read_scenario("flat.toml")
    assert array_surfaces(scenario.kit, scenario.home) == {"pair": "balcony"}
    assert array_inputs(scenario.kit) == {"pair": "solar"}


def test_assumptions_tell_defaults_from_what_was_given():
    """Each setting has a row; a default carries its source, a figure of the file the source written beside it."""
    scenario = read_scenario("flat.toml", ['home.annual_use_kwh={value=2100, source="last bill"}'])
    rows = {row.key: row for row in assumptions(scenario)}
    use, decline = rows["home.annual_use_kwh"], rows["kit.ageing.module_decline_per_year"]
    assert (use.given, use.unit, use.kind, use.source, use.is_default) == (
        "2100",
        "kWh/year",
        "fixed",
        "last bill",
        False,
    )
    assert (decline.given, decline.is_default) == ("0.005", True)
    assert decline.source == "Jordan & Kurtz 2013, median"
    assert rows["kit.battery.capacity_kwh"].given == "triangular 1.7 to 2, most likely 1.9"
    assert rows["purchase.price"].unit == "GBP"
    assert rows["kit.coupling"].kind == "choice"
    assert rows["kit.ageing.calendar_life_years"].given == "not given: no calendar loss under law datasheet"


def test_every_default_has_a_source():
    """No default enters an answer without a source or the words that there is none."""
    for row in assumptions(read_scenario("flat.toml")):
        assert row.source, row.key
        assert row.label, row.key


def test_families_and_units():
    """Keys are ranked by family, and carry their unit in their name."""
    keys = [
        "site.resource_factor",
        "tariff.rates.day.import_price_per_kwh",
        "kit.ageing.scale",
        "kit.battery.capacity_kwh",
    ]
    assert [family_of(key) for key in keys] == ["weather", "prices", "ageing", "kit"]
    assert family_of("home.annual_use_kwh") == "habits"
    units = [
        unit_of(key, "GBP")
        for key in (*keys[1:2], keys[3], "kit.inverter.idle_w", "purchase.price", "kit.module.gamma_pmax_per_k")
    ]
    assert units == ["GBP/kWh", "kWh", "W", "GBP", "share/K"]


def test_bytes_before_the_text_do_no_harm():
    """A byte-order mark and Windows line ends are accepted."""
    Path("windows.toml").write_bytes(b"\xef\xbb\xbf" + FLAT.replace("\n", "\r\n").encode())
    assert settings_of("windows.toml", ['name="flat"']) == settings_of("flat.toml")


def test_text_with_markup_is_only_text():
    """Markup in a description is kept as it is, for the report to escape."""
    text = "<script>alert(1)</script>"
    assert read_scenario("flat.toml", [f'description="{text}"']).description == text


def test_rate_may_be_called_value():
    """Names of entries do not collide with the words of distributions."""
    write("tariffs/one.toml", "[tariff.rates.value]\nimport_price_per_kwh = 0.3\n")
    start, end = FLAT.index("[tariff.rates.day]"), FLAT.index("[prices]")
    text = FLAT[:start] + '[tariff]\nfrom = "tariffs/one.toml"\n[tariff.rates.value]\nmonths = [1, 2]\n' + FLAT[end:]
    write("flat.toml", text.replace('charge_at = ["night"]', ""))
    with pytest.raises(InputError, match="no rate at"):
        read_scenario("flat.toml")


def test_schema_for_editors_accepts_what_is_read():
    """The JSON Schema accepts every shipped scenario and refuses a misspelt key and a wrong choice."""
    import tomllib

    jsonschema = pytest.importorskip("jsonschema")
    schema = json_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    for path in SHIPPED:
        assert list(validator.iter_errors(tomllib.loads(path.read_text(encoding="utf-8")))) == [], path
    assert list(validator.iter_errors(tomllib.loads(FLAT))) == []
    for old, new in [("rating_w", "ratting_w"), ('"sockets"', '"socket"'), ("mode = 1.9, ", ""), ("price = 1250", "")]:
        assert list(validator.iter_errors(tomllib.loads(FLAT.replace(old, new)))), new


def test_schema_says_what_keys_mean():
    """The schema carries each key's meaning and default, and lets top tables say `from`."""
    definitions = json_schema()["$defs"]
    capacity = definitions["Battery"]["properties"]["capacity_kwh"]
    assert capacity["description"] == "usable capacity of one battery in kWh"
    assert definitions["Battery"]["properties"]["charge_efficiency"]["default"] == 0.96
    assert "from" in definitions["Kit"]["properties"]
    assert "from" not in definitions["Battery"]["properties"]
    assert "required" not in definitions["KitPart"]


def test_the_level_of_light_is_unsure_unless_given(small_file):
    """A typical year may lie 5 % off the years to come: about normal(1, 0.05), cut to 0.8 to 1.2, with its source."""
    text = small_file.read_text(encoding="utf-8").replace("resource_factor = 1\n", "")
    small_file.write_text(text, encoding="utf-8")
    scenario = read_scenario(small_file)
    level = scenario.quantities()["site.resource_factor"]
    assert level.support == (0.8, 1.2)
    assert level.quantile(0.5) == pytest.approx(1.0)
    assert level.quantile(0.8413) == pytest.approx(1.05, abs=1e-3)
    (row,) = [row for row in assumptions(scenario) if row.key == "site.resource_factor"]
    assert "Wild, Journal of Geophysical Research 114 (2009)" in row.source
