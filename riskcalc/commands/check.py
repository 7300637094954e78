"""`riskcalc check`: inputs and electrical fit, no simulation."""

from __future__ import annotations

from riskcalc.commands.options import Overrides, ScenarioFile, read, say


def check(scenario_file: ScenarioFile, changes: Overrides = None) -> None:
    """Check a scenario's inputs and the electrical fit of its kit, without simulating."""
    scenario = read(scenario_file, changes or [])

    from riskcalc.pages.screen_summary import check_lines
    from riskcalc.years.electrical import check_fit, scenario_fit
    from riskcalc.years.pools import YearsAtHand

    fit = scenario_fit(scenario, YearsAtHand().weather(scenario))
    say(check_lines(scenario, fit))
    check_fit(scenario, fit)
