"""The desk of the workbench: changes, the way back, what is refused, and what is saved."""

import shutil
from pathlib import Path

import pytest

from riskcalc.errors import InputError
from riskcalc.live.desk import Desk, choices_of, form
from riskcalc.scenario import read_scenario

SCENARIOS = Path(__file__).parents[2] / "scenarios"


@pytest.fixture
def desk(tmp_path):
    folder = tmp_path / "scenarios"
    shutil.copytree(SCENARIOS, folder, ignore=shutil.ignore_patterns("*.csv", "*.json", "*.md"))
    return Desk(folder / "tenant-balcony.toml")


def test_a_change_is_what_set_does(desk):
    changed = desk.change("purchase.price", "600")
    same = read_scenario(desk.path, ["purchase.price=600"])
    assert changed.quantities() == same.quantities()
    assert desk.overrides == ["purchase.price=600"]


def test_undo_and_redo_walk_the_history_and_reset_can_be_undone(desk):
    desk.change("purchase.price", "600")
    desk.change("tariff.export_price_per_kwh", "0.02")
    desk.undo()
    assert desk.changes == {"purchase.price": "600"}
    desk.redo()
    assert len(desk.changes) == 2
    desk.reset()
    assert desk.changes == {}
    desk.undo()
    assert len(desk.changes) == 2


def test_a_new_change_after_undo_drops_what_was_undone(desk):
    desk.change("purchase.price", "600")
    desk.undo()
    desk.change("purchase.price", "700")
    desk.redo()
    assert desk.changes == {"purchase.price": "700"}


def test_a_wrong_value_leaves_the_desk_as_it_was(desk):
    desk.change("purchase.price", "600")
    with pytest.raises(InputError, match=r"purchase\.price"):
        desk.change("purchase.price", "-5")
    assert desk.changes == {"purchase.price": "600"}


@pytest.mark.parametrize(
    "value",
    [
        '{ distribution = "empirical", file = "/etc/passwd", column = "x" }',
        '{ from = "../../secret.toml" }',
        "[{ file = 'x' }]",
    ],
)
def test_no_value_may_name_a_file(desk, value):
    with pytest.raises(InputError, match="names no file"):
        desk.change("purchase.price", value)


@pytest.mark.parametrize("name", ["../kits/portable-1kwh.toml", "/etc/passwd", "none.toml"])
def test_only_what_lies_on_the_shelf_can_be_picked(desk, name):
    with pytest.raises(InputError, match=r"kit\.from"):
        desk.pick("kit", name)


def test_a_picked_kit_replaces_changes_to_the_kit(desk):
    desk.change("kit.inverter.idle_w", "9")
    picked = desk.pick("kit", "portable-1kwh.toml")
    assert "kit.inverter.idle_w" not in desk.changes
    assert picked.kit.name == read_scenario(desk.path, desk.overrides).kit.name


def test_what_is_saved_reads_the_same_and_keeps_the_comments(desk):
    before = desk.path.read_text(encoding="utf-8")
    desk.change("purchase.price", '{ distribution = "uniform", low = 500, high = 900 }')
    desk.change("study.seed", "7")
    desk.pick("kit", "portable-1kwh.toml")
    saved = desk.save("mine.toml")
    assert read_scenario(saved).quantities() == desk.scenario().quantities()
    comments = [line for line in before.splitlines() if line.startswith("#")]
    after = saved.read_text(encoding="utf-8")
    assert comments
    assert all(line in after for line in comments)
    assert desk.path.read_text(encoding="utf-8") == before


@pytest.mark.parametrize("name", ["tenant-balcony.toml", "../out.toml", "no-ending", ".toml", "a/b.toml"])
def test_saving_overwrites_nothing_and_leaves_no_folder(desk, name):
    with pytest.raises(InputError):
        desk.save(name)


def test_the_form_has_every_uncertain_input_with_its_shape(desk):
    scenario = desk.scenario()
    shown = {key["key"]: key for table in form(desk, scenario)["tables"] for key in table["keys"]}
    assert set(scenario.uncertain()) <= set(shown)
    for key in scenario.uncertain():
        assert shown[key]["shape"]["quantiles"] == sorted(shown[key]["shape"]["quantiles"])
        again = desk.change(key, shown[key]["value"])
        assert again.quantities()[key].written() == scenario.quantities()[key].written()


def test_a_key_of_words_offers_its_choices():
    assert choices_of("kit.coupling") == ["sockets", "plug_in", "whole_home", "off_grid"]
    assert choices_of("purchase.price") == []
