"""Table [kit]: modules, inputs, battery, inverter, charger. Without it the scenario means: do nothing."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic import AfterValidator, StrictBool, model_validator

from riskcalc.coupling import Coupling
from riskcalc.scenario.complaints import Complaint, did_you_mean, listed, shown
from riskcalc.scenario.fields import Table, absent, common_practice, default, default_number, needed, optional
from riskcalc.scenario.home import Home
from riskcalc.scenario.kit_parts import (
    PORTABLE_LIFE,
    Ageing,
    Battery,
    Charger,
    Efficiency,
    Inverter,
    Volts,
    Watts,
    battery_complaints,
    inverter_complaints,
)
from riskcalc.scenario.texts import NamedEntries, Text, Windows
from riskcalc.scenario.uncertain import Number, Uncertain, Whole
from riskcalc.uncertainty.quantity import Quantity, plain

if TYPE_CHECKING:
    CouplingWord = Coupling
else:
    CouplingWord = Annotated[Literal[tuple(each.value for each in Coupling)], AfterValidator(Coupling)]

Amperes = Number(0.1, 1000, unit="A")
LOSSES = common_practice("Dobos 2014, NREL/TP-6A20-62641, loss budget")
#: Power on a datasheet and voltage times current at the maximum agree to rounding of the three figures.
POWER_TOLERANCE = 0.03


class Module(Table):
    """The datasheet of one module at standard test conditions."""

    name: Text = default(
        "", "name of the module, for the report", absent("for the report only"), title="Name of the module"
    )
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


class Kit(Table):
    """What is bought: a portable unit, a few modules, a whole system."""

    name: Text = default("", "name of the kit, for the report", absent("for the report only"), title="Name of the kit")
    coupling: CouplingWord = needed("how the kit meets the loads", title="Coupling")
    module: Module | None = optional("datasheet of one module", "needed for arrays", title="Module")
    arrays: Annotated[dict[str, Array], NamedEntries] = default(
        {}, "modules, surface by surface", absent("no modules"), title="Arrays"
    )
    inputs: Annotated[dict[str, SolarInput], NamedEntries] = default(
        {}, "solar inputs", absent("needed for arrays"), title="Solar inputs"
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
    runs_from_battery_on_mains: StrictBool | None = optional(
        "does a portable unit serve its sockets from sun and battery while it is plugged into the mains; false if it "
        "passes the mains through until they fail",
        "yes; many units only pass the mains through, see the manual",
        title="Runs from its battery on the mains",
    )
    control: Literal["meter", "fixed", "none"] = default(
        "meter",
        "what sets the output of a unit on the home's wires. Meter: one at the supply, so that it follows the load. "
        "Fixed: a power set by hand. None: all that the inverter can give",
        common_practice("a meter at the supply is what most units are sold with; judgement, no survey found"),
        title="Control of the output",
    )
    meter_lag_seconds: Annotated[float, Number(0, 60, unit="s")] | None = optional(
        "seconds by which the output of a unit with control meter follows a rising load; the grid serves it until then, and "
        "the unit gives as much away when the load falls",
        "0: the output follows at once; demand is known by the minute, so 60 at most",
        title="Lag of the meter control",
    )
    fixed_power_w: Annotated[float, Watts] | None = optional(
        "power that a unit gives with control fixed, whether the home needs it or not",
        "needed for control fixed",
        title="Fixed output",
    )
    fixed_power_hours: Windows | None = optional(
        "hours in which a unit with control fixed gives its power; at other times the battery gives nothing",
        "all hours",
        title="Hours of the fixed output",
    )
    charger: Charger | None = optional("the charger from the supply", "no charging from the supply", title="Charger")
    ageing: Ageing = default(Ageing(), "how it wears", title="Ageing")

    @model_validator(mode="before")
    @classmethod
    def lived(cls, given: Any) -> Any:
        """Fill in the life of a portable unit's electronics, which is less well known than that of an inverter."""
        if not isinstance(given, dict) or given.get("coupling") != "sockets":
            return given
        ageing = given.get("ageing", {})
        if not isinstance(ageing, dict):
            return given
        return {**given, "ageing": {"electronics_life_years": PORTABLE_LIFE} | ageing}


def kit_complaints(kit: Kit, home: Home | None) -> Iterator[Complaint]:
    """Yield everything that does not fit together; paths start at `kit`."""
    if not kit.arrays and kit.battery is None:
        yield Complaint(("kit",), "neither arrays nor a battery", "a kit with [kit.arrays...], [kit.battery] or both")
    if kit.module is not None:
        yield from _module(kit.module)
    for name, limits in kit.inputs.items():
        yield from _input(name, limits)
    if home is not None and home.supply == "none" and kit.coupling.traits.on_grid:
        accepted = '"off_grid": the home has no supply from the grid (home.supply)'
        yield Complaint(("kit", "coupling"), shown(kit.coupling), accepted)
    if kit.arrays:
        yield from _arrays(kit)
        if home is not None:
            yield from _surfaces(kit, home)
    if kit.battery is not None:
        yield from battery_complaints(kit.battery)
    yield from inverter_complaints(kit.inverter)
    yield from _coupling(kit)
    yield from _control(kit)
    if kit.ageing.law == "datasheet" and kit.ageing.cycles_to_80_percent is None:
        yield Complaint(("kit", "ageing", "cycles_to_80_percent"), "nothing", 'needed for law = "datasheet"')


