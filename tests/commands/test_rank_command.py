"""`riskcalc rank`: what it writes and prints, and what it refuses."""

import json
import re

import pytest
from typer.testing import CliRunner

from riskcalc.cli import app
from riskcalc.errors import InputError
from riskcalc.pages.screen_ranking import ranking_lines

UNCERTAIN = (
    "purchase.price={ distribution = 'uniform', low = 100, high = 700 }",
    "home.annual_use_kwh={ distribution = 'uniform', low = 1500, high = 2500 }",
    "tariff.export_price_per_kwh={ distribution = 'uniform', low = 0, high = 0.3 }",
    "claims=[{ sentence = 'Pays back in two years.', measure = 'payback_years', at_most = 2 }]",
)


def ranked(path, tmp_path, *options):
    changes = [part for change in UNCERTAIN for part in ("--set", change)]
    arguments = ["rank", str(path), "--step", "30", "--points", "16", "--draws", "64", "--out", str(tmp_path), *changes]
    return CliRunner().invoke(app, [*arguments, *options], catch_exceptions=False)


def test_rank_writes_its_file_and_prints_order_and_intervals(small_file, tmp_path):
    """Exit code 0; the file's path last; the price first and settled, with intervals; the unused input at 0.00."""
    done = ranked(small_file, tmp_path)
    assert done.exit_code == 0
    lines = done.stdout.splitlines()
    assert lines[-1] == str(tmp_path / "ranking.json")
    assert "  First place: Price of the kit. This is settled, with 95 % certainty" in lines
    assert "steps of 30 minutes" in lines[0]
    (unused,) = [line for line in lines if line.strip().startswith("Price for power sent") and "(" in line][:1]
    assert unused.count("0 % (0 to 0)") >= 1
    assert any("no clear difference. It puts first:" in line for line in lines)
    assert any("Pays back in two years." in line for line in lines)
    figures = json.loads((tmp_path / "ranking.json").read_text(encoding="utf-8"))
    worth = figures["sobol"]["outcomes"]["net_present_value"]
    assert worth["factors"][0]["factor"] == "purchase.price"
    low, high = worth["factors"][0]["total_order"]["interval_95"]
    assert low < worth["factors"][0]["total_order"]["value"] < high
    assert figures["provenance"]["libraries"]["scipy"] != "unknown"
    assert "kit.runs_from_battery_on_mains" in [row["key"] for row in figures["questions"]]
    assert any(line.startswith("is this right? ") for line in lines)
    page = (tmp_path / "ranking.html").read_text(encoding="utf-8")
    assert "Is this right?" in page
    assert re.search(r"riskcalc rank .* --points 16 --odds 0\.5", page)


def test_same_seed_same_ranking(small_file, tmp_path):
    """Two runs write the same bytes, with seed 0 as well."""
    texts = []
    for name in ("one", "two"):
        ranked(small_file, tmp_path / name, "--seed", "0")
        texts.append((tmp_path / name / "ranking.json").read_bytes())
    assert texts[0] == texts[1]


def test_json_and_screening(small_file, tmp_path):
    """--json prints the file; --screen ranks what matters little as one and shows that the methods agree."""
    done = ranked(small_file, tmp_path, "--json", "--screen")
    figures = json.loads(done.stdout)
    assert figures == json.loads((tmp_path / "ranking.json").read_text(encoding="utf-8"))
    assert figures["screening"]["factors"][0]["factor"] == "purchase.price"
    assert figures["agreement"]["screening_agrees"]


@pytest.mark.parametrize(
    ("options", "named"),
    [(("--points", "100"), "--points"), (("--most-points", "3"), "--most-points"), (("--odds", "1.5"), "--odds")],
)
def test_what_rank_refuses(small_file, tmp_path, options, named):
    """Points that are no power of two and odds outside 0 to 1 are refused by name, before anything runs."""
    with pytest.raises(InputError, match=named):
        ranked(small_file, tmp_path, *options)
    assert not (tmp_path / "ranking.json").exists()


def test_an_unsettled_order_is_not_told_as_one(small_file, tmp_path):
    """What cannot be told apart is named together: with what would settle it, or as a tie with why more would not."""
    figures = json.loads(ranked(small_file, tmp_path, "--json").stdout)
    order = figures["sobol"]["outcomes"]["net_present_value"]["order"]
    rivals = [
        {
            "factor": name,
            "label": name,
            "difference": {"value": 0.02, "standard_error": 0.03},
            "points_that_would_part": 512,
        }
        for name in ("this", "that", "third", "fourth", "fifth")
    ]
    one, other = {"factor": "a", "label": "price of the kit"}, {"factor": "b", "label": "use"}
    tier = {"places": [1, 1], "factors": [one], "outside": rivals, "settled": False, "is_tie": False}
    order["tiers"] = [tier | {"hardest_to_part": rivals[0]}]
    order |= {"settled": False, "points_that_would_settle": 512, "futures_that_would_settle": 2048}
    lines = ranking_lines(figures)
    assert (
        "  First place, not sure yet: Price of the kit. May belong there too: “This”; “That”; “Third”; and 2 more"
        in lines
    )
    wanted = "  About 2,000 futures would settle the order (riskcalc rank --until settled)"
    assert wanted in lines
    order |= {"points_that_would_settle": None, "futures_that_would_settle": None}
    tie = {"places": [1, 2], "factors": [one, other], "outside": [], "settled": False, "is_tie": True}
    order["tiers"] = [tie | {"hardest_to_part": rivals[0]}]
    lines = ranking_lines(figures)
    assert "  Places 1 to 2, too close to tell apart: Price of the kit; use" in lines
    reason = (
        "     they differ by 2 % ± 3 of the spread; to tell which is ahead, run it with --most-points 512 (now 2048)"
    )
    assert reason in lines
    assert wanted not in lines
    order["tiers"] = [tie | {"hardest_to_part": rivals[0] | {"points_that_would_part": None}}]
    assert "     they differ by 2 % ± 3 of the spread, which does not matter in practice" in ranking_lines(figures)
