"""Broken scenarios, each with its exact message: file, key, what was given, what is accepted, a hint."""

from pathlib import Path

import pytest

from riskcalc.errors import InputError
from riskcalc.scenario import read_scenario

FLAT = (Path(__file__).parent / "data" / "flat.toml").read_text(encoding="utf-8")
SHELF = '[kit]\ncoupling = "socket"\n'


@pytest.fixture(autouse=True)
def folder(tmp_path, monkeypatch):
    """Work in an empty folder `scenarios`, so that messages name short relative paths."""
    place = tmp_path / "scenarios"
    place.mkdir()
    monkeypatch.chdir(place)
    return place


def message(old="", new="", *, text=None, files=None, overrides=()):
    """Return the message about flat.toml with `old` replaced by `new`, or about `text`, beside other `files`."""
    assert text is not None or old in FLAT
    Path("flat.toml").write_text(FLAT.replace(old, new, 1) if text is None else text, encoding="utf-8")
    for name, content in (files or {}).items():
        Path(name).parent.mkdir(parents=True, exist_ok=True)
        Path(name).write_bytes(content if isinstance(content, bytes) else content.encode())
    with pytest.raises(InputError) as caught:
        read_scenario("flat.toml", overrides)
    return str(caught.value)


def said(key, given, accepted, hint="", file="flat.toml"):
    """Return the text of one problem."""
    lines = [f"{file}: {key}" if key else file, f"  given:    {given}", f"  accepted: {accepted}"]
    return "\n".join([*lines, f"  hint:     {hint}"] if hint else lines)


USE = "a number or a distribution, from 20 to 100000 kWh a year (electricity used in a year without the car, in kWh)"
EFFICIENCY = "a number or a distribution, from 0.3 to 1 (efficiency at half load, such as 0.92)"
CAPACITY = "a number or a distribution, from 0.05 to 500 kWh (usable capacity of one battery in kWh)"
WINDOW = 'a window of the day such as "00:30-07:30", in whole 5 minutes (24:00 may end it)'
OFF_GRID = "nothing: off grid there is no supply to charge from"
HOME_KEYS = (
    "one of the keys name, kind, occupants, annual_use_kwh, weekday_home_share, moved_share, moved_to, appliances, "
    "car_kwh_per_year, car_charger_w, demand, surfaces"
)
TOP_KEYS = (
    "one of the keys name, description, currency, site, home, tariff, prices, kit, dispatch, purchase, tenure, study, "
    "correlations"
)

