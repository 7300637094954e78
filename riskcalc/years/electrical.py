"""Does the kit fit its modules? The electrical fit of every array of a scenario."""

from __future__ import annotations

from dataclasses import replace

from riskcalc.errors import InputError, Problem
from riskcalc.scenario import Scenario, array_inputs, array_surfaces
from riskcalc.weather.fit import FitLine, electrical_fit, hot_cell_c
from riskcalc.weather.module import check_module
from riskcalc.weather.pool import WeatherPool
from riskcalc.years.planes import module_of


def scenario_fit(scenario: Scenario, weather: WeatherPool) -> tuple[FitLine, ...]:
    """Return the electrical fit of every array; `weather` gives the temperatures that the site does not state.

    A weather pool does not hold the coldest morning on record; a margin is taken and the method of the first line says so.
    A stated record counts only where it is colder than the weather itself: the modules meet whichever is colder.
    """
    kit, module = scenario.kit, module_of(scenario)
    if kit is None or module is None:
        return ()
    check_module(module)
    site = scenario.site
    record_low_c = min(
        weather.lowest_temp_c, weather.cautious_low_c if site.record_low_c is None else site.record_low_c
    )
    design_high_c = weather.highest_temp_c if site.design_high_c is None else site.design_high_c
    surfaces, inputs = array_surfaces(kit, scenario.home), array_inputs(kit)
    lines: list[FitLine] = []
    for name, array in kit.arrays.items():
        limits = kit.inputs[inputs[name] or ""]
        surface = surfaces[name]
        mounting = "open" if surface is None else scenario.home.surfaces[surface].mounting
        found = electrical_fit(
            module,
            modules_in_series=array.modules_in_series,
            strings_in_parallel=array.strings_in_parallel,
            record_low_c=record_low_c,
            hot_cell_c=hot_cell_c(design_high_c, mounting=mounting),
            max_voltage_v=limits.max_voltage_v,
            tracker_min_v=limits.tracker_min_v,
            tracker_max_v=limits.tracker_max_v,
            max_current_a=limits.max_current_a,
            max_power_w=limits.max_power_w,
        )
        prefix = f"{name}: " if len(kit.arrays) > 1 else ""
        doubt = ""
        if site.record_low_c is None:
            doubt = ". No record low is given, so 5 °C below the coldest of the weather years is used"
        elif record_low_c < site.record_low_c:
            doubt = (
                f". The coldest of the weather years, {record_low_c:.1f} °C, is below the record low given "
                f"({site.record_low_c:g} °C), so it is used"
            )
        # Said once for each array, on the first check that the cold decides.
        lines += [
            replace(line, what=prefix + line.what, method=line.method + (doubt if place == 0 else ""))
            for place, line in enumerate(found)
        ]
    return tuple(lines)


def check_fit(scenario: Scenario, lines: tuple[FitLine, ...]) -> None:
    """Refuse a kit that its own modules would damage or that could not work.

    Raises
    ------
    InputError
        With every refused line, its figure, its limit and what would fit.
    """
    refused = [
        Problem(
            scenario.file,
            "kit.arrays",
            f"{line.what}: {line.value:.4g} {line.unit}",
            f"at {line.bound} {line.limit:.4g} {line.unit}",
            line.advice,
        )
        for line in lines
        if line.verdict == "refused"
    ]
    if refused:
        raise InputError(refused)