def _control(kit: Kit) -> Iterator[Complaint]:
    """Yield what does not fit the control of the output."""
    if kit.control != "meter" and (not kit.coupling.traits.parallel or kit.battery is None):
        accepted = '"meter": another control is for a unit with a battery on the home\'s wires (plug_in, whole_home)'
        yield Complaint(("kit", "control"), shown(kit.control), accepted)
    if kit.control == "fixed" and kit.fixed_power_w is None:
        yield Complaint(("kit", "fixed_power_w"), "nothing", 'needed for control = "fixed"')
    follows = kit.control == "meter" and kit.coupling in ("plug_in", "whole_home") and kit.battery is not None
    if kit.meter_lag_seconds is not None and not follows:
        accepted = 'nothing: only a unit with a battery on the home\'s wires and control = "meter" follows a meter'
        yield Complaint(("kit", "meter_lag_seconds"), plain(kit.meter_lag_seconds), accepted)
    for name in ("fixed_power_w", "fixed_power_hours"):
        if kit.control != "fixed" and getattr(kit, name) is not None:
            accepted = f'nothing: control "{kit.control}" does not use it'
            yield Complaint(("kit", name), shown(getattr(kit, name)), accepted, 'add control = "fixed", or remove it')


def array_surfaces(kit: Kit, home: Home) -> dict[str, str | None]:
    """Return the surface of each array: the named one, else the one in the same position, None when there is none."""
    surfaces = list(home.surfaces)
    return {
        name: array.surface or (surfaces[place] if place < len(surfaces) else None)
        for place, (name, array) in enumerate(kit.arrays.items())
    }


def array_inputs(kit: Kit) -> dict[str, str | None]:
    """Return the input of each array: the named one, else the only one, else the one in the same position."""
    inputs = list(kit.inputs)
    found = {}
    for place, (name, array) in enumerate(kit.arrays.items()):
        spare = inputs[0] if len(inputs) == 1 else (inputs[place] if place < len(inputs) else None)
        found[name] = array.input or spare
    return found


def _coupling(kit: Kit) -> Iterator[Complaint]:
    if kit.runs_from_battery_on_mains is not None and not kit.coupling.traits.between_mains:
        accepted = 'nothing: only a portable unit (coupling = "sockets") stands between the mains and its sockets'
        yield Complaint(("kit", "runs_from_battery_on_mains"), shown(kit.runs_from_battery_on_mains), accepted)
    if not kit.coupling.traits.on_grid:
        if kit.charger is not None:
            accepted = "nothing: off grid there is no supply to charge from"
            yield Complaint(("kit", "charger"), "a charger", accepted, "remove [kit.charger]")
        if kit.inverter.export_limit_w:
            accepted = "nothing: off grid there is no grid to send to"
            yield Complaint(("kit", "inverter", "export_limit_w"), shown(kit.inverter.export_limit_w), accepted)


def _module(module: Module) -> Iterator[Complaint]:
    at = ("kit", "module")
    product = module.vmp_v * module.imp_a
    if abs(product / module.power_w - 1) > POWER_TOLERANCE:
        accepted = f"the same power as vmp_v times imp_a ({plain(round(product, 1))} W) within 3 %"
        yield Complaint((*at, "power_w"), plain(module.power_w), accepted, "check the three figures on the datasheet")
    if not module.vmp_v < module.voc_v:
        yield Complaint((*at, "vmp_v"), plain(module.vmp_v), f"a voltage below voc_v ({plain(module.voc_v)} V)")
    if not module.imp_a < module.isc_a:
        yield Complaint((*at, "imp_a"), plain(module.imp_a), f"a current below isc_a ({plain(module.isc_a)} A)")


def _input(name: str, limits: SolarInput) -> Iterator[Complaint]:
    at = ("kit", "inputs", name)
    top = limits.max_voltage_v if limits.tracker_max_v is None else limits.tracker_max_v
    if top > limits.max_voltage_v:
        accepted = f"a voltage of at most max_voltage_v ({plain(limits.max_voltage_v)} V)"
        yield Complaint((*at, "tracker_max_v"), plain(top), accepted)
    if limits.tracker_min_v is not None and not limits.tracker_min_v < top:
        accepted = f"a voltage below the highest the tracker takes ({plain(top)} V)"
        yield Complaint((*at, "tracker_min_v"), plain(limits.tracker_min_v), accepted)


def _arrays(kit: Kit) -> Iterator[Complaint]:
    if kit.module is None:
        yield Complaint(("kit", "module"), "nothing", "needed for arrays: the datasheet of one module")
    if not kit.inputs:
        accepted = "needed for arrays: at least one input, such as [kit.inputs.1]"
        yield Complaint(("kit", "inputs"), "nothing", accepted)
        return
    for name, chosen in array_inputs(kit).items():
        if chosen not in kit.inputs:
            accepted = "the name of an input: " + listed(kit.inputs)
            hint = did_you_mean(chosen, kit.inputs) if chosen else ""
            yield Complaint(("kit", "arrays", name, "input"), shown(chosen), accepted, hint)


def _surfaces(kit: Kit, home: Home) -> Iterator[Complaint]:
    modules: Counter[str] = Counter()
    for name, chosen in array_surfaces(kit, home).items():
        at = ("kit", "arrays", name)
        if not home.surfaces:
            accepted = "a home with usable sun: [home.surfaces.<name>] with tilt_deg and azimuth_deg"
            yield Complaint(at, "an array", accepted, "or a kit without arrays")
        elif chosen not in home.surfaces:
            accepted = "the name of a surface of the home: " + listed(home.surfaces)
            hint = did_you_mean(chosen, home.surfaces) if chosen else ""
            yield Complaint((*at, "surface"), shown(chosen), accepted, hint)
        else:
            array = kit.arrays[name]
            modules[chosen] += array.modules_in_series * array.strings_in_parallel
            most = home.surfaces[chosen].most_modules
            if most is not None and modules[chosen] > most:
                given = f"{modules[chosen]} modules on {chosen}"
                yield Complaint(at, given, f"at most {most} there (home.surfaces.{chosen}.most_modules)")
