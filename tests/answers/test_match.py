"""Every home with every kit: what goes together, what does not and why, and how sizes are found."""

import csv
import json
import os
import tomllib
from pathlib import Path

import pytest
from typer.testing import CliRunner

from riskcalc.answers.match import cell_table, matching, page_dict, result
from riskcalc.answers.options import comparison
from riskcalc.answers.shelf import Size, arrangements, shelf_files, size_problem, sizes_asked, told_apart
from riskcalc.cli import app
from riskcalc.errors import InputError
from riskcalc.pages.page import match_page
from riskcalc.pages.screen import matching_lines
from riskcalc.scenario import read_scenario

SHELF = Path(__file__).parents[2] / "scenarios"
QUICK = ("study.draws=16", "study.scrambles=4", "study.pool_years=4", "study.step_minutes=15", "study.horizon_years=4")


@pytest.fixture(autouse=True)
def in_the_folder_of_the_shelf(monkeypatch):
    """Paths of the shelf are relative to the folder the command runs in."""
    monkeypatch.chdir(SHELF.parent)


def run(homes, kits, more=(), **options):
    """Return homes and kits of the shelf matched, on few draws."""
    paths = [
        [Path("scenarios", folder, f"{name}.toml") for name in names]
        for folder, names in (("homes", homes), ("kits", kits))
    ]
    return matching(*paths, changes=(*QUICK, *more), **options)


def reasons(found):
    """Return why each cell of the only home was not run, empty where it was."""
    (home,) = found.homes
    return {cell.name: cell.reason for cell in home.cells}


def test_what_does_not_go_together_is_said():
    """Each mismatch has its reason: no supply, a supply, a rented building, no sun, no room, another currency."""
    kits = ("off-grid-3kwh", "plug-in-800w", "rooftop-4kwp-5kwh")
    said = reasons(run(["shaded-flat"], kits))
    assert said["off-grid-3kwh"] == "an off-grid kit, and this home has a supply from the grid"
    assert said["rooftop-4kwp-5kwh"] == "a fixed system belongs to the building, and this home is rented"
    assert "a home with usable sun" in said["plug-in-800w"]
    said = reasons(run(["cabin"], kits))
    assert said == {
        "off-grid-3kwh": "",
        "plug-in-800w": "a kit that needs the grid, and this home has no supply",
        "rooftop-4kwp-5kwh": "a kit that needs the grid, and this home has no supply",
    }
    crowded = reasons(run(["terrace"], ["rooftop-6kwp-10kwh"]))
    assert "14 modules on roof; accepted: at most 10 there" in crowded["rooftop-6kwp-10kwh"]


def test_a_home_in_another_currency_is_left_out_with_the_reason():
    """Two homes in pounds and one in dollars, and kits whose files say pounds."""
    found = run(["workshop", "cabin", "studio"], ["off-grid-3kwh"])
    said = {home.file: home.cells[0].reason for home in found.homes}
    assert said["scenarios/homes/workshop.toml"] == "prices of this home are in USD, those of the kits in GBP"
    assert said["scenarios/homes/cabin.toml"] == ""
    alone = run(["workshop"], ["off-grid-3kwh"])
    assert "a price in GBP" in alone.homes[0].cells[0].reason


def test_a_portable_kit_stands_on_a_surface_that_is_not_a_roof():
    """In the terrace the roof comes first, yet the portable unit's modules go into the garden."""
    (home,) = run(["terrace"], ["portable-1kwh", "rooftop-4kwp-5kwh"]).homes
    surfaces = {cell.name: [a.surface for a in cell.scenario.kit.arrays.values()] for cell in home.cells}
    assert surfaces == {"portable-1kwh": ["garden"], "rooftop-4kwp-5kwh": ["roof"]}


def test_night_charging_is_asked_only_of_kits_that_can():
    """The home charges at night: a plug-in kit without battery does not, a unit without modules is filled whole."""
    (home,) = run(["balcony-flat"], ["plug-in-800w", "portable-2kwh", "portable-1kwh"]).homes
    dispatch = {cell.name: cell.scenario.dispatch for cell in home.cells}
    assert dispatch["plug-in-800w"].charge_at == ()
    assert dispatch["portable-2kwh"].charge_at == ("night",)
    assert dispatch["portable-2kwh"].target_share == 1.0
    assert dispatch["portable-1kwh"].target_share[5] == 0.5


