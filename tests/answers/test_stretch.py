"""A few days of a draw, traced from where the kernel left off, against the trace of its whole year."""

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from riskcalc.answers.trace import HALF_HOUR, request_of, traced_days, traced_year, week_stretches
from riskcalc.dispatch import TRACE_COLUMNS
from riskcalc.study.model import assessment

CHANGES = (
    'home.annual_use_kwh={distribution="uniform", low=1500, high=2500}',
    'kit.battery.capacity_kwh={distribution="uniform", low=0.8, high=1.2}',
    "study.pool_years=4",
    "study.scrambles=4",
)


@pytest.mark.parametrize("coupling", ["sockets", "whole_home"])
@pytest.mark.parametrize(("draw", "year"), [(3, 1), (6, 3)])
def test_days_are_those_of_the_whole_year(read_small, coupling, draw, year):
    """Weeks of winter and summer, and days over new year, agree with the year's trace to 1e-9 of the largest power."""
    found = assessment(read_small(*CHANGES, f'kit.coupling="{coupling}"'))
    whole = traced_year(found.scenario, draw=draw, year=year)
    request = request_of(found, draw=draw, year=year)
    slots = found.world.plan.slots
    per_slot = found.world.plan.slot_minutes // found.scenario.study.step_minutes
    for first, count in ((0, 40), (9000, 7 * 48), (slots - 48, 96)):
        days = traced_days(request, first_slot=first, slots=count, row_minutes=found.scenario.study.step_minutes)
        steps = np.arange(first * per_slot, (first + count) * per_slot) % (slots * per_slot)
        for name in TRACE_COLUMNS:
            tolerance = 1e-9 * max(1.0, np.abs(whole[name]).max())
            assert days[name] == pytest.approx(whole[name][steps], abs=tolerance), (name, first)


def test_weeks_begin_on_monday_at_midnight_of_the_wall_clock(read_small):
    """Both weeks start on a Monday at 00:00 local time, summer time or not, and have 336 half hours."""
    found = assessment(read_small())
    clock = found.world.clock
    request = request_of(found, draw=0, year=1)
    summer, winter = week_stretches(clock, latitude_deg=51.5)
    for stretch in (summer, winter):
        assert clock.minute[stretch.first_slot] == 0
        assert clock.weekday[stretch.first_slot] == 0
        assert stretch.first_day.startswith("Monday")
        where = {"first_slot": stretch.first_slot, "slots": stretch.slots}
        minutes, week = (traced_days(request, row_minutes=length, **where) for length in (1, HALF_HOUR))
        assert week["demand_w"].shape == (336,)
        assert week["demand_w"] == pytest.approx(minutes["demand_w"].reshape(336, 30).mean(axis=1))
        assert week["battery_stored_wh"] == pytest.approx(minutes["battery_stored_wh"][29::30], abs=1e-6)
    assert (summer.season, winter.season) == ("summer", "winter")
    assert clock.month[summer.first_slot] == 6
    assert clock.month[winter.first_slot] == 0
    assert [week.season for week in week_stretches(clock, latitude_deg=-33.0)] == ["summer", "winter"]
    assert week_stretches(clock, latitude_deg=-33.0)[0].first_slot == winter.first_slot


KINDS = """
import sys
from pathlib import Path
from riskcalc.dispatch.kernel.year import run_groups
from riskcalc.study.model import assessment
from riskcalc.answers.page_dict import page_dict
from riskcalc.scenario import read_scenario
found = assessment(read_scenario(Path(sys.argv[1]), sys.argv[2:]))
page_dict(found, command="")
print(len(run_groups.signatures))
"""


@pytest.mark.parametrize("cache", ["", "off"])
def test_the_kernel_is_compiled_for_one_kind_of_arrays(small_file, tmp_path, cache):
    """Warm-up, futures and weeks of a run ask for one version of the kernel: a second would cost seconds at first."""
    done = subprocess.run(
        [sys.executable, "-c", KINDS, str(small_file), "outages={per_year=3, hours_each=4}"],
        capture_output=True,
        text=True,
        check=True,
        cwd=Path(__file__).parents[2],
        env={**os.environ, "RISKCALC_CACHE": cache or str(tmp_path)},
    )
    assert done.stdout.split()[-1] == "1"
