"""`riskcalc check`: inputs, files, electrical fit and loads, no simulation."""

from __future__ import annotations

from riskcalc.commands.options import AsJson, Overrides, ScenarioFile, read, say_figures


def check(scenario_file: ScenarioFile, changes: Overrides = None, as_json: AsJson = False) -> None:
    """Check a scenario's inputs and files, the electrical fit of its kit and its loads, without simulating."""
    scenario = read(scenario_file, changes or [])

    from riskcalc.answers.check import check_figures
    from riskcalc.pages.screen_check import check_lines
    from riskcalc.weather.fit import FitLine
    from riskcalc.years.electrical import check_fit

    figures = check_figures(scenario)
    say_figures(figures, lambda: check_lines(figures), as_json=as_json)
    check_fit(scenario, tuple(FitLine(**line) for line in figures["fit"]))
