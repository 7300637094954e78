"""The cautions that go with every result: what can hurt people, and who has to be asked."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from riskcalc.pages.figures import say

PROFESSIONAL = (
    "This page calculates money and energy. It is not a design and not a permit. Local codes (the electrical and building "
    "rules where you live) and the makers' instructions come first. Work on fixed wiring, on a roof or on a facade is for a "
    "licensed electrician or installer. If you have any doubt about what you connect yourself, let one of them look at it."
)
SERIES = (
    "{count} modules in series add up their voltages. The string carries a dangerous "
    "direct voltage whenever there is daylight, and it cannot be switched off at the "
    "module. Do not open connectors under load. Cold raises the voltage. The pages of "
    "check and assess show the electrical fit at the lowest temperature on record."
)
SINGLE = (
    "A module is live whenever there is light on it, and it cannot be switched off. Do not open connectors under load. "
    "Keep to the voltage limit of the input: cold raises the voltage of a module above its nameplate."
)
BACKFEED = (
    "Never feed a wall socket from the unit: no lead with two plugs, no back-feeding of a circuit. It puts people in "
    "the house and on the network in danger. Plug loads into the unit and the unit into the wall."
)
PLUG_IN = (
    "Plug-in solar feeds a household circuit. Countries differ on whether that is allowed, up to what power, and with "
    "which socket, meter and registration. Ask the network operator and read the local code first. Use only equipment "
    "that cuts itself off when the supply fails."
)
ISOLATION = (
    "A system tied to the house wiring needs isolators on both the direct and the alternating side. It also needs "
    "protection and earthing to the local code, notice to the network operator, and inspection."
)
BACKUP = (
    "A system that feeds the house while the grid is out must cut the house off from the grid first. That takes a "
    "changeover switch or an approved automatic one. Otherwise it feeds the street, where people work on lines that they "
    "take for dead. Earthing may change as well. Have it built and tested by a licensed electrician."
)
OFF_GRID = (
    "Without a grid there is no other protection behind yours. Fuses close to the battery, isolators, earthing and "
    "residual-current protection must be designed for the site by someone licensed to do it."
)
GENERATOR = (
    "A generator's exhaust holds carbon monoxide, which kills without smell or warning. Run it outdoors only, far from "
    "doors, windows and vents, never in a shed, garage or on a balcony. Fit carbon monoxide alarms where people sleep. Let "
    "it cool before you refuel. The same goes for anything else that burns fuel in place of power."
)
MEDICAL = (
    "Nothing here is fit to keep medical equipment running. If you depend on a medical device for breathing, dialysis or "
    "cooled medicine, you need backup that its maker and the clinic approve. Ask to be on the network operator's list of "
    "such customers."
)
OVERLOAD = (
    "A portable unit switches itself off when it is overloaded, empty, too hot or too cold. Some do so when little is "
    "drawn, and many stay off until somebody presses a button. A fridge or freezer on it then warms up unseen. Keep it on "
    "the wall socket or fit an alarm, and throw food away rather than guess."
)
ON_MAINS = (
    "Many portable units only pass the mains through while they are plugged in. They serve from sun and battery only when "
    "the mains are gone. Look it up in the manual before you count on a saving. The change takes some hundredths of a "
    "second: a computer may restart."
)
LEADS = (
    "Overloaded leads and socket strips start fires. Use leads rated for the current, fully unrolled, and do not chain "
    "them. Do not run heaters or other large loads for hours on a household socket."
)
HEAT = (
    "Batteries and inverters give off heat. Leave the space around them that the maker asks for. Keep them dry, away "
    "from exits, bedding and things that burn, and out of full sun. Do not charge lithium cells below freezing. Take a "
    "swollen, damaged or flooded battery out of use."
)
SELLING = (
    "To sell stored energy to the grid you need permission from the network operator. You also need a contract that "
    "pays for energy bought before: many pay for solar energy only. Each kWh sold wears the cells, and the warranty may "
    "limit it."
)
WIND = (
    "A module is a sail. Modules on rails, walls and roofs need a fixing made for the wind of the site and a structure "
    "that bears it. What falls from a balcony can kill someone."
)
RENTING = (
    "Ask the landlord in writing before you fix anything outside or change any wiring. Tell the insurers of the "
    "contents and of the building about modules and battery."
)
OWNING = (
    "Tell the insurer of the building about modules and battery. Ask whether a permit, a shared owners' decision or a "
    "fire rule applies to the roof, the facade and the battery room."
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
        lines.append(SERIES if modules_in_series > 1 else SINGLE)
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
        lines.append(OVERLOAD)
    if coupling == "off_grid":
        lines.append(GENERATOR)
    if bridges or coupling in ("sockets", "off_grid"):
        lines.append(MEDICAL)
    if has_battery:
        lines.append(HEAT)
    if has_modules:
        lines.append(WIND)
    lines.append(RENTING if renting else OWNING)
    return tuple(say(line, count=modules_in_series) for line in lines)


def cautions_of_all(traits: Iterable[Mapping[str, Any]]) -> tuple[str, ...]:
    """Return the cautions of several options, each once, in the order in which they first come."""
    return tuple(dict.fromkeys(said for each in traits for said in cautions(**each)))
