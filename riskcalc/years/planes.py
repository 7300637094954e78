"""Arrays of modules on the surfaces of a home: what each draw makes of their power, and whether the kit fits them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from riskcalc.dispatch import MOST_PLANES
from riskcalc.errors import InputError, Problem, one_problem
from riskcalc.scenario import Scenario, array_inputs, array_surfaces
from riskcalc.types import Floats, Values
from riskcalc.weather.array import Sky, angle_nodes, array_power_w, node_weights, pair_weights
from riskcalc.weather.fit import FitLine, electrical_fit, hot_cell_c
from riskcalc.weather.module import Module, check_module
from riskcalc.weather.pool import WeatherPool
from riskcalc.weather.solar import SunPath


@dataclass(frozen=True)
class PlaneSet:
    """One array of modules: the angles it was worked out for (nodes) and its rows in `Pools.solar_w`.

    `measured`: its power is that of a record, with the losses that the record saw.
    """

    name: str
    surface: str
    input_index: int
    tilt_nodes_deg: Floats
    azimuth_nodes_deg: Floats
    first_row: int
    measured: bool = False

    @property
    def rows(self) -> slice:
        """Rows of this array in `Pools.solar_w`: tilt outermost, azimuth within."""
        return slice(self.first_row, self.first_row + len(self.tilt_nodes_deg) * len(self.azimuth_nodes_deg))


def plane_sets(scenario: Scenario) -> tuple[PlaneSet, ...]:
    """Return the arrays of the kit, each on its surface and input; arrays for which there is no surface see no sun.

    Nodes cover whatever an uncertain angle may be, so that they are the same for any number of draws and any seed.

    Raises
    ------
    InputError
        If so many angles are uncertain that the planes would not fit into dispatch.
    """
    kit = scenario.kit
    if kit is None:
        return ()
    inputs = list(kit.inputs)
    input_of_array = array_inputs(kit)
    quantities = scenario.quantities()
    sets: list[PlaneSet] = []
    row = 0
    record = scenario.site.measured_pv
    for name, surface in array_surfaces(kit, scenario.home).items():
        if surface is None:
            continue
        tilts, azimuths = (
            angle_nodes(np.array(quantities[f"home.surfaces.{surface}.{angle}"].practical_support))
            for angle in ("tilt_deg", "azimuth_deg")
        )
        measured = record is not None and (not record.surfaces or surface in record.surfaces)
        sets.append(PlaneSet(name, surface, inputs.index(input_of_array[name] or ""), tilts, azimuths, row, measured))
        row = sets[-1].rows.stop
    if row > MOST_PLANES:
        given = f"{len(sets)} arrays whose uncertain angles need {row} planes to be worked out"
        accepted = f"at most {MOST_PLANES}: fix an angle, narrow its distribution, or join arrays"
        raise one_problem(scenario.file, "kit.arrays", given, accepted)
    return tuple(sets)


def plane_weights(planes: tuple[PlaneSet, ...], values: Values, *, draws: int) -> Floats:
    """Return the weight of each row of `Pools.solar_w` for new modules, shape (planes, draws).

    Orientation between the nodes, shade, dirt, wiring, mismatch and the site's long-run resource: all of these scale
    the power at the terminals. A measured array has its losses in its record: only shade beside it is left, and its scale.
    """
    if not planes:
        return np.zeros((1, draws))
    common = values["site.resource_factor"] * (1.0 - values["kit.soiling"])
    common = common * (1.0 - values["kit.wiring"]) * (1.0 - values["kit.mismatch"])
    parts = []
    for plane in planes:
        start = f"home.surfaces.{plane.surface}"
        weights = pair_weights(
            node_weights(values[f"{start}.tilt_deg"], plane.tilt_nodes_deg),
            node_weights(values[f"{start}.azimuth_deg"], plane.azimuth_nodes_deg),
        )
        parts.append(
            weights
            * ((values["site.measured_pv.scale"] if plane.measured else common) * (1.0 - values[f"{start}.shading"]))
        )
    return np.concatenate(parts)


def module_of(scenario: Scenario) -> Module | None:
    """Return the kit's module as its datasheet states it, None without modules."""
    if scenario.kit is None or scenario.kit.module is None:
        return None
    figures = scenario.kit.module.model_dump()
    figures.pop("name")
    return Module(**figures)


def node_power_w(
    scenario: Scenario, plane: PlaneSet, sky: Sky, sun: SunPath, *, together: int = 1
) -> NDArray[np.float32]:
    """Return the power of one array at each pair of nodes, shape (K, nodes, steps of the sky), so many steps in one."""
    assert scenario.kit is not None
    array = scenario.kit.arrays[plane.name]
    surface = scenario.home.surfaces[plane.surface]
    limits = list(scenario.kit.inputs.values())[plane.input_index]
    module = module_of(scenario)
    assert module is not None
    return np.stack(
        [
            array_power_w(
                sky,
                sun,
                module=module,
                modules_in_series=array.modules_in_series,
                strings_in_parallel=array.strings_in_parallel,
                tilt_deg=float(tilt_deg),
                azimuth_deg=float(azimuth_deg) % 360.0,
                mounting=surface.mounting,
                horizon=surface.horizon,
                monthly_shading=surface.monthly_shading,
                albedo=scenario.site.albedo,
                voltage_window=(limits.tracker_min_v or 0.0, limits.tracker_max_v or limits.max_voltage_v),
                max_current_a=limits.max_current_a,
                together=together,
            )
            for tilt_deg in plane.tilt_nodes_deg
            for azimuth_deg in plane.azimuth_nodes_deg
        ],
        axis=1,
    )


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