def test_selling_is_asked_only_of_kits_that_can():
    """The home sells what is stored: the rooftop kit does, a unit with sockets is not asked to, and both are run."""
    (home,) = run(
        ["terrace"], ["portable-1kwh", "rooftop-4kwp-5kwh"], more=('dispatch.export_stored_at=["all_day"]',)
    ).homes
    dispatch = {cell.name: cell.scenario.dispatch for cell in home.cells}
    assert dispatch["portable-1kwh"].export_stored_at == ()
    assert dispatch["rooftop-4kwp-5kwh"].export_stored_at == ("all_day",)


def test_a_cell_is_the_scenario_that_one_would_write():
    """Home and kit crossed give the worth of the same scenario compared by itself."""
    (home,) = run(["terrace"], ["portable-1kwh"]).homes
    (cell,) = home.cells
    changes = ["kit.from=scenarios/kits/portable-1kwh.toml", "purchase.from=scenarios/kits/portable-1kwh.toml"]
    by_hand = read_scenario(
        Path("scenarios/homes/terrace.toml"),
        [*QUICK, *changes, 'kit.arrays.modules.surface="garden"', 'name="by hand"'],
    )
    worth = {option.name: option.worth for option in comparison([by_hand]).options}["by hand"]
    assert (worth == {option.name: option.worth for option in home.found.options}[cell.name]).all()


def test_arrangements_put_long_strings_first():
    """Six modules: 6, 3 x 2, 2 x 3 and single ones."""
    assert arrangements(6) == [(6, 1), (3, 2), (2, 3), (1, 6)]
    assert arrangements(1) == [(1, 1)]


def test_sizes_are_crossed_and_the_size_of_the_file_comes_first():
    """One module and one battery in the file: 1 and 1 are not repeated; a kit without battery has no battery sizes."""
    kit = {"arrays": {"a": {"modules_in_series": 1}}, "battery": {"capacity_kwh": 1.0}}
    assert sizes_asked(kit, modules=[1, 2], batteries=[1, 2]) == [Size(), Size(2), Size(None, 2), Size(2, 2)]
    assert sizes_asked({"arrays": kit["arrays"]}, modules=[2], batteries=[2]) == [Size(), Size(2)]
    assert sizes_asked({"battery": {}}, modules=[2], batteries=[]) == [Size()]


def test_sizes_without_a_price_are_not_given_away():
    """More modules at no price would look like a bargain: not looked at, and said once."""
    assert "module_price is not given" in size_problem({"kit": {"arrays": {"a": {}}}, "purchase": {}}, Size(2))
    said = reasons(run(["terrace"], ["portable-2kwh-two-modules"], modules=[1, 2, 4], batteries=[2]))
    assert said["portable-2kwh-two-modules"] == ""
    assert "purchase.module_price is not given" in said["portable-2kwh-two-modules (other sizes)"]


def test_more_modules_and_batteries_cost_what_the_kit_file_says():
    """Two modules and two batteries: worth on the day of purchase falls by one module and one battery price."""
    fixed = (
        "purchase.module_price=110",
        "purchase.extra_battery_price=340",
        "purchase.price=500",
        "purchase.installation=60",
    )
    found = matching(
        [Path("scenarios/homes/terrace.toml")],
        [Path("scenarios/kits/portable-1kwh.toml")],
        modules=[2],
        batteries=[2],
        changes=(*QUICK, *fixed),
    )
    (home,) = found.homes
    outlay = {option.name: option.outlay for option in home.found.options if option.outlay is not None}
    assert set(outlay["portable-1kwh"]) == {670.0}
    assert set(outlay["portable-1kwh (2 modules)"]) == {780.0}
    assert set(outlay["portable-1kwh (2 modules, 2 batteries)"]) == {1120.0}


def test_strings_are_arranged_so_that_the_input_takes_them():
    """Four modules of 38.9 V open circuit do not fit in series into 100 V: they stand two by two."""
    (home,) = run(["detached"], ["portable-1kwh"], modules=[4]).homes
    arrays = {cell.name: cell.scenario.kit.arrays["modules"] for cell in home.cells}
    chosen = arrays["portable-1kwh (4 modules)"]
    assert (chosen.modules_in_series, chosen.strings_in_parallel) == (2, 2)


