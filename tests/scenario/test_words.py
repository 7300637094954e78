"""The words of a scenario: each key has a short name of its own, and the page calls things by it."""

import json
import re
from pathlib import Path

import pytest
from pydantic import BaseModel

from riskcalc.scenario import assumptions, json_schema, read_scenario
from riskcalc.scenario.fields import Table, all_keys, declared_at
from riskcalc.scenario.schema import Scenario

SCENARIOS = Path(__file__).parents[2] / "scenarios"
LONGEST = 40


def titles() -> dict[str, str | None]:
    """Return the title of every key of the schema."""
    found = {}
    for key in all_keys(Scenario):
        _, field = declared_at(Scenario, tuple(key.replace("<name>", "x").split(".")))
        assert field is not None, key
        found[key] = field.title
    return found


def test_every_key_has_a_short_name() -> None:
    """A title of at most 40 letters in sentence case, without a stop or an instruction."""
    for key, title in titles().items():
        assert title, f"{key}: give it a title"
        assert len(title) <= LONGEST, (key, title)
        assert title[0].isupper(), (key, title)
        assert not re.search(r"[.;:=]|such as|\bgive\b", title), (key, title)


def test_no_two_keys_share_a_name() -> None:
    """A label on the page means one key; entries of one table are told apart by their own names."""
    by_title: dict[str, list[str]] = {}
    for key, title in titles().items():
        by_title.setdefault(str(title), []).append(key)
    assert {title: keys for title, keys in by_title.items() if len(keys) > 1} == {}


def test_every_table_of_the_schema_is_covered() -> None:
    """No table escapes the walk over the keys: each subclass of Table is met."""
    met: set[type[BaseModel]] = set()
    for key in all_keys(Scenario):
        owner, _ = declared_at(Scenario, tuple(key.replace("<name>", "x").split(".")))
        assert owner is not None
        met.add(owner)
    assert set(Table.__subclasses__()) <= met


def test_the_json_schema_carries_title_and_help() -> None:
    """An editor shows the same name as the page, and the longer help below it."""
    surface = json_schema()["$defs"]["Surface"]["properties"]["azimuth_deg"]
    assert surface["title"] == "Compass direction of the modules"
    assert surface["description"] == "0 north, 90 east, 180 south, 270 west"


@pytest.mark.parametrize("path", sorted(SCENARIOS.glob("*.toml")), ids=lambda path: path.stem)
def test_no_two_rows_of_the_assumptions_share_a_label(path: Path) -> None:
    """Rates, surfaces and inputs of the same kind have their own name in brackets."""
    labels = [row.label for row in assumptions(read_scenario(path))]
    assert len(labels) == len(set(labels))


def test_entries_of_one_table_are_told_apart() -> None:
    """Two rates share the title of their price; their names follow it."""
    labels = {row.key: row.label for row in assumptions(read_scenario(SCENARIOS / "tenant-balcony.toml"))}
    assert labels["tariff.rates.night.import_price_per_kwh"] == "Today's price per kWh from the grid (night rate)"
    assert "Compass direction of the modules" in labels.values()


def test_appliances_are_one_row() -> None:
    """All appliances stand in one row that says which the unit can feed; the row is not a default."""
    rows = [row for row in assumptions(read_scenario(SCENARIOS / "tenant-balcony.toml")) if "appliances" in row.key]
    (row,) = rows
    assert (row.key, row.label, row.is_default) == ("home.appliances", "Appliances", False)
    plugged, elsewhere = row.given.split("; ")
    assert plugged.startswith("plugged into the unit: ")
    assert elsewhere.startswith("elsewhere: ")
    assert "kettle" in row.given
    assert "_" not in row.given


def test_a_title_is_what_the_scenario_is_called(small_file: Path) -> None:
    """Without a title the name of the file; with one the title, while the name still names the folder."""
    plain = read_scenario(small_file)
    titled = read_scenario(small_file, ['title="A flat in the south"'])
    assert (plain.called, plain.name) == ("small", "small")
    assert (titled.called, titled.name) == ("A flat in the south", "small")


@pytest.mark.parametrize("path", sorted(SCENARIOS.glob("*.toml")), ids=lambda path: path.stem)
def test_shipped_scenarios_name_the_schema_and_themselves(path: Path) -> None:
    """Editors find the schema by the first line, as TOML editors agree; readers find a title."""
    first = path.read_text(encoding="utf-8").splitlines()[0]
    assert first == "#:schema ./scenario.schema.json"
    scenario = read_scenario(path)
    assert scenario.title
    assert scenario.called != scenario.name == path.stem


def test_the_shipped_schema_is_that_of_the_model() -> None:
    """What editors read is what the program checks."""
    shipped = json.loads((SCENARIOS / "scenario.schema.json").read_text(encoding="utf-8"))
    assert shipped == json_schema(), "run: riskcalc schema > scenarios/scenario.schema.json"


def test_every_key_is_documented() -> None:
    """scenarios/KEYS.md names every key under its table, and no key that is gone."""
    written, table = set(), ""
    for line in (SCENARIOS / "KEYS.md").read_text(encoding="utf-8").splitlines():
        if line.startswith("## "):
            table = "" if "[" not in line else line[3:].strip("[]")
        elif line.startswith("| `"):
            written.add(f"{table}.{line.split('`')[1]}".lstrip("."))
    keys = {key.replace("claims.<name>", "claims").replace("correlations.<name>", "correlations") for key in titles()}
    tables = {key.rpartition(".")[0] for key in keys} | {"claims", "correlations"}
    tables |= {table.removesuffix(".<name>") for table in tables}
    assert written == keys - tables, "run: python tests/studies/keys.py"


def test_every_default_names_its_kind_of_source() -> None:
    """A default is from a field study, a standard, a law, common practice or judgement, or nothing is counted."""
    kinds = {"field study", "standard", "law", "common practice", "judgement", "not counted"}
    for key in titles():
        _, field = declared_at(Scenario, tuple(key.replace("<name>", "x").split(".")))
        assert field is not None
        if not field.is_required():
            assert field.json_schema_extra["kind_of_source"] in kinds, key
            assert field.json_schema_extra["source"], key