#: Name of the fault -> what stands in the file, what is written instead, the message.
BROKEN = {
    "unknown key": (
        "annual_use_kwh = 2300",
        "annual_use_kwh = 2300\nocupants = 3",
        said("home.ocupants", "3", HOME_KEYS, 'did you mean "occupants"?'),
    ),
    "key of another table": (
        "annual_use_kwh = 2300",
        "annual_use_kwh = 2300\ncapacity_kwh = 2",
        said("home.capacity_kwh", "2", HOME_KEYS, "this key belongs in [kit.battery]"),
    ),
    "key of a table at the top": (
        'currency = "GBP"',
        'currency = "GBP"\nprice = 1250',
        said("price", "1250", TOP_KEYS, "this key belongs in [purchase]"),
    ),
    "table that is not known": (
        "[dispatch]",
        "[claims]\n[dispatch]",
        said("claims", "{}", TOP_KEYS),
    ),
    "needed key missing": (
        "annual_use_kwh = 2300\n",
        "",
        said("home.annual_use_kwh", "nothing", "needed: electricity used in a year without the car, in kWh"),
    ),
    "needed table missing": (
        "[prices]\ndiscount_rate_per_year = 0.04\n",
        "",
        said("prices", "nothing", "needed: how prices may change", "add [prices] with its keys below it"),
    ),
    "value instead of a table": (
        '[dispatch]\ncharge_at = ["night"]',
        "[tariff.rates]\npeak = 0.4",
        said(
            "tariff.rates.peak",
            "0.4",
            "a table: at least one rate, such as [tariff.rates.day]",
            "write [tariff.rates.peak] and its keys below it",
        ),
    ),
    "inner table that is not known": (
        '[dispatch]\ncharge_at = ["night"]',
        "[site.x]",
        said(
            "site.x",
            "{}",
            "one of the keys place, latitude_deg, longitude_deg, altitude_m, zone, weather, resource_factor, "
            "record_low_c, design_high_c, battery_place, albedo",
        ),
    ),
    "number in quotes": (
        "annual_use_kwh = 2300",
        'annual_use_kwh = "2300"',
        said("home.annual_use_kwh", '"2300"', USE, "write it without quotes: 2300"),
    ),
    "true for a number": (
        "annual_use_kwh = 2300",
        "annual_use_kwh = true",
        said("home.annual_use_kwh", "true", USE),
    ),
    "not a number": (
        "annual_use_kwh = 2300",
        "annual_use_kwh = nan",
        said("home.annual_use_kwh", "nan", USE, "leave the key out if there is no figure"),
    ),
    "infinite": (
        "annual_use_kwh = 2300",
        "annual_use_kwh = -inf",
        said("home.annual_use_kwh", "-inf", USE, "leave the key out if there is no figure"),
    ),
    "negative": (
        "annual_use_kwh = 2300",
        "annual_use_kwh = -2300",
        said("home.annual_use_kwh", "-2300", USE),
    ),
    "megawatt-hours for kilowatt-hours": (
        "annual_use_kwh = 2300",
        "annual_use_kwh = 2.3",
        said(
            "home.annual_use_kwh",
            "2.3",
            USE,
            "2.3 looks like megawatt-hours; this key is in kilowatt-hours a year: 2300",
        ),
    ),
    "kilowatts for watts": (
        "rating_w = 1800",
        "rating_w = 1.8",
        said(
            "kit.inverter.rating_w",
            "1.8",
            "a plain number from 50 to 1000000 W (power it can carry for hours, in watts)",
            "1.8 looks like kilowatts; this key is in watts: 1800",
        ),
    ),
    "watt-hours for kilowatt-hours": (
        '{ distribution = "triangular", low = 1.7, mode = 1.9, high = 2.0 }',
        "2048",
        said(
            "kit.battery.capacity_kwh",
            "2048",
            CAPACITY,
            "2048 looks like watt-hours; this key is in kilowatt-hours: 2.048",
        ),
    ),
    "per cent for a share": (
        "efficiency_half_load = 0.91",
        "efficiency_half_load = 91",
        said(
            "kit.inverter.efficiency_half_load",
            "91",
            EFFICIENCY,
            "91 looks like per cent; this key is in shares of 1: 0.91",
        ),
    ),
    "pence for pounds": (
        "import_price_per_kwh = 0.16",
        "import_price_per_kwh = 16",
        said(
            "tariff.rates.night.import_price_per_kwh",
            "16",
            "at most 5 GBP per kWh",
            "16 looks like pence; this key is in GBP per kWh: 0.16",
        ),
    ),
    "unknown choice": (
        'coupling = "sockets"',
        'coupling = "socket"',
        said(
            "kit.coupling",
            '"socket"',
            'one of "sockets", "plug_in", "whole_home" or "off_grid"',
            'did you mean "sockets"?',
        ),
    ),
    "unknown currency": (
        '"GBP"',
        '"£"',
        said("currency", '"£"', "a currency code of ISO 4217 such as GBP, EUR or USD", 'write "GBP"'),
    ),
    "unknown zone": (
        '"Europe/London"',
        '"Europe/Londn"',
        said(
            "site.zone",
            '"Europe/Londn"',
            "a time zone of the IANA database such as Europe/London",
            'did you mean "Europe/London"?',
        ),
    ),
    "unknown climate": (
        '"thames"',
        '"tames"',
        said(
            "site.weather.region",
            '"tames"',
            "a built-in climate of tables/climate_sites.csv, such as thames",
            'did you mean "thames" or "wales"?',
        ),
    ),
    "unknown appliance": (
        'kettle = "unit"',
        'ketle = "unit"',
        said(
            "home.appliances.ketle",
            "an unknown appliance",
            "an appliance of tables/appliances.csv, such as fridge_freezer or kettle",
            'did you mean "kettle"?',
        ),
    ),
    "unknown distribution": (
        '"triangular"',
        '"triangle"',
        said(
            "kit.battery.capacity_kwh.distribution",
            '"triangle"',
            'one of "uniform", "triangular", "normal", "lognormal", "beta", "pert", "discrete" or "empirical"',
            'did you mean "triangular"?',
        ),
    ),
    "distribution not named": (
        'distribution = "triangular", ',
        "",
        said(
            "kit.battery.capacity_kwh",
            "{low = 1.7, mode = 1.9, high = 2.0}",
            CAPACITY,
            'add distribution = "triangular"',
        ),
    ),
    "parameter missing": (
        "mode = 1.9, ",
        "",
        said("kit.battery.capacity_kwh.mode", "nothing", "a number: triangular needs it"),
    ),
    "parameter misspelt": (
        "mode = 1.9",
        "mod = 1.9",
        said(
            "kit.battery.capacity_kwh.mod",
            "1.9",
            "for triangular: high, low, maximum, minimum, mode, note, source",
            'did you mean "mode"?',
        )
        + "\n"
        + said("kit.battery.capacity_kwh.mode", "nothing", "a number: triangular needs it"),
    ),
    "ends the wrong way round": (
        'distribution = "uniform", low = 0.29, high = 0.33',
        'distribution = "uniform", low = 0.33, high = 0.29',
        said(
            "tariff.rates.day.import_price_per_kwh.low",
            "0.33",
            "a number below high (0.29); for a fixed value write the plain number",
        ),
    ),
    "mode outside": (
        "mode = 1.9",
        "mode = 2.9",
        said("kit.battery.capacity_kwh.mode", "2.9", "a number from low (1.7) to high (2)"),
    ),
    "standard deviation of zero": (
        "annual_use_kwh = 2300",
        'annual_use_kwh = { distribution = "normal", mean = 2300, sd = 0 }',
        said("home.annual_use_kwh.sd", "0", "a standard deviation above 0; for a fixed value write the plain number"),
    ),
    "endless tail out of bounds": (
        "annual_use_kwh = 2300",
        'annual_use_kwh = { distribution = "normal", mean = 2300, sd = 500 }',
        said(
            "home.annual_use_kwh",
            "normal, mean 2300, sd 500, which reaches from -698.9 to 5298.9",
            USE,
            "cut it: add minimum = 20",
        ),
    ),
    "support out of bounds": (
        "efficiency_half_load = 0.91",
        'efficiency_half_load = { distribution = "uniform", low = 0.9, high = 1.02 }',
        said("kit.inverter.efficiency_half_load", "uniform 0.9 to 1.02", EFFICIENCY),
    ),
    "cut upside down": (
        "annual_use_kwh = 2300",
        'annual_use_kwh = { distribution = "normal", mean = 2300, sd = 90, minimum = 2500, maximum = 2100 }',
        said("home.annual_use_kwh.minimum", "2500", "a number below maximum (2100)"),
    ),
    "empty support": (
        "mode = 1.9",
        "mode = 1.9, minimum = 2.5",
        said(
            "kit.battery.capacity_kwh.minimum",
            "2.5",
            "a cut that leaves part of the distribution (triangular 1.7 to 2, most likely 1.9)",
        ),
    ),
    "weights do not match": (
        "annual_use_kwh = 2300",
        'annual_use_kwh = { distribution = "discrete", values = [2000, 2500], weights = [1] }',
        said("home.annual_use_kwh.weights", "[1]", "as many weights as values (2)"),
    ),
    "whole number with a decimal point": (
        "modules_in_series = 2",
        "modules_in_series = 2.0",
        said(
            "kit.arrays.pair.modules_in_series",
            "2.0",
            "a whole number from 1 to 100 (modules in one string)",
            "write it without a decimal point",
        ),
    ),
    "window off the grid of slots": (
        '"00:30-07:30"',
        '"00:32-07:30"',
        said("tariff.rates.night.windows[1]", '"00:32-07:30"', WINDOW, "round to the nearest 5 minutes"),
    ),
    "window not in a list": (
        '["00:30-07:30"]',
        '"00:30-07:30"',
        said("tariff.rates.night.windows", '"00:30-07:30"', f"a list: each {WINDOW}", 'write ["00:30-07:30"]'),
    ),
    "rates overlap": (
        "[prices]",
        '[tariff.rates.peak]\nimport_price_per_kwh = 0.4\nwindows = ["07:00-09:00"]\n\n[prices]',
        said(
            "tariff.rates.peak",
            "overlaps night, first at 07:00 on a wednesday in month 1",
            "times that no other rate claims",
        ),
    ),
    "two rates without times": (
        'windows = ["00:30-07:30"]',
        "",
        said(
            "tariff.rates",
            "no times in day, night",
            "one rate without windows, days and months: it holds for the remaining time",
        ),
    ),
    "unknown rate": (
        'charge_at = ["night"]',
        'charge_at = ["nigth"]',
        said("dispatch.charge_at", '"nigth"', 'names of rates: "day" and "night"', 'did you mean "night"?'),
    ),
    "half of a season": (
        'charge_at = ["night"]',
        'solar_only_from = "03-15"',
        said("dispatch.solar_only_until", "nothing", "both solar_only_from and solar_only_until, or neither"),
    ),
    "day that never comes": (
        'charge_at = ["night"]',
        'solar_only_from = "02-29"\nsolar_only_until = "10-01"',
        said(
            "dispatch.solar_only_from",
            '"02-29"',
            'a day of the year as "MM-DD", such as "03-15"',
            "29 February is never simulated",
        ),
    ),
    "too many modules for the surface": (
        "modules_in_series = 2",
        "modules_in_series = 3",
        said("kit.arrays.pair", "3 modules on balcony", "at most 2 there (home.surfaces.balcony.most_modules)"),
    ),
    "unknown surface": (
        "modules_in_series = 2",
        'modules_in_series = 2\nsurface = "balkony"',
        said(
            "kit.arrays.pair.surface",
            '"balkony"',
            'the name of a surface of the home: "balcony"',
            'did you mean "balcony"?',
        ),
    ),
    "datasheet contradicts itself": (
        "imp_a = 13.2",
        "imp_a = 12.2",
        said(
            "kit.module.power_w",
            "430",
            "the same power as vmp_v times imp_a (397.7 W) within 3 %",
            "check the three figures on the datasheet",
        ),
    ),
    "inverter contradicts itself": (
        "efficiency_half_load = 0.91",
        "efficiency_half_load = 0.97",
        said(
            "kit.inverter.efficiency_half_load",
            "0.97",
            "at most 0.93 beside 0.89 at full load and an idle draw of 15 W: the three figures contradict each other",
            "lower it, raise efficiency_full_load, or lower idle_w",
        ),
    ),
    "charger off grid": (
        'coupling = "sockets"',
        'coupling = "off_grid"',
        said("kit.charger", "a charger", OFF_GRID, "remove [kit.charger]")
        + "\n"
        + said("dispatch.charge_at", '["night"]', OFF_GRID, "remove charge_at"),
    ),
    "kit without a price": (
        "[purchase]\nprice = 1250\n",
        "",
        said("purchase", "nothing", "needed with [kit]: [purchase] with price = ..."),
    ),
    "replacement without a price": (
        "price = 1250",
        'price = 1250\nwhen_worn = "replace"',
        said("purchase.battery_replacement_price", "nothing", 'needed for when_worn = "replace"'),
    ),
    "name that leaves the reports": (
        'currency = "GBP"',
        'currency = "GBP"\nname = "../../elsewhere"',
        said(
            "name",
            '"../../elsewhere"',
            "1 to 80 characters, no dot at the start, none of /\\:*?\"<>|: it names the report's folder",
        ),
    ),
    "data file missing": (
        '{ source = "climate", region = "thames" }',
        '{ source = "epw", file = "weather.epw" }',
        said(
            "site.weather.file",
            '"weather.epw": no such file or directory',
            "a data file that can be read; its path is relative to the file that names it",
        ),
    ),
    "data file of no use": (
        'source = "climate", region = "thames"',
        'source = "climate", region = "thames", label = "end"',
        said(
            "site.weather.label",
            '"end"',
            'nothing: weather source "climate" does not use it',
            "remove it, or change the source",
        ),
    ),
    "correlation with a fixed number": (
        "[dispatch]",
        '[[correlations]]\nbetween = ["purchase.price", "kit.battery.capacity_kwh"]\nvalue = 0.5\n[dispatch]',
        said(
            "correlations[1].between",
            "purchase.price = 1250, a fixed number",
            "the dotted key of an uncertain number",
            "give it a distribution, or remove the correlation",
        ),
    ),
    "correlation with an unknown key": (
        "[dispatch]",
        '[[correlations]]\nbetween = ["kit.capacity_kwh", "kit.battery.capacity_kwh"]\nvalue = 0.5\n[dispatch]',
        said(
            "correlations[1].between",
            '"kit.capacity_kwh"',
            "the dotted key of an uncertain number",
            'did you mean "kit.battery.capacity_kwh"?',
        ),
    ),
    "from in an inner table": (
        "charge_w = 1200",
        'charge_w = 1200\nfrom = "battery.toml"',
        said(
            "kit.battery.from",
            '"battery.toml"',
            "one of the keys capacity_kwh, charge_w, discharge_w, charge_efficiency, discharge_efficiency, "
            "floor_share, extra_batteries",
            "from may stand in the tables of the top level, such as [kit]",
        ),
    ),
}


