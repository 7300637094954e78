"""Table [kit]: modules, inputs, battery, inverter, charger, ageing. Without it the scenario means: do nothing."""

from __future__ import annotations

from typing import Annotated, Literal

from riskcalc.scenario.fields import Table, default, default_number, needed, optional
from riskcalc.scenario.texts import NamedEntries, Text
from riskcalc.scenario.uncertain import Number, Uncertain, Whole
from riskcalc.uncertainty.quantity import Quantity

Efficiency = Uncertain(0.3, 1, unit="share")
Watts = Number(50, 1_000_000, unit="W")
Volts = Number(1, 2000, unit="V")
Amperes = Number(0.1, 1000, unit="A")
LOSSES = "Dobos 2014, NREL/TP-6A20-62641, loss budget"


class Module(Table):
    """The datasheet of one module at standard test conditions."""

    name: Text = default("", "name of the module, for the report", title="Name of the module")
    power_w: Annotated[float, Number(5, 1000, unit="W")] = needed("power of one module in watts", title="Module power")
    voc_v: Annotated[float, Volts] = needed("open-circuit voltage of one module", title="Module open-circuit voltage")
    isc_a: Annotated[float, Amperes] = needed(
        "short-circuit current of one module", title="Module short-circuit current"
    )
    vmp_v: Annotated[float, Volts] = needed(
        "voltage of one module at its maximum power", title="Module voltage at full power"
    )
    imp_a: Annotated[float, Amperes] = needed(
        "current of one module at its maximum power", title="Module current at full power"
    )
    cells_in_series: Annotated[int, Whole(1, 400)] = needed("cells in series in one module", title="Cells in series")
    gamma_pmax_per_k: Annotated[float, Number(-0.01, 0, unit="share/K")] = needed(
        "temperature coefficient of power; -0.34 %/K is -0.0034", title="Temperature coefficient of power"
    )
    beta_voc_per_k: Annotated[float, Number(-0.01, 0, unit="share/K")] = needed(
        "temperature coefficient of the open-circuit voltage; -0.26 %/K is -0.0026",
        title="Temperature coefficient of voltage",
    )
    alpha_isc_per_k: Annotated[float, Number(-0.002, 0.005, unit="share/K")] = needed(
        "temperature coefficient of the short-circuit current; 0.05 %/K is 0.0005",
        title="Temperature coefficient of current",
    )
    low_light_ratio: Annotated[float, Number(0.5, 1.1, unit="share")] = default(
        0.96, "efficiency at 200 W/m2 over that at 1000 W/m2", title="Efficiency in low light"
    )


class Array(Table):
    """Modules on one surface, wired to one input."""

    surface: Text | None = optional(
        "name of the surface in [home.surfaces]", "the surface in the same position", title="Surface of the modules"
    )
    modules_in_series: Annotated[int, Whole(1, 100)] = needed("modules in one string", title="Modules in series")
    strings_in_parallel: Annotated[int, Whole(1, 1000)] = default(1, "strings in parallel", title="Strings in parallel")
    input: Text | None = optional(
        "name of the input in [kit.inputs]",
        "the only input, or the one in the same position",
        title="Input of the modules",
    )

    @property
    def modules(self) -> int:
        """Number of modules."""
        return self.modules_in_series * self.strings_in_parallel


class SolarInput(Table):
    """A solar input of the unit or inverter, with its limits."""

    max_power_w: Annotated[float, Watts] = needed("most power the input takes, in watts", title="Input power limit")
    max_voltage_v: Annotated[float, Volts] = needed("highest voltage the input survives", title="Input voltage limit")
    tracker_min_v: Annotated[float, Number(0, 2000, unit="V")] | None = optional(
        "lowest voltage at which the tracker works", "no lower limit", title="Lowest tracking voltage"
    )
    tracker_max_v: Annotated[float, Volts] | None = optional(
        "highest voltage at which the tracker works", "max_voltage_v", title="Highest tracking voltage"
    )
    max_current_a: Annotated[float, Amperes] | None = optional(
        "most current the input takes", "no limit of current", title="Input current limit"
    )


class Battery(Table):
    """The battery, as its user meets it."""

    capacity_kwh: Annotated[Quantity, Uncertain(0.05, 500, unit="kWh")] = needed(
        "usable capacity of one battery in kWh", title="Battery capacity"
    )
    charge_w: Annotated[Quantity, Uncertain(10, 200_000, unit="W")] = needed(
        "most power into the cells, in watts", title="Charging power"
    )
    discharge_w: Annotated[Quantity, Uncertain(10, 200_000, unit="W")] = needed(
        "most power out of the cells, in watts", title="Discharging power"
    )
    charge_efficiency: Annotated[Quantity, Efficiency] = default_number(
        0.96, "energy stored over energy put in", title="Charging efficiency"
    )
    discharge_efficiency: Annotated[Quantity, Efficiency] = default_number(
        0.96, "energy given over energy taken out", title="Discharging efficiency"
    )
    floor_share: Annotated[Quantity, Uncertain(0, 0.9, unit="share")] = default_number(
        0.0, "share of the usable capacity that is never used", title="Unused floor of the battery"
    )
    extra_batteries: Annotated[int, Whole(0, 50)] = default(
        0, "batteries of the same kind added to the first", "none", title="Extra batteries"
    )


