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
BACKUP = (
    "A system that feeds the house while the grid is out must first part the house from the grid, by a changeover switch "
    "or an approved automatic one: otherwise it feeds the street, where people work on lines that they take for dead. "
    "Earthing may change as well when the grid is gone. Have it built and tested by a licensed electrician."
)
SWITCHES_OFF = (
    "A portable unit switches itself off when it is overloaded, empty, too hot or too cold, and some do so when little "
    "is drawn, and many stay off until somebody presses a button. A fridge or freezer behind it then warms up unseen: "
    "keep it on the wall socket, or fit an alarm, and throw food away rather than guess."
)
ON_MAINS = (
    "Many portable units only pass the mains through while they are plugged in, and serve from sun and battery only when "
    "the mains are gone. Look it up in the manual before you count on a saving. The change from one to the other takes "
    "some hundredths of a second: a computer may restart."
)
MEDICAL = (
    "Nothing here is fit to keep medical equipment running. Anyone who depends on a device for breathing, dialysis, cooled "
    "medicine or the like needs backup that its maker and the clinic approve, and a place on the network operator's "
    "list of such customers."
)
GENERATOR = (
    "A generator's exhaust holds carbon monoxide, which kills without smell or warning. Run it outdoors only, far from "
    "doors, windows and vents, never in a shed, garage or on a balcony; fit carbon monoxide alarms where people sleep; "
    "let it cool before refuelling. The same goes for anything else that burns fuel in place of power."
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
    bridges: bool = False,
    cold_store: bool = False,
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
    bridges : bool
        Whether the kit is counted on while the supply is out.
    cold_store : bool
        Whether a fridge or freezer is plugged into the unit.
    """
    lines = [PROFESSIONAL]
    if has_modules:
        lines.append(SERIES.format(count=modules_in_series) if modules_in_series > 1 else SINGLE)
    lines += {
        "sockets": [BACKFEED, LEADS, ON_MAINS],
        "plug_in": [PLUG_IN, LEADS],
        "whole_home": [ISOLATION],
        "off_grid": [OFF_GRID, LEADS],
    }.get(coupling, [])
    if exports_stored:
        lines.append(SELLING)
    if bridges and coupling in ("whole_home", "plug_in"):
        lines.append(BACKUP)
    if coupling == "sockets" or (coupling == "off_grid" and cold_store):
        lines.append(SWITCHES_OFF)
    if coupling == "off_grid":
        lines.append(GENERATOR)
    if bridges or coupling in ("sockets", "off_grid"):
        lines.append(MEDICAL)
    if has_battery:
        lines.append(HEAT)
    if has_modules:
        lines.append(WIND)
    lines.append(RENTING if renting else OWNING)
    return tuple(lines)


def cautions_of_all(traits: Iterable[Mapping[str, Any]]) -> tuple[str, ...]:
    """Return the cautions of several options, each once, in the order in which they first come."""
    return tuple(dict.fromkeys(said for each in traits for said in cautions(**each)))