@pytest.mark.parametrize("fault", BROKEN)
def test_each_fault_has_its_message(fault):
    """One fault in an otherwise sound scenario gives exactly its own message."""
    old, new, expected = BROKEN[fault]
    assert message(old, new) == expected


def test_the_unbroken_scenario_is_sound():
    """The scenario that the table breaks is itself accepted, so each message is due to its fault."""
    Path("flat.toml").write_text(FLAT, encoding="utf-8")
    assert read_scenario("flat.toml").name == "flat"


def test_every_fault_is_told_at_once():
    """Four faults in four tables, one of them between tables, give four problems in one error."""
    text = FLAT.replace("annual_use_kwh = 2300", "annual_use_kwh = -1").replace('"GBP"', '"GPB"')
    text = text.replace("rating_w = 1800", "rating_w = 1.8").replace('"00:30-07:30"', '"00:30-07:32"')
    Path("flat.toml").write_text(text + 'solar_only_from = "05-01"\n', encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_scenario("flat.toml")
    assert [problem.key for problem in caught.value.problems] == [
        "currency",
        "home.annual_use_kwh",
        "tariff.rates.night.windows[1]",
        "kit.inverter.rating_w",
        "dispatch.solar_only_until",
    ]


def test_correlations_that_cannot_hold_together():
    """Three inputs, two pairs at 0.9 and the third at -0.9: refused with the factor that would do.

    Hand-computed: the matrix with off-diagonals (0.9, 0.9, -0.9) f is positive definite for f < 1/1.8 = 0.5556
    (determinant 1 - 3 (0.9 f)^2 - 2 (0.9 f)^3 has its root at 0.9 f = 0.5).
    """
    keys = ["kit.battery.capacity_kwh", "tariff.rates.day.import_price_per_kwh", "purchase.price"]
    pairs = [(0, 1, 0.9), (1, 2, 0.9), (0, 2, -0.9)]
    entries = "".join(f'[[correlations]]\nbetween = ["{keys[a]}", "{keys[b]}"]\nvalue = {v}\n' for a, b, v in pairs)
    text = FLAT.replace("price = 1250", 'price = { distribution = "uniform", low = 900, high = 1300 }') + entries
    assert message(text=text) == said(
        "correlations",
        "correlations between kit.battery.capacity_kwh, purchase.price, tariff.rates.day.import_price_per_kwh "
        "that cannot all hold at once",
        "correlations that fit together (a positive definite matrix)",
        "multiply them by 0.55 or less, or add the pairs that are missing (they count as 0)",
    )


FILES = {
    "no file": (None, said("", "no such file", "a scenario file", file="gone.toml")),
    "not TOML": (
        b"currency = GBP\n",
        said(
            "",
            "not TOML: Invalid value (at line 1, column 12)",
            "TOML: key = value, texts in quotes, tables in [brackets]",
            file="gone.toml",
        ),
    ),
    "not UTF-8": (
        b"# caf\xe9\n",
        said(
            "",
            "line 1: byte 0xe9 is not UTF-8",
            "text saved as UTF-8",
            "save it again with the encoding UTF-8",
            file="gone.toml",
        ),
    ),
    "too large": (
        b"#" * 1_000_001,
        said("", "1000001 bytes", "a scenario file of at most 1000000 bytes", file="gone.toml"),
    ),
    "nested too deeply": (
        b"x = " + b"[" * 5000,
        said(
            "",
            "tables or lists nested too deeply",
            "TOML with figures and tables of a sensible size",
            file="gone.toml",
        ),
    ),
    "number of thousands of digits": (
        b"x = " + b"9" * 5000,
        said("", "a number too long to read", "TOML with figures and tables of a sensible size", file="gone.toml"),
    ),
}


@pytest.mark.parametrize("fault", FILES)
def test_files_that_cannot_be_read(fault):
    """A file that is missing, no TOML, no UTF-8, or out of all proportion is refused by name."""
    content, expected = FILES[fault]
    if content is not None:
        Path("gone.toml").write_bytes(content)
    with pytest.raises(InputError) as caught:
        read_scenario("gone.toml")
    assert str(caught.value) == expected


def test_folder_instead_of_a_file():
    """A folder is named as such."""
    with pytest.raises(InputError) as caught:
        read_scenario(".")
    assert str(caught.value) == said("", "a folder", "a scenario file", file=".")


def test_misspelt_scenario_name_gets_the_neighbour():
    """A missing file brings up the file of nearly that name."""
    Path("flat.toml").write_text(FLAT, encoding="utf-8")
    with pytest.raises(InputError, match=r'did you mean "flat.toml"\?'):
        read_scenario("flt.toml")


def shared(target):
    """Return the edit that takes the kit from another file."""
    return 'coupling = "sockets"', f'from = "{target}"'


def test_fault_in_a_shared_file_is_told_there():
    """A wrong value that came through `from` is reported against the file in which it stands."""
    assert message(*shared("kits/unit.toml"), files={"kits/unit.toml": SHELF}) == said(
        "kit.coupling",
        '"socket"',
        'one of "sockets", "plug_in", "whole_home" or "off_grid"',
        'did you mean "sockets"?',
        file="kits/unit.toml",
    )


PATH = "a path to a TOML file relative to this file, inside the folder scenarios"
SHARING = {
    "missing": (
        "kits/unit.toml",
        {},
        said(
            "",
            "no such file",
            "a scenario file (named by kit.from in flat.toml)",
            "the folder kits does not exist",
            "kits/unit.toml",
        ),
    ),
    "out of the folder": (
        "../unit.toml",
        {"../unit.toml": SHELF},
        said("kit.from", '"../unit.toml"', PATH, "move or copy the file into that folder"),
    ),
    "out of the folder and back": (
        "../../../../../../../../etc/passwd",
        {},
        said("kit.from", '"../../../../../../../../etc/passwd"', PATH, "move or copy the file into that folder"),
    ),
    "absolute": (
        "/etc/unit.toml",
        {},
        said("kit.from", '"/etc/unit.toml"', PATH, "write the path relative to this file, with / between folders"),
    ),
    "circular": (
        "a.toml",
        {"a.toml": '[kit]\nfrom = "b.toml"\n', "b.toml": 'from = "a.toml"\ncoupling = "sockets"\n'},
        said(
            "kit.from",
            "flat.toml -> a.toml -> b.toml -> a.toml",
            "files that do not lead back to themselves",
            file="b.toml",
        ),
    ),
    "unknown table": (
        "unit.toml",
        {"unit.toml": '[kit]\ncoupling = "sockets"\n[prchase]\nprice = 3\n'},
        said(
            "prchase",
            "{price = 3}",
            "a shared file holds tables such as [site], [home], [tariff], [prices], [kit], [dispatch], [purchase], "
            "[tenure], [study]",
            'did you mean "purchase"?',
            file="unit.toml",
        ),
    ),
    "not TOML": (
        "unit.toml",
        {"unit.toml": "[kit\n"},
        said(
            "",
            "not TOML: Expected ']' at the end of a table declaration (at line 1, column 5)",
            "TOML: key = value, texts in quotes, tables in [brackets] (named by kit.from in flat.toml)",
            file="unit.toml",
        ),
    ),
}


@pytest.mark.parametrize("fault", SHARING)
def test_files_that_cannot_be_shared(fault):
    """`from` stays inside the scenario folder, never circles, and names what is wrong with the other file."""
    target, files, expected = SHARING[fault]
    assert expected in message(*shared(target), files=files)


def test_link_out_of_the_folder_is_refused(folder):
    """A symbolic link does not lead `from` out of the scenario folder."""
    (folder.parent / "unit.toml").write_text(SHELF, encoding="utf-8")
    Path("unit.toml").symlink_to(folder.parent / "unit.toml")
    assert said("kit.from", '"unit.toml"', PATH, "move or copy the file into that folder") in message(
        *shared("unit.toml")
    )


FORM = "dotted.key=value, such as kit.battery.capacity_kwh=2.0 or home.kind='\"flat\"'"
OVERRIDES = {
    "kit.battery.capacity": said(
        "",
        '"kit.battery.capacity"',
        FORM,
        file="--set",
    ),
    "kit.batery.capacity_kwh=2": said(
        "kit.batery",
        "{capacity_kwh = 2}",
        "one of the keys name, coupling, module, arrays, inputs, soiling, wiring, mismatch, solar_efficiency, battery, "
        "inverter, charger, ageing",
        'did you mean "battery"?',
        file="--set",
    ),
    "home.annual_use_kwh=[2300": said(
        "home.annual_use_kwh",
        '"[2300"',
        FORM,
        "put a text in quotes, a list in [brackets], a distribution in {braces}",
        file="--set",
    ),
    "home.annual_use_kwh=lots": said("home.annual_use_kwh", '"lots"', USE, file="--set"),
    "kit.battery.capacity_kwh.low=-2": said(
        "kit.battery.capacity_kwh",
        "triangular -2 to 2, most likely 1.9",
        CAPACITY,
    ),
}


@pytest.mark.parametrize("override", OVERRIDES)
def test_overrides_that_cannot_be_taken(override):
    """A wrong override is reported against `--set` with the same words as a wrong file."""
    assert message(overrides=[override]) == OVERRIDES[override]


COLUMNS = {
    "no file": ("gone.csv", "kwh", None, "the CSV file that home.annual_use_kwh names in flat.toml"),
    "no column": ("use.csv", "kwhs", "year,kwh\n2020,2300\n", "one of the columns year, kwh"),
    "no number": ("use.csv", "kwh", "year,kwh\n2020,2300\n2021,n/a\n", "a finite number in every line"),
    "infinite": ("use.csv", "kwh", "year,kwh\n2020,inf\n", "a finite number in every line"),
    "empty": ("use.csv", "kwh", "year,kwh\n", "at least one line below the header"),
    "short line": ("use.csv", "kwh", "year,kwh\n2020\n", "a finite number in every line"),
}


@pytest.mark.parametrize("fault", COLUMNS)
def test_columns_that_cannot_be_read(fault):
    """An empirical distribution names the line of its file that is wrong, and only that problem is told."""
    name, column, content, accepted = COLUMNS[fault]
    table = f'annual_use_kwh = {{ distribution = "empirical", file = "{name}", column = "{column}" }}'
    text = message("annual_use_kwh = 2300", table, files={} if content is None else {name: content})
    assert f"  accepted: {accepted}" in text
    assert text.count("accepted:") == 1
    if fault == "no number":
        assert text == said("line 3, column kwh", '"n/a"', accepted, file="use.csv")
