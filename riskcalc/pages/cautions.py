"""The cautions that go with every result: what can hurt people, and who has to be asked."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

PROFESSIONAL = (
    "This page is a calculation of money and energy, not a design and not a permission. Local codes and the "
    "makers' instructions come first; anything on the fixed wiring, on a roof or on a facade is work for a licensed "
    "electrician or installer, and what you connect yourself should be looked at by one if there is any doubt."
)
SERIES = (
    "{count} modules in series add up their voltages: the string carries a dangerous direct voltage whenever there is "
    "daylight, and it cannot be switched off at the module. Do not open connectors under load. Cold raises the "
    "voltage; the electrical fit above is worked out for the record low."
)
SINGLE = (
    "A module is live whenever there is light on it and cannot be switched off. Do not open connectors under load, and "
    "keep to the voltage limit of the input: cold raises the voltage of a module above its nameplate."
)
BACKFEED = (
    "Never feed a wall socket from the unit: no lead with two plugs, no back-feeding of a circuit. It puts people in "
    "the house and on the network in danger. Loads are plugged into the unit, the unit into the wall."
)
PLUG_IN = (
    "Plug-in solar feeds a household circuit. Whether that is allowed, up to what power, with which socket, meter and "
    "registration differs from country to country: ask the network operator and the local code first. Only equipment "
    "that cuts itself off when the supply fails may be used."
)
ISOLATION = (
    "A system tied to the house wiring needs means of isolation on both the direct and the alternating side, "
    "protection and earthing to the local code, notice to the network operator, and inspection."
)
OFF_GRID = (
    "Without a grid there is no other protection behind yours: fuses close to the battery, a means of isolation, "
    "earthing and residual-current protection are to be designed for the site by somebody licensed to do it. Do not "
    "let anything that keeps a person alive or warm depend on this calculation."
)
LEADS = (
    "Overloaded leads and socket strips start fires. Use leads rated for the current and fully unrolled, do not chain "
    "them, and do not run heaters or other large loads for hours on a household socket."
)
HEAT = (
    "Batteries and inverters give off heat. Leave the space the maker asks for around them, keep them dry, away from "
    "exits, bedding and things that burn, out of full sun, and do not charge lithium cells below freezing. A "
    "swollen, damaged or flooded battery is out of use."
)
SELLING = (
    "Stored energy that goes out to the grid needs the leave of the network operator, and a contract that pays for energy "
    "which was bought before: many pay for solar energy only. Every kilowatt hour sold wears the cells, and the warranty "
    "may limit it."
)
WIND = (
    "A module is a sail. Modules on rails, walls and roofs need a fixing made for the wind of the site and a "
    "structure that bears it; whatever falls from a balcony falls on somebody."
)
RENTING = (
    "Ask the landlord in writing before fixing anything outside or changing anything on the wiring, and tell the "
    "insurer of the contents and of the building about modules and battery."
)
OWNING = (
    "Tell the insurer of the building about modules and battery, and ask whether a permit, a shared owners' decision "
    "or a fire rule applies to roof, facade and battery room."
)


def cautions(
    *,
    coupling: str,
    has_modules: bool,
    has_battery: bool,
    modules_in_series: int,
    renting: bool,
    exports_stored: bool = False,
) -> tuple[str, ...]:
    """Return the cautions that belong to this kind of kit, the deference to codes and electricians first.

    Parameters
    ----------
    coupling : str
        "sockets", "plug_in", "whole_home", "off_grid" or "none".
    has_modules, has_battery : bool
        Whether the kit has any.
    modules_in_series : int
        The longest string.
    renting : bool
        True for a tenant, False for an owner.
    exports_stored : bool
        Whether stored energy is sold to the grid.
    """
    lines = [PROFESSIONAL]
    if has_modules:
        lines.append(SERIES.format(count=modules_in_series) if modules_in_series > 1 else SINGLE)
    lines += {
        "sockets": [BACKFEED, LEADS],
        "plug_in": [PLUG_IN, LEADS],
        "whole_home": [ISOLATION],
        "off_grid": [OFF_GRID, LEADS],
    }.get(coupling, [])
    if exports_stored:
        lines.append(SELLING)
    if has_battery:
        lines.append(HEAT)
    if has_modules:
        lines.append(WIND)
    lines.append(RENTING if renting else OWNING)
    return tuple(lines)


def cautions_of_all(traits: Iterable[Mapping[str, Any]]) -> tuple[str, ...]:
    """Return the cautions of several options, each once, in the order in which they first come."""
    return tuple(dict.fromkeys(said for each in traits for said in cautions(**each)))