def test_a_base_gives_what_the_home_files_lack(tmp_path):
    """A home with site and home only takes currency, tariff and prices from the base; what it holds itself wins."""
    home = (SHELF / "homes" / "studio.toml").read_text()
    bare = home[: home.index("[tenure]")].replace('currency = "GBP"\n', "")
    folder = tmp_path / "scenarios"
    (folder / "homes").mkdir(parents=True)
    (folder / "homes" / "bare.toml").write_text(bare)
    tariff = (SHELF / "tariffs" / "two-rate.toml").read_text()
    tariff = tariff[tariff.index("[tariff]") :]
    (folder / "base.toml").write_text('currency = "EUR"\n' + tariff)
    kit = (SHELF / "kits" / "plug-in-800w.toml").read_text().replace('currency = "GBP"\n', "")
    (folder / "kit.toml").write_text(kit)
    os.chdir(tmp_path)
    files = [Path("scenarios/homes/bare.toml")], [Path("scenarios/kit.toml")]
    (found,) = matching(*files, base=Path("scenarios/base.toml"), changes=QUICK).homes
    (cell,) = found.cells
    assert (cell.reason, found.home.currency) == ("", "EUR")
    assert list(cell.scenario.tariff.rates) == ["night", "day"]
    assert cell.scenario.home.occupants == 1
    with pytest.raises(InputError, match="tariff"):
        matching(*files, changes=QUICK)


def test_a_base_with_a_kit_is_refused():
    """The kits are those of the shelf: a base that brings its own would mix the two."""
    with pytest.raises(InputError, match="the kits are those of the shelf"):
        run(["terrace"], ["portable-1kwh"], base=Path("scenarios/terrace-portable.toml"))


def test_the_order_of_files_changes_nothing():
    """Homes and kits given in another order give the same result."""
    one = result(run(["studio", "terrace"], ["plug-in-800w", "portable-1kwh"]))
    other = result(run(["terrace", "studio"], ["portable-1kwh", "plug-in-800w"]))
    assert json.dumps(one) == json.dumps(other)


def test_result_table_and_page_agree():
    """One row per home, kit and size; the pick is worth most; the page names every home, kit and reason."""
    found = run(["studio", "cabin"], ["plug-in-800w", "portable-1kwh", "off-grid-3kwh"])
    figures = result(found)
    columns, rows = cell_table(found)
    table = [dict(zip(columns, row, strict=True)) for row in rows]
    assert len(table) == 6
    for home in figures["homes"]:
        run_cells = [cell for cell in home["cells"] if cell["is_run"]]
        means = {cell["kit"]: cell["net_present_value"]["mean"]["value"] for cell in run_cells} | {"do nothing": 0.0}
        assert home["pick"] == max(means, key=means.get)
        assert sum(cell["is_pick"] for cell in home["cells"]) == (home["pick"] != "do nothing")
    html = match_page(page_dict(found, figures=figures, command="riskcalc match"))
    for home in figures["homes"]:
        assert home["home"] in html
        assert all(cell["reason"] in html for cell in home["cells"])


def test_files_are_told_apart_by_what_they_hold(tmp_path):
    """A list of files as a shell expands it: homes and kits are found by their tables; others are refused."""
    homes, kits = told_apart(shelf_files(["scenarios/kits/plug-in-800w.toml", "scenarios/homes/c*.toml"]))
    assert [path.stem for path in homes] == ["cabin"]
    assert [path.stem for path in kits] == ["plug-in-800w"]
    other = tmp_path / "other.toml"
    other.write_text("x = 1\n")
    with pytest.raises(InputError, match=r"neither \[home\] nor \[kit\]"):
        told_apart([other])
    with pytest.raises(InputError, match="no such file"):
        shelf_files(["scenarios/homes/z*.toml"])


