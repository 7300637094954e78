"""Table [kit]: modules, inputs, battery, inverter, charger, ageing. Without it the scenario means: do nothing."""

from __future__ import annotations

from typing import Annotated, Literal

from riskcalc.quantity import Quantity
from riskcalc.scenario.fields import Table, default, default_number, needed, optional
from riskcalc.scenario.texts import NamedEntries, Text
from riskcalc.scenario.uncertain import Number, Uncertain, Whole

Efficiency = Uncertain(0.3, 1, unit="share")
Watts = Number(50, 1_000_000, unit="W")
Volts = Number(1, 2000, unit="V")
Amperes = Number(0.1, 1000, unit="A")
LOSSES = "Dobos 2014, NREL/TP-6A20-62641, loss budget"


class Module(Table):
    """The datasheet of one module at standard test conditions."""

    name: Text = default("", "name of the module, for the report")
    power_w: Annotated[float, Number(5, 1000, unit="W")] = needed("power of one module in watts")
    voc_v: Annotated[float, Volts] = needed("open-circuit voltage of one module")
    isc_a: Annotated[float, Amperes] = needed("short-circuit current of one module")
    vmp_v: Annotated[float, Volts] = needed("voltage of one module at its maximum power")
    imp_a: Annotated[float, Amperes] = needed("current of one module at its maximum power")
    cells_in_series: Annotated[int, Whole(1, 400)] = needed("cells in series in one module")
    gamma_pmax_per_k: Annotated[float, Number(-0.01, 0, unit="share/K")] = needed(
        "temperature coefficient of power; -0.34 %/K is -0.0034"
    )
    beta_voc_per_k: Annotated[float, Number(-0.01, 0, unit="share/K")] = needed(
        "temperature coefficient of the open-circuit voltage; -0.26 %/K is -0.0026"
    )
    alpha_isc_per_k: Annotated[float, Number(-0.002, 0.005, unit="share/K")] = needed(
        "temperature coefficient of the short-circuit current; 0.05 %/K is 0.0005"
    )
    low_light_ratio: Annotated[float, Number(0.5, 1.1, unit="share")] = default(
        0.96, "efficiency at 200 W/m2 over that at 1000 W/m2"
    )


class Array(Table):
    """Modules on one surface, wired to one input."""

    surface: Text | None = optional("name of the surface in [home.surfaces]", "the surface in the same position")
    modules_in_series: Annotated[int, Whole(1, 100)] = needed("modules in one string")
    strings_in_parallel: Annotated[int, Whole(1, 1000)] = default(1, "strings in parallel")
    input: Text | None = optional(
        "name of the input in [kit.inputs]", "the only input, or the one in the same position"
    )

    @property
    def modules(self) -> int:
        """Number of modules."""
        return self.modules_in_series * self.strings_in_parallel


class SolarInput(Table):
    """A solar input of the unit or inverter, with its limits."""

    max_power_w: Annotated[float, Watts] = needed("most power the input takes, in watts")
    max_voltage_v: Annotated[float, Volts] = needed("highest voltage the input survives")
    tracker_min_v: Annotated[float, Number(0, 2000, unit="V")] | None = optional(
        "lowest voltage at which the tracker works", "no lower limit"
    )
    tracker_max_v: Annotated[float, Volts] | None = optional(
        "highest voltage at which the tracker works", "max_voltage_v"
    )
    max_current_a: Annotated[float, Amperes] | None = optional("most current the input takes", "no limit of current")


class Battery(Table):
    """The battery, as its user meets it."""

    capacity_kwh: Annotated[Quantity, Uncertain(0.05, 500, unit="kWh")] = needed(
        "usable capacity of one battery in kWh"
    )
    charge_w: Annotated[Quantity, Uncertain(10, 200_000, unit="W")] = needed("most power into the cells, in watts")
    discharge_w: Annotated[Quantity, Uncertain(10, 200_000, unit="W")] = needed("most power out of the cells, in watts")
    charge_efficiency: Annotated[Quantity, Efficiency] = default_number(0.96, "energy stored over energy put in")
    discharge_efficiency: Annotated[Quantity, Efficiency] = default_number(0.96, "energy given over energy taken out")
    floor_share: Annotated[Quantity, Uncertain(0, 0.9, unit="share")] = default_number(
        0.0, "share of the usable capacity that is never used"
    )
    extra_batteries: Annotated[int, Whole(0, 50)] = default(0, "batteries of the same kind added to the first", "none")


