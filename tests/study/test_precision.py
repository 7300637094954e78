"""Draws until the answer is precise enough: when it stops, what it reuses, and that the result is that of a direct run."""

from __future__ import annotations

import json
import runpy
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from riskcalc.cli import app
from riskcalc.errors import InputError
from riskcalc.pages.progress import round_line, until_lines
from riskcalc.study.draw_blocks import Threads
from riskcalc.study.model import assessment, doubled
from riskcalc.study.precision import Precision, precision, settled
from riskcalc.uncertainty.summary import Estimate

BLOCKS = runpy.run_path(str(Path(__file__).with_name("test_draw_blocks.py")))
UNCERTAIN, assert_same = BLOCKS["UNCERTAIN"], BLOCKS["assert_same"]
#: Payback varies and half reach it: prices and use are uncertain.
CHANGES = (
    'purchase.price={distribution="uniform", low=60, high=260}',
    'home.annual_use_kwh={distribution="uniform", low=1500, high=2500}',
    "study.step_minutes=30",
    "study.pool_years=8",
    "study.draws=16",
)


class Counted(Threads):
    """Threads that note how many draws they are given."""

    seen: list[int]

    def simulations(self, scenario, pools, plan, blocks, *, on_draw_years):
        """Pass the blocks on, counted."""
        held = list(blocks)
        self.seen += [block.draws for block in held]
        return super().simulations(scenario, pools, plan, held, on_draw_years=on_draw_years)


@pytest.fixture(autouse=True)
def _nothing_kept(monkeypatch):
    """Let no energy be at hand from another test: what is simulated is counted here."""
    monkeypatch.setenv("RISKCALC_CACHE", "off")


def counted():
    """Return threads with nothing noted yet."""
    workers = Counted(count=1)
    object.__setattr__(workers, "seen", [])
    return workers


def test_twice_the_draws_are_those_of_a_direct_run_and_only_half_are_run(read_small):
    """Every figure of every draw to the last bit, outages, moves and failures included; half of them are simulated."""
    changes = [change for change in UNCERTAIN if not change.startswith("study.draws")]
    few = assessment(read_small(*changes, "study.draws=32"))
    workers = counted()
    more = doubled(few, workers=workers)
    direct = assessment(read_small(*changes, "study.draws=64"))
    assert sum(workers.seen) == 32
    assert more.draws == direct.draws == 64
    assert_same(direct.simulation, more.simulation)
    assert_same(direct.valuation, more.valuation)
    for key, drawn in direct.values.items():
        assert np.array_equal(drawn, more.values[key]), key
    assert more.scenario == direct.scenario
    assert more.scenario.overrides == direct.scenario.overrides


def test_it_goes_on_until_the_errors_are_met_and_no_further(read_small):
    """Each round but the last misses the tolerance, each doubles, and every draw is simulated once."""
    told, workers = [], counted()
    made = settled(read_small(*CHANGES), tolerance=0.02, most_draws=4096, on_round=told.append, workers=workers)
    draws = [round_.draws for round_ in made.rounds]
    assert made.reached
    assert len(draws) > 2
    assert draws == [16 * 2**index for index in range(len(draws))]
    assert [round_.meets(0.02, horizon_years=3) for round_ in made.rounds] == [False] * (len(draws) - 1) + [True]
    assert told == list(made.rounds)
    assert sum(workers.seen) == draws[-1]
    assert made.rounds[-1] == precision(made.assessment)
    assert "precise enough with" in until_lines(made)[0]


def test_the_cap_ends_it_and_says_so(read_small):
    """Beyond the cap nothing is run, and the summary says that the tolerance was not reached."""
    made = settled(read_small(*CHANGES), tolerance=0.001, most_draws=63)
    assert [round_.draws for round_ in made.rounds] == [16, 32]
    assert not made.reached
    assert made.as_dict()["reached"] is False
    said = until_lines(made)
    assert said[0].startswith("NOT as precise as asked: 32 draws: standard error of the odds ")
    assert "(asked: 0.1), of the median payback" in said[0]
    assert "63 draws" in said[1]


def of(odds, worth, median, *, draws=1000):
    """Return a precision with these standard errors; a median of None is not reached."""
    value = None if median is None else 5.0
    return Precision(draws, 10, Estimate(0.5, odds), Estimate(0.5, worth), Estimate(value, median))


@pytest.mark.parametrize(
    ("made", "met"),
    [
        (of(0.01, 0.01, 0.1), True),
        (of(0.0101, 0.01, 0.1), False),
        (of(0.01, 0.0101, 0.1), False),
        (of(0.01, 0.01, 0.101), False),
        (of(0.01, 0.01, None), True),
        (of(None, 0.01, 0.1), False),
        (Precision(1000, 10, Estimate(0.5, 0.0), Estimate(0.5, 0.0), Estimate(5.0, None)), False),
        (of(0.0, 0.0, None, draws=99), False),
        (of(0.0, 0.0, None, draws=100), True),
    ],
)
def test_what_meets_a_tolerance(made, met):
    """By hand: 0.01 is one point of the odds and 0.1 of ten years; odds are no surer than one draw weighs."""
    assert made.meets(0.01, horizon_years=10) is met


def test_a_line_names_draws_errors_and_what_is_asked():
    """The worse of the two odds counts; a median that is not reached is said not to be there."""
    line = round_line(of(0.012, 0.02, 0.25).as_dict(), tolerance=0.01, horizon_years=15)
    assert line == (
        "1,000 draws: standard error of the odds 2 percentage points (asked: 1), "
        "of the median payback 0.25 years (asked: 0.15)"
    )
    assert "of the median payback there is none" in round_line(
        of(None, 0.02, None).as_dict(), tolerance=0.01, horizon_years=15
    )
    assert "odds not known" in round_line(of(None, 0.02, None).as_dict(), tolerance=0.01, horizon_years=15)


def assess(*words):
    """Run the command in this process."""
    done = CliRunner().invoke(app, ["assess", *map(str, words)], catch_exceptions=False)
    assert done.exit_code == 0
    return done.output


def test_the_files_are_those_of_a_direct_run_and_can_be_replayed(small_file, tmp_path):
    """draws.csv and report.html to the byte, result.json but for the record of the doublings; replay finds no difference."""
    changes = [word for change in CHANGES[:-1] for word in ("--set", change)]
    said = assess(small_file, *changes, "--seed", 3, "--draws", 16, "--until", 0.05, "--out", tmp_path / "one")
    assert "precise enough with" in said
    one = json.loads((tmp_path / "one/result.json").read_text())
    until = one["provenance"].pop("until")
    draws = one["provenance"]["draws"]
    assert until["reached"]
    assert until["rounds"][-1]["draws"] == draws > 16
    assert until["standard_error_of_median_payback_at_most_years"] == pytest.approx(0.15)
    assess(small_file, *changes, "--seed", 3, "--draws", draws, "--out", tmp_path / "two")
    assert one == json.loads((tmp_path / "two/result.json").read_text())
    for name in ("draws.csv", "report.html"):
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes()
    done = CliRunner().invoke(app, ["replay", str(tmp_path / "one/result.json")], catch_exceptions=False)
    assert done.exit_code == 0, done.output


@pytest.mark.parametrize("given", ["0", "1", "-0.5"])
def test_a_tolerance_is_a_share(small_file, given):
    """Anything else is bad input."""
    with pytest.raises(InputError, match="--until"):
        CliRunner().invoke(app, ["assess", str(small_file), "--until", given], catch_exceptions=False)