def test_the_shelf_holds_homes_and_kits_of_all_kinds():
    """At least six homes (rented and owned, one without a supply) and six kits, each saying that it is invented."""
    homes = {path: read_scenario(path) for path in shelf_files(["scenarios/homes/*.toml"])}
    kits = shelf_files(["scenarios/kits/*.toml"])
    assert len(homes) >= 6
    assert len(kits) >= 6
    assert {home.tenure.kind for home in homes.values() if home.tenure is not None} == {"rent", "own"}
    assert any(home.home.supply == "none" for home in homes.values())
    assert any(not home.home.surfaces for home in homes.values())
    assert all("invent" in path.read_text() for path in [*homes, *kits])


def test_match_writes_its_three_files(here, tmp_path):
    """The command takes patterns and files as a shell expands them; it says its draws and its step."""
    words = [
        "--homes",
        "scenarios/homes/stud*.toml",
        "scenarios/kits/plug-in-800w.toml",
        "--draws",
        "16",
        "--step",
        "15",
    ]
    quick = ["--set", "study.horizon_years=3", "--set", "study.pool_years=4", "--out", str(tmp_path / "out")]
    done = here("match", *words, *quick, cwd=SHELF.parent)
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("16 shared futures of 3 years, in steps of 15 minutes. That is enough")
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == ["cells.csv", "report.html", "result.json"]
    (row,) = csv.DictReader((tmp_path / "out" / "cells.csv").read_text().splitlines())
    assert (row["kit"], row["modules"], row["is_run"]) == ("plug-in-800w", "2", "1")
    wrong = here("match", *words, "--modules", "two", cwd=SHELF.parent)
    assert wrong.returncode == 2
    assert "whole numbers from 1 to 100" in wrong.stderr


def test_a_scenario_of_ones_own_is_a_home(tmp_path):
    """A whole scenario, as `new` writes it, meets the kits of the shelf; its own kit is left out."""
    file = tmp_path / "mine.toml"
    done = CliRunner().invoke(app, ["new", str(file), "--yes"], catch_exceptions=False)
    assert done.exit_code == 0, done.output
    assert read_scenario(file).kit is not None
    (home,) = matching([file], [SHELF / "kits/portable-1kwh.toml"], changes=QUICK).homes
    assert home.home.kit is None
    (cell,) = home.cells
    assert cell.reason == ""
    assert cell.scenario.kit.name == tomllib.loads((SHELF / "kits/portable-1kwh.toml").read_text())["kit"]["name"]


def test_a_scenario_of_ones_own_is_a_kit_too(tmp_path, monkeypatch):
    """The kit and the prices of what `new` writes, with a claim and a correlation in it, in a home that `new` writes."""
    monkeypatch.chdir(tmp_path)
    for words in (["home.toml"], ["kit.toml", "--kit", "portable-1kwh", "--cost", "640"]):
        done = CliRunner().invoke(app, ["new", *words, "--yes"], catch_exceptions=False)
        assert done.exit_code == 0, done.output
    with Path("kit.toml").open("a") as file:
        file.write(
            '[[claims]]\nsentence = "Pays."\nmeasure = "payback_years"\nat_most = 5\n'
            '[[correlations]]\nbetween = ["prices.trend_per_year", "prices.inflation_per_year"]\nvalue = 0.5\n'
        )
    (home,) = matching([Path("home.toml")], [Path("kit.toml")], changes=QUICK).homes
    (cell,) = home.cells
    assert cell.reason == ""
    assert cell.scenario.kit == read_scenario("kit.toml").kit
    assert cell.scenario.purchase == read_scenario("kit.toml").purchase


def test_what_looks_unusual_is_asked_in_match_too():
    """Upkeep of 900 a year: asked once for the home, with every kit it is asked of, on page and screen."""
    found = run(["studio"], ["portable-1kwh", "portable-2kwh"], more=("purchase.upkeep_per_year=900",))
    figures = result(found)
    (home,) = figures["homes"]
    asked = [row for row in home["questions"] if row["key"] == "purchase.upkeep_per_year"]
    assert sorted(name for row in asked for name in row["options"]) == sorted(cell["kit"] for cell in home["cells"])
    page = match_page(page_dict(found, figures=figures, command="riskcalc match"))
    assert "Is this right?" in page
    assert any("is this right? " in line and "pkeep" in line for line in matching_lines(figures))