class Inverter(Table):
    """The inverter: what it carries and what it burns."""

    rating_w: Annotated[float, Watts] = needed("power it can carry for hours, in watts")
    surge_w: Annotated[float, Watts] | None = optional("power it can carry for seconds", "rating_w")
    idle_w: Annotated[Quantity, Uncertain(0, 1000, unit="W")] = needed("its own draw while it is on, in watts")
    standby_w: Annotated[Quantity, Uncertain(0, 500, unit="W")] = default_number(
        3.0, "draw from the supply while it is off"
    )
    efficiency_half_load: Annotated[Quantity, Efficiency] = needed("efficiency at half load, such as 0.92")
    efficiency_full_load: Annotated[Quantity, Efficiency] = needed("efficiency at full load, such as 0.90")
    export_limit_w: Annotated[float, Number(0, 1_000_000, unit="W")] | None = optional(
        "most power sent to the grid", "the inverter's rating"
    )


class Charger(Table):
    """The charger that fills the battery from the supply."""

    power_w: Annotated[float, Watts] = needed("most power it draws from the supply, in watts")
    efficiency: Annotated[Quantity, Efficiency] = default_number(0.92, "energy given over energy drawn")
    socket_limit_w: Annotated[float, Watts] | None = optional(
        "most power the supply socket may carry in all, charger and loads together", "no limit: check the socket"
    )


class Ageing(Table):
    """How the battery, the modules and the electronics wear."""

    law: Literal["lfp", "nmc", "datasheet"] = default(
        "lfp", "law of capacity loss", "Naumann 2018/2020 (lfp), Schmalstieg 2014 (nmc)"
    )
    scale: Annotated[Quantity, Uncertain(0.05, 20)] = default_number(
        1.0, "capacity loss over that of the law: 2 wears twice as fast", "the law as published"
    )
    cycles_to_80_percent: Annotated[Quantity, Uncertain(50, 100_000)] | None = optional(
        "full cycles until 80 % of the capacity is left", "needed for law datasheet"
    )
    calendar_life_years: Annotated[Quantity, Uncertain(1, 60, unit="years")] | None = optional(
        "years until 80 % of the capacity is left without use", "no calendar loss under law datasheet"
    )
    module_decline_per_year: Annotated[Quantity, Uncertain(0, 0.05, unit="share/year")] = default_number(
        0.005, "share of their power that modules lose each year", "Jordan & Kurtz 2013, median"
    )
    end_of_life_share: Annotated[Quantity, Uncertain(0, 0.95, unit="share")] = default_number(
        0.6, "share of the first capacity at which the battery counts as worn"
    )
    electronics_life_years: Annotated[Quantity, Uncertain(0.5, 100, unit="years")] | None = optional(
        "years until the electronics fail", "never fail unless given"
    )
    failure_chance_per_year: Annotated[Quantity, Uncertain(0, 1, unit="share/year")] = default_number(
        0.0, "chance that the electronics fail in a year, whatever their age", "never unless given"
    )


class Kit(Table):
    """What is bought: a portable unit, a few modules, a whole system."""

    name: Text = default("", "name of the kit, for the report")
    coupling: Literal["sockets", "plug_in", "whole_home", "off_grid"] = needed("how the kit meets the loads")
    module: Module | None = optional("datasheet of one module", "needed for arrays")
    arrays: Annotated[dict[str, Array], NamedEntries] = default({}, "modules, surface by surface", "no modules")
    inputs: Annotated[dict[str, SolarInput], NamedEntries] = default({}, "solar inputs", "needed for arrays")
    soiling: Annotated[Quantity, Uncertain(0, 0.5, unit="share")] = default_number(0.02, "light lost to dirt", LOSSES)
    wiring: Annotated[Quantity, Uncertain(0, 0.2, unit="share")] = default_number(0.02, "power lost in wires", LOSSES)
    mismatch: Annotated[Quantity, Uncertain(0, 0.2, unit="share")] = default_number(
        0.02, "power lost because modules differ", LOSSES
    )
    solar_efficiency: Annotated[Quantity, Efficiency] = default_number(
        0.97, "energy after the tracker over energy at the input"
    )
    battery: Battery | None = optional("the battery", "no battery")
    inverter: Inverter = needed("the inverter, such as [kit.inverter] with rating_w, idle_w, ...")
    charger: Charger | None = optional("the charger from the supply", "no charging from the supply")
    ageing: Ageing = default(Ageing(), "how it wears")
