"""Each appliance against the inverter: watts, start, pairs, socket, runtime; figures worked by hand."""

from pathlib import Path

import pytest

from riskcalc.answers.check import check_figures, load_figures
from riskcalc.errors import InputError
from riskcalc.pages.screen_check import check_lines
from riskcalc.scenario import read_scenario

PLAIN = [
    "kit.inverter.rating_w=1800",
    "kit.inverter.surge_w=2500",
    "kit.inverter.idle_w=18",
    "kit.inverter.efficiency_half_load=0.9",
    "kit.inverter.efficiency_full_load=0.88",
    "kit.battery.capacity_kwh=2",
    "kit.battery.discharge_efficiency=0.95",
    "kit.battery.floor_share=0.1",
]


def loads(small_file: Path, *changes: str):
    """Return the figures of the small scenario with an inverter of round numbers."""
    return load_figures(read_scenario(small_file, [*PLAIN, *changes]))


def test_a_kettle_is_too_much_for_1800_watts(small_file: Path) -> None:
    """The table's kettle takes 2,000 W; without modules the answer is the same."""
    rows = {row["name"]: row for row in loads(small_file)["appliances"]}
    assert rows["kettle"]["watts"] == 2000
    assert rows["kettle"]["verdict"] == "too_much"
    assert "mains" in rows["kettle"]["says"]
    assert "hob" not in rows
    assert rows["fridge_freezer"]["start_w"] == 5 * 190
    assert rows["fridge_freezer"]["verdict"] == "ok"
    small = {row["name"]: row for row in loads(small_file, "kit.inverter.surge_w=1800")["appliances"]}
    assert small["fridge_freezer"]["verdict"] == "ok"


def test_a_motor_that_starts_above_the_surge_is_named(small_file: Path) -> None:
    """A freezer of 190 W starts at 950 W: a unit of 600 W with a surge of 900 W may switch off."""
    changes = ["kit.inverter.rating_w=600", "kit.inverter.surge_w=900", "kit.inverter.idle_w=6"]
    rows = {row["name"]: row["verdict"] for row in loads(small_file, *changes)["appliances"]}
    assert rows["fridge_freezer"] == "start"


def test_the_pairs_that_exceed_the_rating(small_file: Path) -> None:
    """A toaster of 900 W and a microwave of 1,250 W are too much together, each alone is not."""
    changes = ['home.appliances.toaster="unit"', 'home.appliances.microwave="unit"']
    together = loads(small_file, *changes)["together"]
    assert together["verdict"] == "too_much"
    assert together["pairs_too_much"] == [{"names": ["toaster", "microwave"], "watts": 2150}]


def test_the_runtime_is_that_of_the_inverter_curve(small_file: Path) -> None:
    """At half load the inverter takes 900 / 0.9 W: 2 kWh x 0.9 x 0.95 last 1.71 hours."""
    rows = loads(small_file, 'home.appliances.toaster="unit"')
    (toaster,) = (row for row in rows["appliances"] if row["name"] == "toaster")
    assert rows["usable_kwh"] == pytest.approx(2 * 0.9 * 0.95)
    assert toaster["watts"] == 900
    assert toaster["hours_on_full_battery"] == pytest.approx(2 * 0.9 * 0.95 / 1.0)


def test_the_wall_socket_without_a_limit_is_not_known(small_file: Path) -> None:
    """A unit may pass its rating through and charge beside it; only a stated limit says that it does not."""
    open_ended = loads(small_file)["socket"]
    assert (open_ended["watts"], open_ended["limit_w"], open_ended["verdict"]) == (1800 + 500, None, "not_known")
    held = loads(small_file, "kit.charger.socket_limit_w=2000")["socket"]
    assert (held["watts"], held["limit_w"], held["verdict"]) == (2000, 2000, "ok")


def test_check_opens_every_file_that_is_named(small_file: Path) -> None:
    """A meter file, a price series and a price path that cannot be read are refused before anything is simulated."""
    folder = small_file.parent
    (folder / "bad.csv").write_text("nothing,of\nuse,here\n", encoding="utf-8")
    wrong = (
        ['home.demand.source="meter"', f'home.demand.file="{folder}/bad.csv"', "home.demand.reachable_share=0.5"],
        [f'tariff.series.file="{folder}/bad.csv"'],
        [f'prices.path_file="{folder}/bad.csv"'],
    )
    for changes in wrong:
        with pytest.raises(InputError, match=r"bad\.csv"):
            check_figures(read_scenario(small_file, changes))


def test_the_screen_says_it(small_file: Path) -> None:
    """Kettle, pairs, socket, questions: every part has a line."""
    changes = [*PLAIN, 'home.appliances.toaster="unit"', 'home.appliances.microwave="unit"', "study.pool_years=2"]
    text = "\n".join(check_lines(check_figures(read_scenario(small_file, changes))))
    for said in ("too much  Kettle: 2,000 W.", "toaster and microwave (2,150 W)", "Wall socket", "is this right?"):
        assert said in text
    for said in (
        "licensed electrician",
        "back-feeding",
        "pass the mains through",
        "medical equipment",
        "switches itself off",
    ):
        assert said in text
