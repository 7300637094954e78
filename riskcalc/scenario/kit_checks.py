"""What must hold inside a kit, and between it and the home it goes to."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator

from riskcalc.scenario.complaints import Complaint, did_you_mean, listed, shown
from riskcalc.scenario.kit import Inverter, Kit, Module, SolarInput
from riskcalc.scenario.place import Home
from riskcalc.uncertainty.quantity import plain

#: Power on a datasheet and voltage times current at the maximum agree to rounding of the three figures.
POWER_TOLERANCE = 0.03
#: Slack for figures that meet the limit exactly, such as 1 and 1 without idle draw.
EFFICIENCY_ROUNDING = 1e-9


def kit_complaints(kit: Kit, home: Home | None) -> Iterator[Complaint]:
    """Yield everything that does not fit together; paths start at `kit`."""
    if not kit.arrays and kit.battery is None:
        yield Complaint(("kit",), "neither arrays nor a battery", "a kit with [kit.arrays...], [kit.battery] or both")
    if kit.module is not None:
        yield from _module(kit.module)
    for name, limits in kit.inputs.items():
        yield from _input(name, limits)
    if kit.arrays:
        yield from _arrays(kit)
        if home is not None:
            yield from _surfaces(kit, home)
    yield from _inverter(kit.inverter)
    if kit.coupling == "off_grid":
        if kit.charger is not None:
            accepted = "nothing: off grid there is no supply to charge from"
            yield Complaint(("kit", "charger"), "a charger", accepted, "remove [kit.charger]")
        if kit.inverter.export_limit_w:
            accepted = "nothing: off grid there is no grid to send to"
            yield Complaint(("kit", "inverter", "export_limit_w"), shown(kit.inverter.export_limit_w), accepted)
    if kit.ageing.law == "datasheet" and kit.ageing.cycles_to_80_percent is None:
        yield Complaint(("kit", "ageing", "cycles_to_80_percent"), "nothing", 'needed for law = "datasheet"')


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


def _inverter(inverter: Inverter) -> Iterator[Complaint]:
    if inverter.surge_w is not None and inverter.surge_w < inverter.rating_w:
        accepted = f"rating_w ({plain(inverter.rating_w)} W) or more"
        yield Complaint(("kit", "inverter", "surge_w"), plain(inverter.surge_w), accepted)
    yield from _loss_curve(inverter)


def _loss_curve(inverter: Inverter) -> Iterator[Complaint]:
    """Hold the two efficiencies and the idle draw to a curve that an inverter can have, over all their draws.

    With power in = idle + a out + b out^2, a >= 1 (no load gets more than is taken) and b >= 0 (losses grow with load):
    a = 2/half - 1/full - 3 idle/rating and b rating = 2 (1/full - 1/half + idle/rating).
    """
    idle_low, idle_high = (idle / inverter.rating_w for idle in inverter.idle_w.practical_support)
    half_low, half_high = inverter.efficiency_half_load.practical_support
    full_low, full_high = inverter.efficiency_full_load.practical_support
    most_half = 2 / (1 + 1 / full_low + 3 * idle_high)
    if half_high > most_half + EFFICIENCY_ROUNDING:
        accepted = (
            f"at most {math.floor(1000 * most_half) / 1000} beside {plain(full_low)} at full load and an idle draw of"
            f" {plain(idle_high * inverter.rating_w)} W: the three figures contradict each other"
        )
        hint = "lower it, raise efficiency_full_load, or lower idle_w"
        yield Complaint(("kit", "inverter", "efficiency_half_load"), plain(half_high), accepted, hint)
    most_full = 1 / max(1 / half_low - idle_low, 1.0)
    if full_high > most_full + EFFICIENCY_ROUNDING:
        accepted = (
            f"at most {math.floor(1000 * most_full) / 1000} beside {plain(half_low)} at half load and an idle draw of"
            f" {plain(idle_low * inverter.rating_w)} W: the three figures contradict each other"
        )
        hint = "lower it, raise efficiency_half_load, or raise idle_w"
        yield Complaint(("kit", "inverter", "efficiency_full_load"), plain(full_high), accepted, hint)