class Inverter(Table):
    """The inverter: what it carries and what it burns."""

    rating_w: Annotated[float, Watts] = needed("power it can carry for hours, in watts", title="Inverter rating")
    surge_w: Annotated[float, Watts] | None = optional(
        "power it can carry for seconds", "rating_w", title="Inverter surge rating"
    )
    idle_w: Annotated[Quantity, Uncertain(0, 1000, unit="W")] = needed(
        "its own draw while it is on, in watts", title="Idle draw of the inverter"
    )
    standby_w: Annotated[Quantity, Uncertain(0, 500, unit="W")] = default_number(
        3.0, "draw from the supply while it is off", title="Standby draw"
    )
    efficiency_half_load: Annotated[Quantity, Efficiency] = needed(
        "efficiency at half load, such as 0.92", title="Inverter efficiency at half load"
    )
    efficiency_full_load: Annotated[Quantity, Efficiency] = needed(
        "efficiency at full load, such as 0.90", title="Inverter efficiency at full load"
    )
    export_limit_w: Annotated[float, Number(0, 1_000_000, unit="W")] | None = optional(
        "most power sent to the grid", "the inverter's rating", title="Export limit"
    )


class Charger(Table):
    """The charger that fills the battery from the supply."""

    power_w: Annotated[float, Watts] = needed("most power it draws from the supply, in watts", title="Charger power")
    efficiency: Annotated[Quantity, Efficiency] = default_number(
        0.92, "energy given over energy drawn", title="Charger efficiency"
    )
    socket_limit_w: Annotated[float, Watts] | None = optional(
        "most power the supply socket may carry in all, charger and loads together",
        "no limit: check the socket",
        title="Limit of the wall socket",
    )


class Ageing(Table):
    """How the battery, the modules and the electronics wear."""

    law: Literal["lfp", "nmc", "datasheet"] = default(
        "lfp", "law of capacity loss", "Naumann 2018/2020 (lfp), Schmalstieg 2014 (nmc)", title="Law of battery ageing"
    )
    scale: Annotated[Quantity, Uncertain(0.05, 20)] = default_number(
        1.0,
        "capacity loss over that of the law: 2 wears twice as fast",
        "the law as published",
        title="Speed of battery ageing",
    )
    cycles_to_80_percent: Annotated[Quantity, Uncertain(50, 100_000)] | None = optional(
        "full cycles until 80 % of the capacity is left", "needed for law datasheet", title="Battery cycle life"
    )
    calendar_life_years: Annotated[Quantity, Uncertain(1, 60, unit="years")] | None = optional(
        "years until 80 % of the capacity is left without use",
        "no calendar loss under law datasheet",
        title="Battery calendar life",
    )
    module_decline_per_year: Annotated[Quantity, Uncertain(0, 0.05, unit="share/year")] = default_number(
        0.005,
        "share of their power that modules lose each year",
        "Jordan & Kurtz 2013, median",
        title="Decline of the modules",
    )
    end_of_life_share: Annotated[Quantity, Uncertain(0, 0.95, unit="share")] = default_number(
        0.6, "share of the first capacity at which the battery counts as worn", title="Capacity at end of life"
    )
    electronics_life_years: Annotated[Quantity, Uncertain(0.5, 100, unit="years")] | None = optional(
        "years until the electronics fail", "never fail unless given", title="Life of the electronics"
    )
    failure_chance_per_year: Annotated[Quantity, Uncertain(0, 1, unit="share/year")] = default_number(
        0.0,
        "chance that the electronics fail in a year, whatever their age",
        "never unless given",
        title="Failure chance of the electronics",
    )


class Kit(Table):
    """What is bought: a portable unit, a few modules, a whole system."""

    name: Text = default("", "name of the kit, for the report", title="Name of the kit")
    coupling: Literal["sockets", "plug_in", "whole_home", "off_grid"] = needed(
        "how the kit meets the loads", title="Coupling"
    )
    module: Module | None = optional("datasheet of one module", "needed for arrays", title="Module")
    arrays: Annotated[dict[str, Array], NamedEntries] = default(
        {}, "modules, surface by surface", "no modules", title="Arrays"
    )
    inputs: Annotated[dict[str, SolarInput], NamedEntries] = default(
        {}, "solar inputs", "needed for arrays", title="Solar inputs"
    )
    soiling: Annotated[Quantity, Uncertain(0, 0.5, unit="share")] = default_number(
        0.02, "light lost to dirt", LOSSES, title="Loss to dirt"
    )
    wiring: Annotated[Quantity, Uncertain(0, 0.2, unit="share")] = default_number(
        0.02, "power lost in wires", LOSSES, title="Loss in wires"
    )
    mismatch: Annotated[Quantity, Uncertain(0, 0.2, unit="share")] = default_number(
        0.02, "power lost because modules differ", LOSSES, title="Loss to mismatch"
    )
    solar_efficiency: Annotated[Quantity, Efficiency] = default_number(
        0.97, "energy after the tracker over energy at the input", title="Tracker efficiency"
    )
    battery: Battery | None = optional("the battery", "no battery", title="Battery")
    inverter: Inverter = needed("the inverter, such as [kit.inverter] with rating_w, idle_w, ...", title="Inverter")
    charger: Charger | None = optional("the charger from the supply", "no charging from the supply", title="Charger")
    ageing: Ageing = default(Ageing(), "how it wears", title="Ageing")
